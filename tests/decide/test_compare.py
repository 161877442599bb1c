"""Cars side by side: figures by hand, dominance by definition, common randomness shared and nothing else."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from estimator.assess import assess
from estimator.decide.compare import common_outlays, compare, compared, dominance
from estimator.decide.stakes import certain
from estimator.pipeline import prepare
from estimator.problems import InputError
from estimator.report.decision_text import compare_text
from estimator.views import choosing
from tests.decide.small import catalogue, small_case


def named(name: str, *, scrap: float = 0.0, **changes):
    case = small_case(**changes)
    money = dataclasses.replace(case.money, scrap=scrap)
    return dataclasses.replace(case, car=dataclasses.replace(case.car, name=name), money=money)


def test_chances_regret_and_switching_price_by_hand():
    """Two cars at 100 and 130, value 200 each, four equally likely draws of outlay, normal outlay 0.

    Totals 110 150 100 190 and 140 140 150 130: the first is cheaper in draws 1 and 3: chance 1/2. Gains 90 50 100 10
    and 60 60 50 70, means 62.5 and 60: the first is chosen and stays so up to 102.5. Best in hindsight 90 60 100 70,
    mean 80: regrets 17.5 and 20.
    """
    cases = [named("one", asking=100, value=200), named("two", asking=130, value=200)]
    outlays = [np.array([10.0, 50.0, 0.0, 90.0]), np.array([10.0, 10.0, 20.0, 0.0])]
    found = compared(cases, outlays, [np.full(4, 200.0)] * 2, [0.0, 0.0], rho=None, seed=0)
    assert found.p_cheaper == ((0.5, 0.5), (0.5, 0.5))
    assert [c.regret for c in found.cases] == pytest.approx([17.5, 20.0])
    assert [c.switching_price for c in found.cases] == pytest.approx([102.5, 127.5])
    assert found.first == 0
    assert [c.p_best for c in found.cases] == pytest.approx([0.5, 0.5])


def test_the_first_year_has_unlisted_work_in_it_and_that_is_said():
    """Second method: on average what the estimate gives as two sums, listed and unlisted, within their errors."""
    case = named("one", asking=100, value=200)
    found = compare([case, named("two", asking=130, value=200)], catalogue(), draws=4_000)
    alone = assess(case, catalogue(), draws=4_000)
    listed, unlisted = alone.total.plan_year, alone.unlisted
    error = found.cases[0].outlay.se["mean"] + listed.se["mean"] + unlisted.se["mean"]
    assert found.cases[0].outlay.mean == pytest.approx(listed.mean + unlisted.mean, abs=3 * error)
    assert unlisted.mean > 3 * error
    assert "unlisted work included (`assess` shows it apart)" in " ".join(compare_text(found).split())
    assert "unlisted work" in choosing.UNLISTED


def test_nobody_puts_more_into_a_car_than_it_leaves_above_scrap():
    """By hand: value 200, scrap 150: of outlays 10, 80 and 500 at most 50 count: gains at 100 are 90, 50, 50."""
    cases = [named("one", asking=100, value=200, scrap=150.0), named("two", asking=100, value=200)]
    outlays = [np.array([10.0, 80.0, 500.0])] * 2
    found = compared(cases, outlays, [np.full(3, 200.0)] * 2, [0.0, 0.0], rho=None, seed=0)
    assert found.cases[0].gain.mean == pytest.approx((90 + 50 + 50) / 3)
    assert found.cases[1].gain.mean == pytest.approx((90 + 20 - 100) / 3)
    assert found.dominates == ((0, 1, 1),)


def test_at_the_switching_price_two_cars_are_level():
    rng = np.random.default_rng(0)
    cases = [named("one", asking=3000), named("two", asking=2500)]
    outlays = [rng.gamma(2, 400, 5_000), rng.gamma(1, 900, 5_000)]
    values = [np.full(5_000, 5000.0)] * 2
    found = compared(cases, outlays, values, [0.0, 0.0], rho=900.0, seed=0)
    first, other = found.first, 1 - found.first
    price = found.cases[other].switching_price
    gains = [np.maximum(values[0] - o, 0.0) for o in outlays]
    assert certain(gains[other] - price, 900.0) == pytest.approx(
        certain(gains[first] - found.cases[first].price, 900.0), abs=1e-6
    )


def test_dominance_by_its_definition():
    """Levy 1992: a shift up dominates in the first order; a mean-preserving spread is dominated in the second."""
    a = np.array([1.0, 2.0, 3.0, 4.0])
    assert (dominance(a + 1, a), dominance(a, a + 1), dominance(a, a)) == (1, 0, 0)
    spread = np.array([0.0, 2.0, 3.0, 5.0])
    assert (dominance(a, spread), dominance(spread, a)) == (2, 0)
    assert dominance(np.array([2.0, 2.0, 2.0]), np.array([1.0, 2.0, 9.0])) == 0


def test_cars_share_what_strikes_all_alike():
    """Outlays of two cars priced from one seed rise together; with seeds of their own they do not."""
    first, second = (prepare(named(n), catalogue()) for n in ("one", "two"))
    a = common_outlays(first, draws=20_000, seed=0, own=0)
    b = common_outlays(second, draws=20_000, seed=0, own=1)
    other = common_outlays(second, draws=20_000, seed=1, own=1)
    assert not np.array_equal(a, b)  # what each hides is its own
    together, apart = np.corrcoef(a, b)[0, 1], np.corrcoef(a, other)[0, 1]
    assert together > 0.05
    assert abs(apart) < 0.03


def test_lining_draws_up_changes_no_car_by_itself():
    """Second method: the same car assessed alone has the same mean and spread within four standard errors."""
    from estimator.assess import assess_fully

    case = named("one")
    lined = common_outlays(prepare(case, catalogue()), draws=20_000, seed=0, own=3)
    alone = assess_fully(case, catalogue(), draws=20_000, seed=5)
    plain = alone.outlays.total.year + alone.outlays.unlisted
    error = np.hypot(lined.std(), plain.std()) / np.sqrt(20_000)
    assert lined.mean() == pytest.approx(plain.mean(), abs=4 * error)
    assert lined.std() == pytest.approx(plain.std(), rel=0.1)


def test_the_same_seed_gives_the_same_comparison_with_any_number_of_workers():
    cases = [named("one"), named("two", asking=3500)]
    made = [compare(cases, catalogue(), draws=6_000, seed=4, workers=w).as_dict() for w in (1, 2)]
    assert made[0] == made[1]
    assert made[0]["p_cheaper"][0][1] == pytest.approx(1 - made[0]["p_cheaper"][1][0])
    assert set(made[0]["cases"][0]) >= {"case", "outlay", "regret"}


def test_a_dearer_car_of_the_same_kind_is_the_second_choice():
    found = compare([named("dear", asking=4500), named("cheap", asking=3000)], catalogue(), draws=4_000)
    assert found.first == 1
    assert found.p_cheaper[1][0] > 0.6
    assert len(found.frame()) == 2


def test_one_car_two_currencies_or_no_price_are_refused():
    with pytest.raises(InputError, match="at least two"):
        compare([named("one")], catalogue())
    with pytest.raises(InputError, match="at least two"):
        compare([], catalogue())
    euros = named("two")
    euros = dataclasses.replace(euros, money=dataclasses.replace(euros.money, currency="EUR"))
    with pytest.raises(InputError, match=r"one: GBP, two: EUR"):
        compare([named("one"), euros], catalogue())
    free = named("two")
    free = dataclasses.replace(free, money=dataclasses.replace(free.money, asking=None))
    with pytest.raises(InputError, match=r"two: money\.asking"):
        compare([named("one"), free], catalogue())


def test_the_order_of_the_files_does_not_choose_the_car():
    """By hand: the same draws for the same car wherever it stands; of two tolerances the lesser, and a word on it."""
    bold, shy = (
        dataclasses.replace(case, money=dataclasses.replace(case.money, risk_tolerance=rho))
        for case, rho in ((named("bold"), 1e6), (named("shy", asking=3500), 900.0))
    )
    one, other = (compare(cases, catalogue(), draws=6_000) for cases in ([bold, shy], [shy, bold]))
    assert one.cases == other.cases[::-1]
    assert one.p_cheaper[0][1] == other.p_cheaper[1][0]
    assert one.cases[one.first].case == other.cases[other.first].case
    assert {(1 - i, 1 - j, k) for i, j, k in one.dominates} == set(other.dominates)
    assert any("do not agree on money.risk_tolerance: 900" in said for said in one.warnings)
    alike = compare([shy, dataclasses.replace(shy)], catalogue(), draws=600)
    assert not any("agree" in said for said in alike.warnings)
