"""What the budget leaves for work: one sum for the cost page, the report and the plan. By hand."""

from __future__ import annotations

import dataclasses
import datetime

import pytest

from estimator.assess import assess_fully
from estimator.case import Bought, Work
from estimator.catalogue.load import load_catalogue
from estimator.catalogue.running import running_settings
from estimator.decide.budget import budget_room, left_for_work
from estimator.decide.plan_settings import plan_settings
from tests.cars import cut, saloon

BILL = datetime.date(2026, 8, 3)


@pytest.fixture(scope="module")
def catalogue():
    whole = load_catalogue()
    return cut(whole, ["brake-fluid", "water-pump", "clutch"], [])


def _case(*work: Work, transport: float = 0.0):
    case = saloon()
    money = dataclasses.replace(case.money, budget=9_000.0, asking=6_000.0, transport=transport)
    return dataclasses.replace(case, money=money, work=work)


def _bought(case):
    return dataclasses.replace(case, bought=Bought(date=datetime.date(2026, 5, 10), price=5_500.0))


def test_it_falls_by_the_price_the_carriage_and_the_bills_since(catalogue):
    """9000 - 6000 asked; - 250 carriage; once bought 9000 - 5500 paid - 250 - 310 for the bill in August; a bill of the
    time before the purchase is not the buyer's."""
    late = Work(date=BILL, component="water-pump", evidence="invoice", price=310.0)
    early = Work(date=datetime.date(2019, 3, 1), component="clutch", evidence="invoice", price=480.0)
    assert left_for_work(_case(early)) == 3_000.0
    assert left_for_work(_case(early, transport=250.0)) == 2_750.0
    owned = _bought(_case(early, late, transport=250.0))
    assert left_for_work(owned) == 2_940.0
    assert left_for_work(saloon()) is None
    result = assess_fully(owned, catalogue, draws=400)
    assert budget_room(result).left == 2_940.0
    assert plan_settings(owned, running_settings(catalogue)).in_hand == 2_940.0


def test_the_more_of_it_is_spent_the_less_likely_it_holds(catalogue):
    small, large = (
        budget_room(
            assess_fully(
                _bought(_case(Work(date=BILL, component="water-pump", evidence="invoice", price=price))),
                catalogue,
                draws=4_000,
            )
        )
        for price in (100.0, 3_300.0)
    )
    assert small.left - large.left == 3_200.0
    assert small.chance > large.chance
