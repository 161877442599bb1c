"""Keeping the car: parts that add up, discounting by the handbook's factors, wear after what was renewed, bad input."""

from __future__ import annotations

import dataclasses
import itertools
import json
import re

import numpy as np
import pytest

from estimator.assess import assess_fully
from estimator.casefile.records import Bought
from estimator.catalogue.load import load_catalogue
from estimator.catalogue.running import running_settings
from estimator.decide.ahead import ahead as years_ahead
from estimator.decide.keep import keep
from estimator.decide.plan import plan_year
from estimator.money.discount import nominal_rate, spv, upv
from estimator.problems import InputError
from estimator.report.keep_text import keep_text
from estimator.report.plain_words import money
from estimator.views import keeping
from estimator.views import words as view_words
from tests.cars import cut, saloon
from tests.decide.test_plan import PARTS


@pytest.fixture(scope="module")
def world():
    whole = load_catalogue()
    catalogue = cut(whole, [p for p in PARTS if p in whole.components], [])
    case = saloon()
    return case, catalogue, assess_fully(case, catalogue, draws=1500)


def kept(world, **options):
    case, catalogue, result = world
    return keep(case, catalogue, result=result, **options)


@pytest.fixture(scope="module")
def five(world):
    return kept(world, years=5)


def test_the_split_adds_up_every_year_and_in_all(five):
    for year in five.years:
        assert sum(year.parts.values()) == pytest.approx(year.nominal, rel=1e-9)
        assert year.band.mean == pytest.approx(year.nominal, rel=1e-9)
    assert sum(y.nominal for y in five.years) == pytest.approx(five.nominal.mean, rel=1e-9)
    assert sum(y.present for y in five.years) == pytest.approx(five.present.mean, rel=1e-9)
    assert sum(five.parts.values()) == pytest.approx(five.nominal.mean, rel=1e-9)
    assert sum(five.present_parts.values()) == pytest.approx(five.present.mean, rel=1e-9)
    assert five.per_year * 5 == pytest.approx(five.nominal.mean)
    assert five.per_distance * 5 * five.annual_distance == pytest.approx(five.nominal.mean)
    assert five.annual_distance == 3000


def test_a_steady_cost_is_discounted_by_the_handbooks_factors(five):
    """Closed form (NIST Handbook 135): insurance of A a year in today's money growing one per cent beyond inflation
    has the present value A UPV*(real rate, 1 %): nominal and real discounting agree."""
    from estimator.money.discount import upv_star

    real, growth = five.discount, 0.01
    first = five.years[0].parts["insurance"] / ((1 + five.inflation) * (1 + growth))
    expected = first * upv_star(real, growth, 5)
    assert five.present_parts["insurance"] == pytest.approx(expected, rel=1e-9)
    assert five.present_parts["service"] == pytest.approx(
        five.years[0].parts["service"] / (1 + five.inflation) * upv(real, 5), rel=1e-9
    )


def test_value_is_price_less_what_it_brings_at_the_end(five, world):
    """Closed form: present cost of value = first - SPV x last (residual), nominal = first - last."""
    rate = nominal_rate(five.discount, five.inflation)
    last = 6000 - five.parts["value"]
    assert five.present_parts["value"] == pytest.approx(6000 - spv(rate, 5) * last, rel=1e-9)


def test_without_inflation_and_discount_present_is_nominal(world):
    flat = kept(world, years=3, inflation=0.0, discount=0.0)
    assert flat.present.mean == pytest.approx(flat.nominal.mean)
    assert flat.present_per_year == pytest.approx(flat.per_year)


def test_year_one_is_the_estimates_own_first_year(world):
    """The first year's repairs are the estimate's policy: their mean is the assessment's, to its error."""
    one = kept(world, years=1, inflation=0.0)
    repairs = sum(one.parts[p] for p in ("putting_right", "wear", "tyres"))
    year = world[2].assessment.total.plan_year
    assert repairs == pytest.approx(year.mean, abs=5 * year.se["mean"])
    assert one.parts["putting_right"] == pytest.approx(
        world[2].assessment.total.now.mean, abs=5 * year.se["mean"]
    )


def test_need_within_the_year_is_the_passs_own(world):
    """Second method: the run with its calendar stretched over three years has the pass's own twelve months in it."""
    from estimator.decide.ahead import _due_far

    prepared = world[2].prepared
    far = _due_far(prepared, prepared.wear.history, 3.0)
    weigh = np.einsum("g,gck->ck", prepared.grid.weight, prepared.grid.marginal[:, :, 1:])
    for quarter in range(4):
        exact = np.einsum("ck,gck,g->c", weigh, prepared.due[..., 3 * quarter + 2], prepared.grid.weight)
        found = np.einsum("ck,gck,g->c", weigh, far[..., quarter], prepared.grid.weight)
        assert found == pytest.approx(exact, abs=0.06)
        assert found.mean() == pytest.approx(exact.mean(), abs=0.005)


def test_need_grows_with_the_horizon(world):
    prepared = world[2].prepared
    five = years_ahead(prepared, 5.0)
    need = [five.need_by(prepared, h) for h in (0.5, 1.0, 2.0, 5.0)]
    for sooner, later in itertools.pairwise(need):
        assert (later >= sooner - 1e-9).all()
    with pytest.raises(ValueError, match="1 to 40"):
        years_ahead(prepared, 60.0)


def test_more_years_and_more_distance_cost_more(world):
    case, catalogue, _ = world
    assert kept(world, years=2).nominal.mean < kept(world, years=8).nominal.mean
    far = dataclasses.replace(case, money=dataclasses.replace(case.money, annual_distance=12_000.0))
    more = keep(far, catalogue, years=5, result=assess_fully(far, catalogue, draws=600))
    less = kept(world, years=5)
    assert more.parts["fuel"] == pytest.approx(4 * less.parts["fuel"], rel=0.1)
    assert more.per_distance < less.per_distance


def test_what_the_plan_renews_wears_less_afterwards(world):
    """Every part renewed in year 1: repairs of the next years fall below those without the plan."""
    case, catalogue, result = world
    plan = plan_year(case, catalogue, result=result, include=[p for p in PARTS if p in catalogue.components])
    with_plan, without = kept(world, years=4, plan=plan), kept(world, years=4)
    later = [sum(y.parts["wear"] for y in found.years[1:]) for found in (with_plan, without)]
    assert later[0] < later[1]
    assert with_plan.years[0].nominal > without.years[0].nominal


def test_selling_now_is_set_against_keeping(five):
    sell = five.sell_now
    assert 0.85 * 6000 < sell.receives.mean < 6000
    assert sell.dearer.mean == pytest.approx(five.present.mean, abs=0.1 * 6000)
    assert 0 <= sell.chance_keeping_pays <= 1


def test_sold_now_without_a_price_it_brings_a_good_ones_value_less_putting_it_right(world):
    """By hand: the mean of a good one less that of what is spent today (never below scrap); then selling costs."""
    case, catalogue, _ = world
    free = dataclasses.replace(case, money=dataclasses.replace(case.money, asking=None))
    result = assess_fully(free, catalogue, draws=1500)
    found = keep(free, catalogue, years=2, result=result)
    selling = running_settings(catalogue).value.selling
    good = case.money.sound_example
    mean = [(low + 4 * likely + high) / 6 for low, likely, high in (good, selling)]  # PERT
    right = found.parts["putting_right"]
    assert right > 200
    assert found.sell_now.basis == "good-example"
    assert found.sell_now.receives.mean == pytest.approx((mean[0] - right) * (1 - mean[1]), rel=0.03)
    bought = dataclasses.replace(case, bought=Bought(date=case.car.viewed, price=5100.0))
    kept_on = keep(bought, catalogue, years=1, result=assess_fully(bought, catalogue, draws=200))
    assert (kept_on.sell_now.basis, keep(case, catalogue, years=1, result=world[2]).sell_now.basis) == (
        "paid",
        "asked",
    )


def test_page_and_terminal_say_the_same_of_selling_now(five, world):
    """By hand: one sentence, the likely sum (P50) in both, the average named as one."""
    shown, printed = keeping.sell_now(five), " ".join(keep_text(five, world[1]).split())
    sell = five.sell_now
    for figure in (sell.receives.p50, sell.dearer.p50, sell.dearer.p80):
        assert view_words.about(figure, "GBP") in shown
        assert money(figure, "GBP") in printed
    assert "a year on average" in shown
    assert "a year on average" in printed
    skeleton = [re.sub(r"(£|GBP )[\d,]+", "#", text).split(" Chance")[0] for text in (shown, printed)]
    assert skeleton[0] in skeleton[1]


def test_without_price_and_value_the_value_is_left_out_and_said(world):
    case, catalogue, _ = world
    plain = dataclasses.replace(case, money=dataclasses.replace(case.money, asking=None, sound_example=None))
    found = keep(plain, catalogue, years=2, result=assess_fully(plain, catalogue, draws=300))
    assert "value" not in found.parts
    assert found.sell_now is None
    assert any("left out" in n for n in found.notes)


def test_json_and_text(five, world):
    data = json.loads(json.dumps(five.as_dict(), allow_nan=False))
    assert {"years", "nominal", "present", "per_distance", "per_year"} <= set(data)
    assert {"year", "nominal", "present", "parts"} <= set(data["years"][0])
    text = keep_text(five, world[1])
    assert "Keeping this car for 5 years" in text
    assert [row for row in text.splitlines() if len(row) > 80] == []


@pytest.mark.parametrize(
    ("options", "key"),
    [
        ({"years": 0}, "years"), ({"years": 200}, "1 to 40"), ({"years": 2.5}, "years"),
        ({"discount": -1.0}, "discount"), ({"discount": float("nan")}, "discount"), ({"inflation": 5.0}, "inflation"),
    ],
)  # fmt: skip
def test_bad_settings_are_refused_by_name(world, options, key):
    with pytest.raises(InputError, match=key):
        kept(world, **options)
