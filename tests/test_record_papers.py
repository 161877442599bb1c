"""A table of papers put into a case file. Second method: the same entries typed; by hand: what stays and is said."""

from __future__ import annotations

import datetime
import json

import pytest

from estimator.case import load_case, parse_case
from estimator.catalogue.load import load_catalogue
from estimator.problems import InputError
from estimator.record_papers import record_papers
from estimator.starter import starter_text
from tests.command_line import refused, run

CATALOGUE = load_catalogue()
TEXT = starter_text(datetime.date(2026, 11, 20))
PAPERS = """\
kind,date,component,odometer,evidence,result,check,from,to,note
work,2009,water-pump,47120,invoice,,,,,"one, two"
,2012-03-01,coolant-hoses,,,,,,,
reading,1998-06-11,,31250,,,,,,
test,2019-07-02,,60120,,passed,,,,
coverage,,,,,,,1996,2024-12-31,
finding,,,,,absent,oil-level-look,,,
"""
TYPED = """
[[work]]
date = 2009
component = "water-pump"
odometer = 47120
evidence = "invoice"
note = "one, two"
[[work]]
date = 2012-03-01
component = "coolant-hoses"
[[reading]]
date = 1998-06-11
odometer = 31250
[[test]]
date = 2019-07-02
odometer = 60120
result = "passed"
[[coverage]]
from = 1996
to = 2024-12-31
[[finding]]
check = "oil-level-look"
result = "absent"
"""


@pytest.fixture
def papers(tmp_path):
    path = tmp_path / "papers.csv"
    path.write_text(PAPERS, "utf-8")
    return path


def test_rows_say_what_typed_entries_say_and_comments_stay(papers):
    found = record_papers(TEXT, papers, catalogue=CATALOGUE)
    assert (
        found.case == parse_case(TEXT + TYPED, "typed", CATALOGUE) == parse_case(found.text, "new", CATALOGUE)
    )
    assert len(found.added) == 6
    lines = {line for line in found.text.splitlines() if line.strip()}
    assert {line for line in TEXT.splitlines() if line.strip()} <= lines
    assert "\n\n[[work]]\ndate = 2009\n" in found.text
    assert found.text.endswith("\n")


def test_a_table_that_grew_can_be_read_in_again(papers):
    once = record_papers(TEXT, papers, catalogue=CATALOGUE)
    again = record_papers(once.text, papers, catalogue=CATALOGUE)
    assert (again.text, again.added) == (once.text, ())
    assert again.notes == ("6 rows say what the case, or a row before, says already: passed over",)
    papers.write_text(PAPERS + "work,2015-05-05,radiator,,,,,,,\nwork,2015-05-05,radiator,,,,,,,\n", "utf-8")
    grown = record_papers(once.text, papers, catalogue=CATALOGUE)
    assert [entry["component"] for entry in grown.added] == ["radiator"]
    assert grown.notes == ("7 rows say what the case, or a row before, says already: passed over",)
    rest = grown.text.replace('[[work]]\ndate = 2015-05-05\ncomponent = "radiator"\n', "")
    assert [row for row in rest.split("\n") if row] == [row for row in once.text.split("\n") if row]


def test_after_the_purchase_the_day_moves_on(papers):
    text = TEXT + "\n[bought]\ndate = 2026-12-01\nas_of = 2026-12-02\n"
    papers.write_text("date,component\n2027-02-03,radiator\n", "utf-8")
    found = record_papers(text, papers, catalogue=CATALOGUE)
    assert found.case.today == datetime.date(2027, 2, 3)
    assert "as_of moved" in found.notes[0]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("water-pump", "water-pmp", ("papers.csv: line 2, work[1].component", 'did you mean "water-pump"')),
        ("47120", "many", ("papers.csv: line 2, work[1].odometer", 'found "many"')),
        ("reading,", "raeding,", ("papers.csv: line 4, kind", "found raeding")),
        ("kind,date", "kind,day", ('papers.csv: line 1: unknown column "day"', "allowed")),
        ("1998-06-11", "2031-06-11", ("papers.csv: line 4, reading[1].date", "future")),
        (PAPERS[PAPERS.index("\n") :], "\n", ("papers.csv", "not a single row")),
    ],
)
def test_wrong_rows_name_their_line_and_nothing_is_added(papers, old, new, words):
    papers.write_text(PAPERS.replace(old, new), "utf-8")
    with pytest.raises(InputError) as caught:
        record_papers(TEXT, papers, name="car.toml", catalogue=CATALOGUE)
    assert len(caught.value.problems) == 1
    assert all(word in str(caught.value) for word in words), str(caught.value)


def test_from_the_command_line(tmp_path, papers, capsys):
    case, out = tmp_path / "car.toml", tmp_path / "out.json"
    case.write_text(TEXT, "utf-8")
    assert run("record", case, "--csv", papers, "--no-forecast", "--json", out) == 0
    assert len(json.loads(out.read_text("utf-8"))["added"]) == 6
    assert len(load_case(case, CATALOGUE).work) == 2
    capsys.readouterr()
    said = refused(capsys, "record", case, "--csv", papers, "--invoice", "water-pump")
    assert "--csv: goes alone" in said
    assert "--invoice" in said
    assert "there is no such file" in refused(capsys, "record", case, "--csv", tmp_path / "none.csv")
