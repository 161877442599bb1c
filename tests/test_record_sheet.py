"""`estimator record CASE --sheet FILE`: the file of a phone sheet in, everything that was there kept.

All by hand: the case and the sheet's text on the left, what must come of them on the right.
"""

from __future__ import annotations

import io
import json
import types
from pathlib import Path

import pytest

from estimator.assess import assess
from estimator.case import load_case, parse_case
from estimator.catalogue.load import load_catalogue
from tests.command_line import CASE, refused, run

HEAD = """\
# Looked at: A saloon of our own
format = 1
[sheet]
key = "0123456789ab"
car = "A saloon of our own"
made = 2026-11-21
not_examined = ["On a lift: no lift or jack"]
note = "it rained"
"""
FINDINGS = """
[[finding]]
check = "oil-level-look"
result = "present"
sure = 0.8
note = "smells of petrol"

[[finding]]
check = "battery-rest-voltage"
value = 12.1
"""
OLD = """
# looked at on the telephone
[[finding]]
check = "oil-level-look"
result = "absent"  # he says
note = "seller says so"

[[work]]
date = 2019-05-02  # bill no. 7
component = "water-pump"
"""


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "car.toml"
    path.write_text("# mine\n" + CASE + OLD, encoding="utf-8")
    return path


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "findings.toml"
    path.write_text(HEAD + FINDINGS, encoding="utf-8")
    return path


def test_what_the_phone_saved_is_in_the_case_and_nothing_is_lost(case, sheet, tmp_path, capsys):
    to = tmp_path / "out.json"
    assert run("record", case, "--sheet", sheet, "--draws", 200, "--json", to) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "2 entries" in out
    data = json.loads(to.read_text(encoding="utf-8"), parse_constant=pytest.fail)
    assert {"case", "added", "outlay"} <= set(data)
    assert data["case"] == "A saloon of our own"
    assert {e["check"] for e in data["added"]} == {"oil-level-look", "battery-rest-voltage"}
    assert data["outlay"]["mean"] > 0
    text = case.read_text(encoding="utf-8")
    for kept in ("# mine", "# looked at on the telephone", "# bill no. 7", "seller says so"):
        assert kept in text
    found = {f.check: f for f in load_case(case).finding}
    assert (found["oil-level-look"].result, found["oil-level-look"].sure) == ("present", 0.8)
    assert (
        found["oil-level-look"].note == "smells of petrol; seller says so; before: right level, clean enough"
    )
    assert found["battery-rest-voltage"].value == 12.1
    assert "On a lift: no lift or jack" in load_case(case).car.note


def test_the_same_as_typing_it_in(case, sheet):
    """Second method: the findings written into the file by hand."""
    typed = parse_case(CASE + OLD.replace('result = "absent"', 'result = "present"\nsure = 0.8')
                       + FINDINGS[FINDINGS.rindex("[[finding]]"):], "typed.toml")  # fmt: skip
    assert run("record", case, "--sheet", sheet, "--no-forecast") == 0
    one, two = (assess(c, draws=500) for c in (load_case(case), typed))
    assert (one.total, one.components, one.evidence) == (two.total, two.components, two.evidence)


def test_pasted_text_comes_through_standard_input_as_messengers_leave_it(case, monkeypatch):
    pasted = "> " + (HEAD + FINDINGS).replace("\n", "\n> ").replace('"present"', "“present”")
    monkeypatch.setattr("sys.stdin", types.SimpleNamespace(buffer=io.BytesIO(pasted.encode("utf-8"))))
    assert run("record", case, "--sheet", "-", "--no-forecast") == 0
    assert {f.check for f in load_case(case).finding} == {"oil-level-look", "battery-rest-voltage"}


def test_the_same_sheet_twice_changes_nothing(case, sheet, capsys):
    assert run("record", case, "--sheet", sheet, "--no-forecast") == 0
    once = case.read_bytes()
    capsys.readouterr()
    assert run("record", case, "--sheet", sheet, "--no-forecast") == 0
    assert case.read_bytes() == once
    assert "nothing new" in capsys.readouterr().out


def test_another_file_may_be_written_and_a_day_given(case, sheet, tmp_path):
    before, to = case.read_bytes(), tmp_path / "new.toml"
    words = ("--sheet", sheet, "--to", to, "--date", "2026-11-19", "--no-forecast")
    assert run("record", case, *words) == 0
    assert case.read_bytes() == before
    assert len([f for f in load_case(to).finding if str(f.date) == "2026-11-19"]) == 2


def test_after_the_purchase_the_day_moves_on(tmp_path, sheet):
    path = tmp_path / "mine.toml"
    path.write_text(CASE + "[bought]\ndate = 2026-12-05\nas_of = 2026-12-06\n", encoding="utf-8")
    assert run("record", path, "--sheet", sheet, "--date", "2026-12-20", "--no-forecast") == 0
    assert str(load_case(path).today) == "2026-12-20"


def test_a_sheet_of_another_car_is_refused_until_it_is_wanted(case, sheet, capsys):
    sheet.write_text(HEAD.replace("A saloon of our own", "Coupé") + FINDINGS, encoding="utf-8")
    before = case.read_bytes()
    assert "made for" in refused(capsys, "record", case, "--sheet", sheet)
    assert case.read_bytes() == before
    assert run("record", case, "--sheet", sheet, "--any-car", "--no-forecast") == 0
    assert case.read_bytes() != before


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "empty"),
        ("hello", "line 1"),
        (HEAD, "it rained"),  # notes only: read in, see below
        ("format = 1\n", "holds no findings"),
        (HEAD + "[[finding]]\ncheck = 'no-such-check'\nresult = 'absent'\n", "no-such-check"),
        (HEAD + "[[finding]]\ncheck = 'stance'\nresult = 'perhaps'\n", "could-not-try"),
        (HEAD + "[[finding]]\ncheck = 'battery-rest-voltage'\nvalue = 121\n", "0 to 15 volts"),
        (HEAD + "[[finding]]\ncheck = 'stance'\n", "either result or value"),
        (CASE, "car"),
        ("<!doctype html><title>sheet</title>", "Save as a file"),
        (b"\x00\x01\xff\xfe", ""),
    ],
)
def test_a_file_that_is_no_sheet_is_said_and_the_case_stays(content, said, case, tmp_path, capsys):
    path = tmp_path / "strange.toml"
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    before = case.read_bytes()
    if content == HEAD:
        assert run("record", case, "--sheet", path, "--no-forecast") == 0
        assert said in load_case(case).car.note
        return
    text = refused(capsys, "record", case, "--sheet", path)
    assert "strange.toml" in text
    assert said in text
    assert case.read_bytes() == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--sheet", "no-such-file.toml"), "no such file"),
        (("--sheet", "."), "folder"),
        (("--sheet", "findings.toml", "--price", 10), "--price"),
        (("--sheet", "findings.toml", "--done", "water-pump"), "--done"),
    ],
)
def test_what_does_not_go_with_a_sheet_is_refused(words, said, case, sheet, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert said in refused(capsys, "record", case, *words)


def test_the_case_file_itself_is_no_sheet(case, capsys):
    assert "case file itself" in refused(capsys, "record", case, "--sheet", case)


def test_what_is_echoed_is_said_in_the_checks_own_words(tmp_path, capsys):
    """By hand: a document that agrees is said to agree, not "absent"; the id stands beside the name."""
    check = load_catalogue().checks["oil-level-look"]
    path, sheet = tmp_path / "car.toml", tmp_path / "findings.toml"
    path.write_text(CASE, encoding="utf-8")
    sheet.write_text(HEAD + FINDINGS.replace("present", "absent"), encoding="utf-8")
    assert run("record", path, "--sheet", sheet, "--no-forecast") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"found: {check.name} (oil-level-look): {check.absent}, fairly sure" in said
    assert "Battery rest voltage (battery-rest-voltage): 12.1 volts" in said
    assert "absent" not in said.replace(check.absent, "")
    word = "oil-level-look=absent"
    assert run("record", path, "--date", "2026-11-19", "--finding", word, "--no-forecast") == 0
    capsys.readouterr()
    assert run("record", path, "--date", "2026-11-19", "--finding", word, "--no-forecast") == 2
    assert f"recorded already (oil-level-look, 2026-11-19, {check.absent})" in capsys.readouterr().err
