"""Messages on a page speak of fields as they are labelled there. By hand, unless said."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from estimator.case import parse_case
from estimator.files import InputError, Problem
from estimator.pages import entries
from estimator.record import done, record
from estimator.views import field_words
from estimator.views.field_words import LABELS, TITLES, changes, doubt_in_words, spoken
from tests.command_line import CASE

PAGES = Path(entries.__file__).parent
WORK = '[[work]]\ndate = 2009-03-20\ncomponent = "water-pump"\n'


def _on_screen() -> set[str]:
    """Every text of the pages' scripts, without the bracket behind it (unit, currency)."""
    found = set()
    for path in PAGES.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.add(re.sub(r" \(.*$", "", node.value, flags=re.DOTALL))
    return found


def test_labels_are_those_beside_the_fields():
    """Second method: read off the pages' own scripts."""
    shown = _on_screen()
    missing = [label for labels in LABELS.values() for label in labels.values() if label not in shown]
    assert missing == []
    assert {key: table.title for key, table in entries.TABLES.items()}.items() <= TITLES.items()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "built = 1971-05-01",
            'built = "June"',
            'a day written 1998-06-11, a month written 1998-06 or a year; found "June"',
        ),
        ("odometer = 68400", "odometer = -5", "Odometer shows: must be 0 or more; found -5"),
        (
            "odometer = 68400",
            "odometer = 138400",
            "(or change \u201cWhole figures on the odometer, tenths not",
        ),
        ("asking = 6500", "tax = 20.0", "Tax on parts and labour, per cent: must be 100 or less; found 2000"),
        ("built = 1971-05-01", "", "First registered or built: this is missing"),
        (
            "format = 1",
            "format = 1\n[[lived]]\nfrom = 2001-01-01\nto = 2000-01-01",
            "must be later than \u201cFrom\u201d; found",
        ),
    ],
)
def test_a_message_for_the_file_as_the_page_says_it(old, new, said):
    text = CASE.replace(old, new) if "lived" not in new else CASE + new.removeprefix("format = 1")
    with pytest.raises(InputError) as error:
        parse_case(text, "A saloon of our own")
    told = spoken(error.value)
    assert said in told
    for of_the_file in ("A saloon of our own", "car.", "money.", "lived[", "`", "quotes"):
        assert of_the_file not in told


def test_an_entry_is_named_by_its_day_and_part():
    case = parse_case(CASE + WORK, "x")
    problem = Problem(
        "x", None, "work[1].fitted", "the same as work[1], see car.viewed", ("work", 0, "fitted")
    )
    assert spoken(problem, case) == (
        "Work done, 20\u00a0Mar\u00a02009, water pump: What was fitted: the same as "
        "Work done, 20\u00a0Mar\u00a02009, water pump, see \u201cDay you saw it\u201d"
    )
    new = Problem("x", None, "work[2].fitted", "is wrong", ("work", 1, "fitted"))
    assert spoken(new, case) == "What was fitted: is wrong"


def test_what_cannot_be_written_down_yet_says_what_to_do_on_the_page():
    case = parse_case(CASE, "x")
    with pytest.raises(InputError) as error:
        record(CASE, [done(case.today.replace(year=2027), "water-pump")], name="x")
    told = spoken(error.value, case)
    assert told.startswith(
        "water pump: When: lies in the future of the day the car was seen (\u201cDay you saw it\u201d)"
    )
    assert told.endswith("After buying, write the purchase down first (The first year)")


def test_two_windows_differ_in_words():
    found = [
        (("money", "asking"), 7000.0, 6500.0),
        (("money", "confidence"), None, 0.8),
        (("car", "runs"), True, False),
        (("car", "storage"), "dry-garage", None),
        (("car", "traits"), ["live-axle"], []),
        (("work",), 1, 0),
    ]
    assert changes(found) == [
        "Asking price: 7,000 here, 6,500 there",
        "How sure the budget is to hold, per cent: nothing here, 80 there",
        "The engine runs: yes here, no there",
        "Where it has stood, most of its life: dry garage here, nothing there",
        "How it is built: live axle here, nothing there",
        "Work done: 1 entry only here, 0 entries only there",
    ]


def test_every_list_of_a_case_has_a_title():
    from estimator.casefile.records import LISTS

    assert set(TITLES) == set(LISTS)
    assert field_words.label(("spare", 0, "state")) == "state"


@pytest.mark.parametrize(
    ("warning", "said"),
    [
        ("coupe.toml: line 4, car.viewed: is odd", "Day you saw it: is odd"),
        ("money.carriage is not given: usual carriage", "\u201ccarriage\u201d is not given: usual carriage"),
        ("only 60 draws: every sum is rough", "only 60 draws: every sum is rough"),
        ("A: B: work[1]: the same work as work[2]", "the same work as Work done"),
        ("work[2].date: has not come yet", "When: has not come yet"),
        ("bought.date: has not come yet", "The purchase: When: has not come yet"),
    ],
)
def test_warnings_of_a_result_lose_file_and_line(warning, said):
    assert doubt_in_words(warning).replace("\u201cDay you saw it\u201d", "Day you saw it") == said


def test_a_price_that_is_wanted_is_asked_for_by_its_label():
    told = spoken(
        Problem("a car", None, "money.asking", "is needed: what the seller asks (or seller = [low, high])")
    )
    assert told == "Asking price: is needed: what the seller asks"
