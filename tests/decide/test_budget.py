"""Whether the budget holds: one definition, for offer, cost page and report."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from estimator.case import parse_case
from estimator.decide.budget import budget_room, holds
from estimator.decide.offer import offered
from estimator.decide.sales import Terms, paid_in_all, price_of, terms_of
from estimator.decide.stakes import stakes_of
from estimator.views import sentences
from tests.decide.small import CASE, catalogue, small_case, small_result

BUDGET = "budget = 4500\nconfidence = 0.8\n"


def unlisted(result, amount: float):
    """The same with so much unlisted work in every draw."""
    outlays = dataclasses.replace(result.outlays, unlisted=np.full(len(result.draws), amount))
    return dataclasses.replace(result, outlays=outlays)


def test_the_offer_and_the_cost_page_say_the_same_chance():
    """Second method: the share of draws counted here; unlisted work is in both, and counts."""
    for amount in (0.0, 450.0):
        result = unlisted(small_result(small_case(asking=3200, money=BUDGET)), amount)
        room, found = budget_room(result), offered(result, 0.0)
        counted = float((result.outlays.total.year + amount <= 4500 - 3200).mean())
        assert room.chance == pytest.approx(counted, abs=1e-9)
        assert dict(found.chance_budget_holds)[3200.0] == pytest.approx(counted, abs=1e-9)
        assert room.sentence.rstrip(".") in found.sentences["budget"]
        assert f"{100 * counted:.0f} of 100" in sentences.budget(room)
    with_less = budget_room(small_result(small_case(asking=3200, money=BUDGET)))
    assert room.chance < with_less.chance - 0.1


def test_the_line_among_listed_outcomes_stands_where_as_many_are_beyond_as_break_the_budget():
    """By definition of reach."""
    result = unlisted(small_result(small_case(asking=3200, money=BUDGET)), 450.0)
    room = budget_room(result)
    year = result.outlays.total.year
    assert (year < room.reach).mean() <= room.chance <= (year <= room.reach).mean()
    assert room.reach <= room.left - 450


def test_the_budget_bears_price_premium_carriage_and_repair():
    """By hand: at the limit, limit (1 + .10 x 1.2) + 300 and the 80 % quantile of the work make up the budget."""
    money = BUDGET + "premium = 0.10\npremium_tax = 0.2\ntransport = 300\n"
    result = small_result(small_case(value=50_000, money=money, sale="auction"))
    found, work = offered(result, 0.0), np.quantile(result.outlays.total.year, 0.8)
    assert found.binds == "budget"
    assert found.walk_away * 1.12 + 300 + work == pytest.approx(4500, abs=0.01)
    chance = dict(found.chance_budget_holds)
    at_asking = (result.outlays.total.year <= 4500 - 4000 * 1.12 - 300).mean()
    assert chance[4000.0] == pytest.approx(at_asking, abs=1e-9)
    result = small_result(small_case(value=50_000, money=BUDGET + "transport = 300\n"))
    private, work = offered(result, 0.0), np.quantile(result.outlays.total.year, 0.8)
    assert private.walk_away + 300 + work == pytest.approx(4500, abs=0.01)


def test_carriage_comes_off_what_the_car_is_worth():
    """By hand: who pays 300 to bring it home can pay 300 less for it."""
    plain, carried = (
        offered(small_result(small_case(value=9000, money=m)), 0.0) for m in ("", "transport = 300")
    )
    assert carried.walk_away == pytest.approx(plain.walk_away - 300, abs=0.01)
    assert carried.fair == plain.fair
    assert "Carriage" in carried.sentences["walk_away"]


def test_one_rule_for_the_price():
    """By hand: paid, else asked, else the most the seller hopes for, else none; everybody asks the same function."""
    text = CASE.format(asking=1, value=5000, sale="private", money="", more="").replace("asking = 1\n", "")
    bare = parse_case(text, "bare", catalogue())
    hoped = parse_case(text.replace("[money]", "[money]\nseller = [3000, 3500, 3900]"), "hoped", catalogue())
    bought = small_case(asking=4000, more="[bought]\ndate = 2026-05-02\nprice = 3700\n")
    assert [price_of(c) for c in (bare, hoped, small_case(asking=4000), bought)] == [None, 3900, 4000, 3700]
    with_budget = dataclasses.replace(hoped, money=dataclasses.replace(hoped.money, budget=6000.0))
    result = small_result(with_budget)
    assert stakes_of(result, 0.0).asking == 3900
    assert budget_room(result).in_all == paid_in_all(hoped) == 3900
    assert budget_room(small_result(bare)) is None


def test_what_changes_hands_by_kind_of_sale():
    """By hand. What was paid has the premium in it; an owned car without a purchase stands where it is."""
    money = "premium = 0.10\npremium_tax = 0.2\ntransport = 300\n"
    assert terms_of(small_case(sale="auction", money=money)) == Terms(pytest.approx(0.12), 300)
    assert terms_of(small_case(sale="private", money=money)) == Terms(0, 300)
    assert terms_of(small_case(sale="owned", money=money)) == Terms(0, 0)
    bought = small_case(sale="auction", money=money, more="[bought]\ndate = 2026-05-02\nprice = 3700\n")
    assert paid_in_all(bought) == 4000
    terms = Terms(0.12, 300)
    assert terms.price_for(terms.in_all(2500.0)) == pytest.approx(2500)


def test_chances_are_shares_of_draws():
    """By hand."""
    assert list(holds(np.array([3.0, 1.0, 2.0, 2.0]), np.array([0.0, 2.0, 9.0]))) == [0.0, 0.75, 1.0]


def test_nothing_left_is_said():
    room = budget_room(small_result(small_case(asking=4600, money=BUDGET)))
    assert room.left == -100
    assert room.chance == 0
    assert "nothing is left for work" in sentences.budget(room)
    assert sentences.budget(None) == ""
