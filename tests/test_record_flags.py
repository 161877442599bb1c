"""Every flag of `estimator record` beside every other: what is given stands in the file, or is refused by name.

All by hand: what each flag says, and where it must be found.
"""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from estimator.case import load_case
from estimator.catalogue.load import load_catalogue
from estimator.commands.record_flags import ENTRIES, GOES_WITH, NEEDS
from estimator.look_back import Bill, bills_of
from tests.command_line import CASE, run

CARRIERS = {
    "invoice": ("--invoice", "water-pump"),
    "done": ("--done", "brake-fluid"),
    "strip-down": ("--finding", "clutch=seen-worn"),
    "check": ("--finding", "take-up=absent"),
    "quote": ("--quote", "radiator:exchange:240"),
    "sheet": ("--sheet", "findings.toml"),
    "csv": ("--csv", "papers.csv"),
    "bought": ("--bought", "2026-12-05"),
}
MODIFIERS = {
    "date": (("--date", "2026-12-20"), "2026-12-20"),
    "price": (("--price", "317"), "317"),
    "currency": (("--currency", "gbp"), "GBP"),
    "odometer": (("--odometer", "68917"), "68917"),
    "fitted": (("--fitted", "pattern"), "pattern"),
    "overhauled": (("--overhauled",), "overhauled"),
    "note": (("--note", "kept by hand"), "kept by hand"),
    "paid": (("--paid", "5713"), "5713"),
    "history": (("--history",), "format = 1"),  # a permission: nothing of it is written
    "any_car": (("--any-car",), "format = 1"),
}
SHEET = """\
[sheet]
car = "A saloon of our own"
made = 2026-12-20
[[finding]]
check = "oil-level-look"
result = "absent"
"""


@pytest.fixture
def case(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("findings.toml").write_text(SHEET, encoding="utf-8")
    Path("papers.csv").write_text("kind,date,component\nwork,2019-03-01,radiator\n", encoding="utf-8")
    path = tmp_path / "car.toml"
    path.write_text(CASE, encoding="utf-8")
    return path


@pytest.mark.parametrize("carrier", CARRIERS)
@pytest.mark.parametrize("modifier", MODIFIERS)
def test_what_is_given_stands_in_the_file_or_is_refused(carrier, modifier, case, capsys):
    flags, wanted = MODIFIERS[modifier]
    if carrier != "bought":
        case.write_text(CASE + "[bought]\ndate = 2026-12-05\n", encoding="utf-8")
    before = case.read_bytes()
    day = () if modifier == "date" or carrier in ("csv", "bought") else MODIFIERS["date"][0]
    code = run("record", case, *CARRIERS[carrier], *day, *flags, "--no-forecast")
    said = capsys.readouterr().err
    if code == 0:
        assert wanted in case.read_text(encoding="utf-8")
        assert load_case(case)  # and the file is whole
    else:
        assert code == 2
        assert f"--{modifier.replace('_', '-')}" in said
        assert case.read_bytes() == before


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(MODIFIERS, 2)))
def test_without_anything_to_record_they_are_refused_or_kept(one, other, case, capsys):
    case.write_text(CASE + "[bought]\ndate = 2026-12-05\n", encoding="utf-8")
    before = case.read_bytes()
    code = run("record", case, *MODIFIERS[one][0], *MODIFIERS[other][0], "--no-forecast")
    said = capsys.readouterr().err
    if code == 0:  # a reading of that day, with its note
        assert "odometer" in (one, other)
        text = case.read_text(encoding="utf-8")
        assert all(MODIFIERS[name][1] in text for name in (one, other))
    else:
        assert code == 2
        assert case.read_bytes() == before
        assert any(f"--{name.replace('_', '-')}" in said for name in (one, other)) or "after" in said


def test_the_odometer_on_the_day_of_purchase_is_a_reading_of_that_day(case):
    words = ("--bought", "2026-12-05", "--paid", "5713", "--odometer", "68500", "--note", "handed over")
    assert run("record", case, *words, "--no-forecast") == 0
    found = load_case(case)
    assert [(str(r.date), r.odometer, r.note) for r in found.reading] == [
        ("2026-12-05", 68500, "handed over")
    ]
    assert (str(found.bought.date), found.bought.price) == ("2026-12-05", 5713)


def test_the_odometer_goes_with_what_a_strip_down_showed(case):
    case.write_text(CASE + "[bought]\ndate = 2026-12-05\n", encoding="utf-8")
    words = ("--date", "2026-12-20", "--finding", "clutch=seen-worn", "--odometer", "68600")
    assert run("record", case, *words, "--no-forecast") == 0
    found = load_case(case)
    assert [(w.what, w.odometer) for w in found.work] == [("seen-worn", 68600)]
    assert found.reading == ()


def test_the_same_reading_twice_is_refused(case, capsys):
    case.write_text(CASE + "[bought]\ndate = 2026-12-05\n", encoding="utf-8")
    words = ("record", case, "--date", "2026-12-20", "--odometer", "68600", "--no-forecast")
    assert run(*words) == 0
    capsys.readouterr()
    assert run(*words) == 2
    assert "odometer is recorded already" in capsys.readouterr().err.replace(":", "")


@pytest.mark.parametrize(
    "words", [("--quote", "radiator:exchange:240:job:250"), ("--invoice", "kit:brake-overhaul:full:front")]
)
def test_a_piece_too_many_is_refused_not_dropped(words, case, capsys):
    assert run("record", case, *words, "--no-forecast") == 2
    assert words[1] in capsys.readouterr().err


def test_a_quote_for_the_whole_job_is_kept_as_that(case):
    words = ("--date", "2026-11-20", "--quote", "radiator:exchange:240:job", "--no-forecast")
    assert run("record", case, *words) == 0
    assert load_case(case).quote[0].covers == "job"


def test_the_tables_name_every_flag_about_entries():
    """A new flag must be given its place: the parser's own flags against the tables."""
    import argparse

    from estimator.commands.record import add_arguments

    parser = argparse.ArgumentParser()
    add_arguments(parser)
    about_the_run = {"case", "to", "no_forecast", "draws", "seed", "workers", "catalogue", "json", "help"}
    flags = {action.dest for action in parser._actions} - about_the_run
    assert flags == {*ENTRIES, *NEEDS, *GOES_WITH, "bought"}
    assert flags >= set(MODIFIERS)


@pytest.fixture
def bought(case) -> Path:
    case.write_text(CASE + "[bought]\ndate = 2026-12-05\n", encoding="utf-8")
    return case


TWO = ("--date", "2026-12-20", "--invoice", "water-pump", "--invoice", "radiator", "--no-forecast")


def test_one_bill_for_two_parts_is_one_bill_to_the_look_back(bought):
    """By hand: 510 paid once for both, not 510 for either; two prices are two bills."""
    assert run("record", bought, *TWO, "--price", "510", "--note", "kept") == 0
    found = load_case(bought)
    assert bills_of(found.since_bought, load_catalogue()) == [Bill(510.0, ("water-pump", "radiator"))]
    assert [w.note for w in found.work] == ["kept; the bill is for all 2 entries of this day", "kept"]


def test_a_price_for_each_of_two_parts(bought):
    assert run("record", bought, *TWO, "--price", "310", "--price", "200") == 0
    found = load_case(bought)
    bills = bills_of(found.since_bought, load_catalogue())
    assert bills == [Bill(310.0, ("water-pump",)), Bill(200.0, ("radiator",))]


@pytest.mark.parametrize(
    ("flags", "said"),
    [
        (("--price", "1", "--price", "2", "--price", "3"), "found 3 for 2 of them"),
        (("--price", "1", "--done", "brake-fluid"), "one after the other"),
        (("--date", "2026-12-21"), "--date: stands twice"),
        (("--price", "12,50"), "decimals with a point"),
    ],
)
def test_prices_that_cannot_be_laid_to_work_are_refused(flags, said, bought, capsys):
    before = bought.read_bytes()
    assert run("record", bought, *TWO, *flags) == 2
    assert said in capsys.readouterr().err
    assert bought.read_bytes() == before


def test_a_byte_order_mark_stays_where_it_was(bought):
    bought.write_bytes(b"\xef\xbb\xbf" + bought.read_bytes())
    assert run("record", bought, *TWO) == 0
    assert bought.read_bytes().startswith(b"\xef\xbb\xbfformat = 1")
    assert bought.read_bytes().count(b"\xef\xbb\xbf") == 1


@pytest.mark.parametrize(
    ("flags", "said"),
    [
        (
            ("--invoice", "timing belt"),
            'car.toml: timing belt, component: unknown component (did you mean "timing-belt',
        ),
        (("--invoice", "kit:brake-overhaul:whole"), "car.toml: brake-overhaul, depth: the kit"),
        (
            ("--date", "2025-01-01", "--done", "radiator"),
            "car.toml: radiator: is dated 2025-01-01, before the purchase",
        ),
        (("--quote", "radiator:polish:3"), "car.toml: radiator, remedy: is none of the words"),
    ],
)
def test_a_refused_entry_is_named_as_it_was_given_not_by_a_line_the_file_does_not_have(
    flags, said, bought, capsys
):
    day = () if "--date" in flags else ("--date", "2026-12-20")
    assert run("record", bought, *day, *flags, "--no-forecast") == 2
    error = capsys.readouterr().err.replace(str(bought), "car.toml")
    assert said in error
    assert ": line " not in error


OWN_WORDS = load_catalogue().checks["oil-level-look"]


@pytest.mark.parametrize(
    ("word", "result"),
    [
        ("oil-level-look=absent", "absent"),
        ("oil-level-look=Present", "present"),
        (f"oil-level-look={OWN_WORDS.absent}", "absent"),
        (f"oil-level-look = {OWN_WORDS.present.upper()}", "present"),
        ("oil-level-look=could not try", "could-not-try"),
    ],
)
def test_a_finding_is_taken_in_the_words_of_the_file_or_of_the_check(word, result, case):
    assert run("record", case, "--date", "2026-11-20", "--finding", word, "--no-forecast") == 0
    assert [f.result for f in load_case(case).finding] == [result]


@pytest.mark.parametrize(
    ("word", "said"),
    [
        (
            "oil-level-look=fine",
            f'is a check: say present ("{OWN_WORDS.present}"), absent ("{OWN_WORDS.absent}")',
        ),
        ("oil-level-look=seen-worn", "--finding oil-level-look: is a check: say present"),
        ("clutch=present", "--finding clutch: is a part: say how it was seen, clutch=seen-sound,"),
        ("battery-rest-voltage=low", "--finding battery-rest-voltage: is a reading: say a number of volts"),
        ("battery-rest-voltage=absent", "is a reading: say a number of volts"),
        ("battery-rest-voltage=12,4", "is a reading: say a number of volts"),
    ],
)
def test_a_finding_that_says_nothing_is_told_what_can_be_said(word, said, case, capsys):
    before = case.read_bytes()
    assert run("record", case, "--date", "2026-11-20", "--finding", word, "--no-forecast") == 2
    assert said in capsys.readouterr().err
    assert case.read_bytes() == before


def test_a_bare_year_is_kept_as_one(case):
    assert run("record", case, "--date", "2009", "--invoice", "water-pump", "--no-forecast") == 0
    assert "date = 2009\n" in case.read_text(encoding="utf-8")
    assert load_case(case).work[0].date.year == 2009


def test_thousands_of_a_quote_may_be_marked(case):
    word = "radiator:exchange:1,200"
    assert run("record", case, "--date", "2026-11-20", "--quote", word, "--no-forecast") == 0
    assert load_case(case).quote[0].price == 1200
