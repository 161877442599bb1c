"""Offers move the right way, and say what they rest on."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from estimator.assess import assess_fully
from estimator.case import parse_case
from estimator.catalogue.load import load_catalogue
from estimator.decide.offer import BY_BUDGET, BY_VALUE, offer, offered
from estimator.decide.reference import reference_case, reference_outlay, untampered
from estimator.money.ranges import pert_mean
from estimator.problems import InputError
from tests.decide.small import CASE, catalogue, small_case, small_result

CENT = 0.01


def prices(*, draws: int = 20_000, extra: float = 0.0, reference: float = 0.0, **changes):
    return offered(small_result(small_case(**changes), draws=draws, extra=extra), reference)


def test_work_known_for_certain_lowers_fair_and_limit_by_its_cost():
    """By X, within rounding, where the cap does not bind (scrap 0, value far above); target by t X between E[R] and
    asking. By hand: V falls by X in every draw.
    """
    money = "risk_tolerance = 3000"
    before = prices(value=20_000, asking=20_000, money=money)
    after = prices(value=20_000, asking=20_000, money=money, extra=600.0)
    assert after.likely_lowest < after.walk_away < before.walk_away < before.asking
    assert after.fair == pytest.approx(before.fair - 600, abs=CENT)
    assert after.walk_away == pytest.approx(before.walk_away - 600, abs=CENT)
    assert after.target == pytest.approx(before.target - 300, abs=CENT)
    assert after.known_work == pytest.approx(before.known_work + 600, abs=CENT)
    assert after.hidden_allowance == pytest.approx(before.hidden_allowance, abs=CENT)


def test_without_uncertainty_fair_and_limit_are_value_less_cost():
    """Closed form: every draw the same, so no allowance for risk."""
    result = small_result(small_case(value=5000, money="risk_tolerance = 500"))
    same = np.full(len(result.draws), 1234.0)
    pair = dataclasses.replace(result.outlays.total, now=same, year=same)
    result = dataclasses.replace(result, outlays=dataclasses.replace(result.outlays, total=pair))
    found = offered(result, 200.0)
    assert found.fair == pytest.approx(5000 - 1034, abs=CENT)
    assert found.walk_away == pytest.approx(found.fair, abs=CENT)


def test_value_less_known_less_hidden_is_fair():
    found = prices(value=9000, asking=7000, extra=250.0, reference=400.0)
    assert found.value - found.known_work - found.hidden_allowance == pytest.approx(found.fair, abs=CENT)


def test_more_tolerance_for_risk_more_to_pay_up_to_the_mean():
    limits = [prices(money=f"risk_tolerance = {rho}").walk_away for rho in (400, 800, 2000, 20_000)]
    assert limits == sorted(limits)
    assert limits[-1] < prices().walk_away == pytest.approx(prices().fair, abs=CENT)


def test_more_confidence_and_less_budget_lower_the_limit():
    limits = [prices(money=f"budget = 4000\nconfidence = {c}").by_budget for c in (0.95, 0.8, 0.5)]
    assert limits == sorted(limits)
    tight = prices(money="budget = 2500")
    assert (tight.binds, prices(money="budget = 90000").binds) == (BY_BUDGET, BY_VALUE)
    assert tight.walk_away == pytest.approx(max(tight.by_budget, 0))
    assert tight.opening <= tight.target <= tight.walk_away


def test_nobody_opens_below_what_any_seller_would_talk_about():
    """By hand: asking 2800, the least a seller takes three quarters of it, 2100, though in one case of ten the car is
    worth less than that; and the opening is never above the price to aim for.
    """
    found = prices(value=3200, asking=2800)
    assert found.least == pytest.approx(2100)
    assert found.opening == pytest.approx(min(2100, found.target))
    assert prices(value=9000, asking=4000).opening > 3000


def test_chance_that_the_budget_holds_is_the_plain_quantile_rule():
    """At the limit set by the budget the chance is the confidence asked for: no less, and less a step above it. By the
    definition of a quantile; this small car's sums are few, so that many draws cost exactly as much.
    """
    found = prices(money="budget = 4500\nconfidence = 0.8")
    chance = dict(found.chance_budget_holds)
    assert found.binds == BY_BUDGET
    assert chance[found.walk_away] >= 0.8 > min(c for p, c in chance.items() if p > found.walk_away)
    series = [c for _, c in sorted(chance.items())]
    assert series == sorted(series, reverse=True)
    assert prices().chance_budget_holds == ()


def test_a_worse_finding_lowers_the_limit():
    """Real findings through the whole path."""
    limits = []
    for result in ("absent", "present"):
        more = f'[[finding]]\ncheck = "crack"\nresult = "{result}"\n'
        limits.append(prices(more=more).walk_away)
    assert limits[1] < limits[0] - 100


def test_no_price_jumps_as_a_finding_grows_surer():
    """From absent to present in small steps of belief: every step is about its share of the whole way."""
    steps = np.linspace(0.0, 1.0, 21)
    limits = []
    for sure in steps:
        more = f'[[finding]]\ncheck = "crack"\nresult = "present"\nsure = {sure}\n'
        limits.append(prices(more=more, draws=20_000).walk_away)
    moves = -np.diff(limits)
    whole = limits[0] - limits[-1]
    assert whole > 300
    assert np.abs(moves).max() < 0.25 * whole


def test_no_price_jumps_as_a_reading_crosses_its_limit():
    """Readings a tenth of a millimetre apart from far on the bad side of 1.6 mm to far on the good side."""
    every = []  # the opening rests on a quantile, which steps between the few sums this small car can cost
    for value in np.arange(0.8, 2.45, 0.1):
        found = prices(more=f'[[finding]]\ncheck = "gauge"\nvalue = {value:.2f}\n', draws=20_000)
        every.append((found.fair, found.target, found.walk_away))
    moves = np.diff(np.array(every), axis=0)
    whole = np.array(every[-1]) - np.array(every[0])
    assert (whole[[0, 2]] > 300).all()
    assert (moves > -0.06 * whole.max()).all()  # never down as the reading gets better, up to the draws
    steepest = (
        0.133  # of the way in a step: 0.1 mm at the middle of a normal of sd 0.3 mm is 0.1 / (0.3 sqrt(2 pi))
    )
    assert np.abs(moves).max() < (steepest + 0.06) * whole.max()


def test_half_of_the_way_to_the_asking_price():
    """By hand: asking 4000, so E[R] = 3620. Limit above asking: 3620 + (4000 - 3620) / 2 = 3810."""
    found = prices(value=9000, asking=4000)
    assert found.walk_away > 4000
    assert found.target == pytest.approx(3810, abs=CENT)
    assert found.likely_lowest == pytest.approx(3620, abs=CENT)


def test_a_friend_gets_one_price():
    found = prices(sale="friend", value=9000, asking=8500)
    assert found.opening == found.target == pytest.approx(min(found.fair, found.walk_away))


def test_the_hammer_bid_leaves_room_for_what_comes_on_top():
    """By hand: (worth - margin - carriage) / (1 + premium (1 + tax on it)); margin .5642 sd of a PERT value. It is the
    one number: the limit is the bid, and nothing is said of a price to walk away at.
    """
    text = CASE.format(
        asking=6000,
        value=1,
        sale="auction",
        more="",
        money="premium = 0.12\npremium_tax = 0.2\ntransport = 300",
    ).replace("[1, 1, 1]", "[6000, 8000, 9000]")
    case = parse_case(text, "auction", catalogue())
    found = offered(small_result(case), 0.0)
    mean = float(pert_mean(np.array([6000, 8000, 9000])))
    spread = np.sqrt((mean - 6000) * (9000 - mean) / 7)
    assert found.bid_margin / spread == pytest.approx(0.5642, rel=0.01)  # 1 / sqrt(pi), closed form
    paid = found.highest_bid * (1 + 0.12 * 1.2) + 300 + found.bid_margin
    assert paid == pytest.approx(found.fair, abs=CENT)  # neutral to risk: worth to him is worth on average
    assert found.walk_away == found.highest_bid
    assert (found.opening, found.target, found.fixed_first, found.concessions) == (None, None, None, ())
    assert not {"target", "opening", "walk_away", "fixed_first"} & set(found.sentences)
    assert prices().highest_bid is None


def test_a_traders_promise_raises_the_limit_by_what_it_carries():
    plain = prices(sale="trader", value=20_000, asking=18_000)
    promised = prices(
        sale="trader",
        value=20_000,
        asking=18_000,
        more="[warranty]\nshare = 0.5\nmonths = 12\nlimit = 100000\n",
    )
    assert promised.warranty_carries > 0
    assert promised.fair == pytest.approx(plain.fair + promised.warranty_carries, abs=1)
    assert "local law" in promised.sentences["warranty"]


@pytest.fixture(scope="module")
def ours():
    return load_catalogue()


def test_the_reference_car_at_its_own_value_is_bought_near_it(ours):
    """Reference of the reference is itself, so at its own value fair is the value, within the draws' error."""
    from tests.cars import saloon

    case = reference_case(saloon(), ours)
    value = 7000.0
    money = dataclasses.replace(case.money, asking=value, sound_example=(value, value, value), scrap=0.0)
    case = dataclasses.replace(case, money=money)
    result = assess_fully(case, untampered(ours), draws=10_000)  # as the reference: its distance is given
    reference = reference_outlay(case, ours)
    outlay = result.outlays.total.year + result.outlays.unlisted
    error = 4 * outlay.std() * np.sqrt(2 / 10_000)
    assert reference == pytest.approx(outlay.mean(), abs=error)
    cap = np.maximum(value - (outlay - reference), 0.0)  # nobody puts in more than the car is worth
    assert offered(result, reference).fair == pytest.approx(cap.mean(), abs=CENT)
    assert abs(offered(result, reference).fair - value) < 0.15 * value


def test_figures_are_said_in_sentences():
    found = prices(money="budget = 5000\nrisk_tolerance = 2000", extra=250.0)
    assert {"fair", "opening", "target", "walk_away", "budget", "fixed_first"} <= set(found.sentences)
    assert set(found.as_dict()) >= {
        "fair", "opening", "target", "walk_away", "binds", "highest_bid", "reference_outlay", "known_work",
        "hidden_allowance", "chance_budget_holds", "stops",
    }  # fmt: skip
    assert list(found.frame().columns) == ["price", "chance"]


def test_a_limit_above_the_dearest_good_example_is_said():
    """A car that should need far less work than such a car usually does is worth more than one: that is said."""
    found = prices(value=5000, reference=4000.0)
    assert found.by_value > 5000
    assert any("dearest good example" in w for w in found.warnings)
    assert not any("dearest good example" in w for w in prices(value=5000).warnings)


# --- bad input ---------------------------------------------------------------------------------------


def refusal(**changes) -> str:
    with pytest.raises(InputError) as refused:
        offer(small_case(**changes), catalogue(), draws=2_000)
    return str(refused.value)


def test_a_price_needs_a_price_and_a_value():
    text = CASE.format(asking=1, value=1, sale="private", money="", more="")
    bare = text.replace("asking = 1\n", "").replace("sound_example = [1, 1, 1]\n", "")
    with pytest.raises(InputError, match=r"money\.asking(.|\n)*money\.sound_example"):
        offer(parse_case(bare, "bare", catalogue()), catalogue())


def test_a_risk_tolerance_too_small_for_the_draws_is_refused_with_one_that_is_not():
    said = refusal(money="risk_tolerance = 5")
    assert "money.risk_tolerance" in said
    assert "too small" in said
    enough = float(said.split("allowed here is about ")[1].split(" ")[0].replace(",", ""))
    assert offer(small_case(money=f"risk_tolerance = {enough + 1}"), catalogue(), draws=2_000).walk_away > 0


def test_sound_range_out_of_order_and_confidence_of_one_are_refused():
    with pytest.raises(InputError, match="sound_example"):
        small_case().__class__ and parse_case(
            CASE.format(asking=1, value=1, sale="private", money="", more="").replace(
                "[1, 1, 1]", "[3, 2, 1]"
            ),
            "x",
        )
    for confidence in (0, 1):
        with pytest.raises(InputError, match="confidence"):
            small_case(money=f"confidence = {confidence}")


def test_a_gift_and_a_budget_below_the_asking_price_are_answered():
    gift = prices(asking=0)
    assert gift.walk_away > 0
    assert gift.target == 0
    assert any("gift" in w for w in gift.warnings)
    assert prices(asking=4000, money="budget = 900").walk_away >= 0
