"""Was what was estimated honest: a bill is held against all the parts on it, a renewal is not taken for a failure."""

from __future__ import annotations

import dataclasses
import datetime

import pytest

from estimator.case import parse_case
from estimator.casefile.records import Work
from estimator.catalogue.load import load_catalogue
from estimator.look_back import Bill, bills_inside, bills_of, conditions_seen, look_back
from estimator.report.record_text import look_back_rows
from estimator.views.looking_back import lines
from tests.cars import SALOON

DAY, LATER = datetime.date(2026, 6, 11), datetime.date(2026, 8, 1)
RANGES = {
    "water-pump": {"p10": 100.0, "p90": 200.0},
    "radiator": {"p10": 300.0, "p90": 500.0},
    "clutch": None,
}


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


def work(component, price=None, what="renewed", date=DAY, **more):
    return Work(component=component, price=price, what=what, date=date, **more)


def test_a_bill_for_several_parts_is_held_against_the_sum_of_their_ranges(catalogue):
    """By hand: 600 for pump and radiator lies in 100 + 300 to 200 + 500, and not in the pump's 100 to 200."""
    (bill,) = bills_of([work("water-pump", 600.0), work("radiator")], catalogue)
    assert bill == Bill(600.0, ("water-pump", "radiator"))
    assert (bills_inside([bill], RANGES).k, bills_inside([bill], RANGES).n) == (1, 1)
    assert bills_inside([Bill(150.0, bill.parts)], RANGES).k == 0  # fits the pump alone
    assert bills_inside([Bill(150.0, ("water-pump", "clutch"))], RANGES).n == 0  # nothing to hold it against


def test_which_parts_stand_on_which_bill(catalogue):
    """By hand: one day, one hand and one proof; each price with what follows it; another day is another bill."""
    entries = [
        work("water-pump", 150.0, evidence="invoice"),
        work("radiator", evidence="invoice"),
        work("clutch", 700.0, evidence="invoice"),
        work("coolant-hoses", evidence="note"),
        work("silencers-pipes", date=LATER, evidence="invoice"),
        work("clutch", what="seen-spent", evidence="invoice"),
    ]
    bills = bills_of(entries, catalogue)
    assert bills == [Bill(150.0, ("water-pump", "radiator")), Bill(700.0, ("clutch",))]
    assert bills_of([work("radiator"), work("water-pump", 400.0)], catalogue) == [
        Bill(400.0, ("radiator", "water-pump"))
    ]
    kit = (
        catalogue.kits["clutch-job"]
        if "clutch-job" in catalogue.kits
        else next(iter(catalogue.kits.values()))
    )
    depth, parts = next(iter(kit.depths.items()))
    (bill,) = bills_of([Work(kit=kit.id, depth=depth, price=90.0, date=DAY)], catalogue)
    assert set(bill.parts) == set(parts)


def test_a_renewal_is_no_failure_unless_the_record_says_so(catalogue):
    """By hand: renewed alone says nothing; seen that day is the old part, seen later the new one; first look counts."""
    entries = [
        work("radiator", what="seen-worn", date=LATER),
        work("radiator"),
        work("water-pump"),
        work("water-pump", what="seen-spent"),
        work("clutch", what="seen-sound"),
        work("clutch", what="seen-spent", date=LATER),
        work("silencers-pipes", what="adjusted"),
    ]
    seen, unsaid = conditions_seen(entries, catalogue)
    assert seen == {"water-pump": True, "clutch": False}
    assert unsaid == {"radiator"}


def test_the_whole_says_what_it_did_not_count(catalogue):
    """By hand: two parts on a bill, one of them seen spent: one outcome, one renewed without a word."""
    text = SALOON.format(built="1979-05-01", odometer=132_000, sale="private")
    case = parse_case(text + "\n[bought]\ndate = 2026-05-20\n", "car.toml", catalogue)
    told = (work("water-pump", 300.0), work("radiator"), work("radiator", what="seen-spent"))
    back = look_back(dataclasses.replace(case, work=(*case.work, *told)), catalogue, draws=200)
    assert (back.spent, back.bills_recorded, back.bills.n) == (300, 1, 1)
    assert (back.conditions.n, back.conditions.k, back.unsaid) == (1, 1, 1)
    for said in (" ".join(lines(back, "GBP")), " ".join(look_back_rows(back, "GBP"))):
        assert "1 part was renewed without" in " ".join(said.split())
    assert back.as_dict()["unsaid"] == 1
