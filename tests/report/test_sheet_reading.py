"""Findings from a phone: read as they come, refused with a message, put into a case without losing anything.

All by hand: the text on the left, what must come of it on the right.
"""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.case import edit_case_text, load_case, parse_case
from estimator.casefile.records import Finding
from estimator.catalogue.load import load_catalogue
from estimator.files import InputError
from estimator.report.sheet_reading import findings_from_sheet, joined_case, read_sheet

BLOCK = """# Looked at: Saloon
format = 1

[sheet]
key = "0123456789ab"
car = "Saloon"
made = 2026-06-02
not_examined = ["On a lift: no lift or jack"]
note = "it rained"

[[finding]]
check = "oil-level-look"
result = "present"
sure = 0.8
note = "smells of petrol"

[[finding]]
check = "battery-rest-voltage"
value = 12.1
"""
CASE = """# mine
format = 1
[car]
name = "Saloon" # as on the plate
viewed = 2026-06-01
built = 1968-04-01
odometer = 61200
unit = "miles"
note = "green"
[money]
currency = "GBP"

# looked at on the telephone
[[finding]]
check = "oil-level-look"
result = "absent"  # he says
note = "seller says so"

[[finding]]
check = "stance"
result = "absent"
"""


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


def test_reads_what_the_sheet_writes(catalogue):
    read = read_sheet(BLOCK, catalogue)
    assert read.findings == (
        Finding(check="oil-level-look", result="present", sure=0.8, note="smells of petrol"),
        Finding(check="battery-rest-voltage", value=12.1),
    )
    assert read.remark == "it rained\nNot examined: On a lift: no lift or jack."


@pytest.mark.parametrize(
    "spoilt",
    [
        BLOCK.replace('"oil-level-look"', "“oil-level-look”").replace('"present"', "”present”"),
        "\n".join(f"> {row}" for row in BLOCK.splitlines()),
        f"Hello, here it is:\n```toml\n{BLOCK}```\nRegards, me",
        BLOCK.replace(" = ", "\u00a0=\u00a0"),
        "\ufeff" + BLOCK.replace("\n", "\r\n"),
        BLOCK[BLOCK.index("[[finding]]") :],
    ],
    ids=["curly", "quoted", "in a message", "hard spaces", "windows", "a part"],
)
def test_what_messengers_do_to_text_is_put_right(spoilt, catalogue):
    assert findings_from_sheet(spoilt, catalogue) == findings_from_sheet(BLOCK, catalogue)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("Dear me", "TOML"),
        ("format = 2\n[[finding]]\ncheck = 'stance'\nresult = 'absent'", "must be 1"),
        ("[[finding]]\ncheck = 'stance'", "neither"),
        ("[[finding]]\ncheck = 'stance'\nresult = 'absent'\nvalue = 1", "both"),
        ("[[finding]]\ncheck = 'stanze'\nresult = 'absent'", 'did you mean "stance"'),
        ("[[finding]]\ncheck = 'stance'\nresult = 'maybe'", "allowed: present, absent"),
        ("[[finding]]\ncheck = 'stance'\nresult = 'absent'\nfoo = 1", "foo"),
        ("[[finding]]\nresult = 'absent'", "check"),
        ("[[finding]]\ncheck = 'stance'\nvalue = inf", "infinity"),
        ("[money]\nasking = 3", "money"),
        ("format = 1\n[sheet]\nkey = 'x'", "no findings"),
        ("x" * 1_000_001, "too long"),
    ],
)
def test_what_cannot_be_read_is_said(text, said, catalogue):
    with pytest.raises(InputError, match="the sheet's findings") as caught:
        read_sheet(text, catalogue)
    assert said in str(caught.value)


def test_the_message_names_the_line(catalogue):
    with pytest.raises(InputError) as caught:
        read_sheet(BLOCK.replace("battery-rest-voltage", "battery-rest-volts"), catalogue)
    assert caught.value.problems[0].line == 18


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=300))
def test_any_text_is_read_or_refused(text):
    """Refused as input, never as a fault of the program."""
    with contextlib.suppress(InputError):
        assert read_sheet(text).findings is not None


@settings(max_examples=200, deadline=None)
@given(st.integers(0, len(BLOCK)), st.integers(0, 60), st.text(max_size=5))
def test_any_damage_is_read_or_refused(start, length, other):
    with contextlib.suppress(InputError):
        assert read_sheet(BLOCK[:start] + other + BLOCK[start + length :]).findings is not None


def test_joining_loses_nothing(catalogue):
    case = parse_case(CASE, "saloon.toml", catalogue)
    joined = joined_case(case, read_sheet(BLOCK, catalogue), catalogue)
    assert joined.added == ("battery-rest-voltage",)
    assert joined.changed == ("oil-level-look",)
    by_check = {f.check: f for f in joined.case.finding}
    assert by_check["oil-level-look"].result == "present"
    assert (
        by_check["oil-level-look"].note
        == "smells of petrol; seller says so; before: right level, clean enough"
    )
    assert by_check["stance"] == case.finding[1]
    assert joined.case.car.note == "green\nit rained\nNot examined: On a lift: no lift or jack."
    text = edit_case_text(CASE, joined.case)
    assert parse_case(text, "saloon.toml", catalogue) == joined.case
    for comment in ("# mine", "# as on the plate", "# looked at on the telephone"):
        assert comment in text


def test_reading_the_same_sheet_twice_changes_nothing(catalogue):
    case = parse_case(CASE, "saloon.toml", catalogue)
    read = read_sheet(BLOCK, catalogue)
    once = joined_case(case, read, catalogue).case
    twice = joined_case(once, read, catalogue)
    assert twice.case == once
    assert twice.added == twice.changed == ()


def test_another_manner_stands_beside(catalogue):
    """A finding told by somebody does not take the place of one made in person."""
    case = parse_case(CASE, "saloon.toml", catalogue)
    told = "[[finding]]\ncheck = 'stance'\nresult = 'present'\nhow = 'reported'"
    joined = joined_case(case, read_sheet(told, catalogue), catalogue)
    assert [f.result for f in joined.case.finding if f.check == "stance"] == ["absent", "present"]


def test_a_reading_that_cannot_be_is_refused_and_the_case_stays(catalogue):
    case = parse_case(CASE, "saloon.toml", catalogue)
    with pytest.raises(InputError, match="0 to 15 volts"):
        joined_case(case, read_sheet(BLOCK.replace("12.1", "121"), catalogue), catalogue)


def test_a_sheet_of_another_car_is_said(catalogue):
    case = parse_case(CASE, "saloon.toml", catalogue)
    read = read_sheet(BLOCK.replace('car = "Saloon"', 'car = "Coupé"'), catalogue)
    assert joined_case(case, read, catalogue).other_car == "Coupé"
    assert joined_case(case, read_sheet(BLOCK, catalogue), catalogue).other_car == ""


def test_examples_take_a_sheet(catalogue):
    case = load_case("data/examples/estate.toml", catalogue)
    joined = joined_case(case, read_sheet(BLOCK, catalogue), catalogue)
    assert len(joined.case.finding) == len(case.finding) + len(joined.added)
