"""Properties of the whole path: what must hold whatever the catalogue says."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from estimator.assess import assess, assess_fully
from estimator.case import parse_case
from estimator.catalogue.load import load_catalogue
from estimator.catalogue.settings import Currency
from estimator.evidence.findings import SPENT
from estimator.evidence.noisy_or import NoisyOr
from estimator.pipeline import prepare
from estimator.problems import InputError
from tests.cars import SALOON, saloon

FINDINGS = """
[[finding]]
check = "take-up"
result = "present"
[[finding]]
check = "vibration-band"
result = "present"
[[finding]]
check = "pinion-seal-case-wet"
result = "present"
[[finding]]
check = "tap-press-sill-bottoms-arch-lips"
result = "absent"
[[finding]]
check = "brake-pedal"
result = "absent"
[[work]]
date = 2025-03-01
component = "water-pump"
evidence = "invoice"
fitted = "new"
"""


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


@pytest.fixture(scope="module")
def result(catalogue):
    return assess_fully(saloon(FINDINGS), catalogue, draws=3000)


def test_hidden_and_known_are_the_total_in_every_draw(result):
    outlays = result.outlays
    np.testing.assert_allclose(outlays.hidden.year + outlays.known.year, outlays.total.year, rtol=1e-12)
    np.testing.assert_allclose(outlays.hidden.now + outlays.known.now, outlays.total.now, rtol=1e-12)
    assert (outlays.total.year >= outlays.total.now - 1e-9).all()


def test_reasons_add_up(result):
    for component in result.assessment.components:
        assert sum(r.points for r in component.why) == pytest.approx(component.p_spent, abs=1e-9)


def test_comfort_and_unlisted_stand_apart(result):
    """The parts that are not comfort make the whole total; comfort's parts make the comfort line."""
    comfort = result.prepared.car.comfort
    part = result.outlays.part.astype(float)
    np.testing.assert_allclose(part[:, ~comfort].sum(axis=1), result.outlays.total.year, rtol=1e-4, atol=0.1)
    np.testing.assert_allclose(part[:, comfort].sum(axis=1), result.outlays.comfort, rtol=1e-4, atol=0.1)
    shares = [c.share_mean for c in result.assessment.components]
    assert sum(shares) == pytest.approx(1.0, abs=1e-4)


def test_seed_zero_is_a_seed_and_workers_do_not_matter(catalogue):
    case = saloon(FINDINGS)
    first = assess(case, catalogue, draws=11_000, seed=0, workers=1).as_dict()
    again = assess(case, catalogue, draws=11_000, seed=0, workers=2).as_dict()
    other = assess(case, catalogue, draws=11_000, seed=1, workers=1).as_dict()
    assert first == again
    assert first["outlay"] != other["outlay"]
    a, b = (x["outlay"]["plan_year"] for x in (first, other))
    assert a["mean"] == pytest.approx(b["mean"], abs=4 * np.hypot(a["se"]["mean"], b["se"]["mean"]))


def test_doubling_all_money_doubles_the_outlay(catalogue):
    """Twice the price of parts, labour and specialists, twice the car's value: twice the outlay, draw for draw."""
    prices = catalogue.settings.prices
    gbp = prices.currency["GBP"]
    dear = prices.model_copy(
        update={
            "currency": {
                "GBP": gbp.model_copy(
                    update={"labour_rate": tuple(2 * x for x in gbp.labour_rate), "parts": 2 * gbp.parts}
                ),
                "base": Currency(parts=1, labour_rate=gbp.labour_rate, tax=gbp.tax),
            },
            "base": "base",
        }
    )
    settings = catalogue.settings.model_copy(update={"prices": dear})
    doubled = dataclasses.replace(catalogue, settings=settings)
    text = SALOON.format(built="1979-05-01", odometer=132_000, sale="private") + FINDINGS
    twice = text.replace("asking = 6000", "asking = 12000").replace(
        "[5500, 7000, 9000]", "[11000, 14000, 18000]"
    )
    once = assess_fully(parse_case(text), catalogue, draws=1000).outlays
    both = assess_fully(parse_case(twice), doubled, draws=1000).outlays
    np.testing.assert_allclose(both.total.year, 2 * once.total.year, rtol=1e-5)
    np.testing.assert_allclose(both.comfort, 2 * once.comfort, rtol=1e-5)


def test_a_worse_result_never_clears_a_part(catalogue):
    """With nothing else present and the grid held fixed, present >= not made >= absent for every linked part."""
    prepared = prepare(saloon(), catalogue)
    prior = prepared.grid.mean(prepared.grid.prior)
    index = prepared.car.index
    for check in catalogue.checks.values():
        links = np.zeros((1, prior.shape[0], 3))
        for link in check.links:
            if link.component in index:
                links[0, index[link.component]] = (link.spent, link.worn, 0.0)
        if not links.any():
            continue
        network = NoisyOr(prior, links, np.array([check.leak]))
        spent = {b: network.posterior(np.array([b])).marginal[:, SPENT] for b in (-1.0, 0.0, 1.0)}
        assert (spent[1.0] >= spent[-1.0] - 1e-12).all(), check.id
        assert (spent[-1.0] >= spent[0.0] - 1e-12).all(), check.id


def test_the_catalogue_itself_is_exact_with_thirty_present(catalogue):
    """Thirty signs present at once on a real car's network: solved exactly, by a narrow frontier."""
    car = prepare(saloon(), catalogue).car
    able = [
        c for c in catalogue.checks.values()
        if sum(x.component in car.index for x in c.links) >= 2 and not c.stop and car.chance(c.when) == 1
        and c.station in ("walk-round", "bonnet-cold", "cabin", "road-test", "on-a-lift")
    ]  # fmt: skip
    rng = np.random.default_rng(30)
    chosen = {able[i].id for i in rng.choice(len(able), 30, replace=False)}
    more = "".join(
        f'[[finding]]\ncheck = "{c.id}"\n'
        + ("result" if c.reading is None else "value")
        + " = "
        + _result(c, present=c.id in chosen)
        + "\n"
        for c in able
    )
    assessed = assess(saloon(more), catalogue, draws=500)
    assert assessed.evidence["present"] >= 30
    assert assessed.evidence["method"] == "exact"


def _result(check, *, present: bool) -> str:
    if check.reading is None:
        return '"present"' if present else '"absent"'
    reading = check.reading
    low_is_bad = reading.worse == "below"
    return f"{reading.low if present == low_is_bad else reading.high:g}"


def test_an_unknown_build_is_mixed_and_said(catalogue):
    text = SALOON.format(built="1979-05-01", odometer=132_000, sale="private")
    text = text.replace('"two-piece-prop-shaft",', "")
    assessed = assess(parse_case(text), catalogue, draws=500)
    assert any("ropeller shaft" in w for w in assessed.warnings)
    ids = {c.id for c in assessed.components}
    assert {"prop-shaft-one-piece", "centre-bearing"} <= ids


@pytest.mark.parametrize(("draws", "seed"), [(0, 0), (-5, 0), (1, 0), (19, 0), (20, -1), (3_000_000, 0)])
def test_draws_and_seed_out_of_range(catalogue, draws, seed):
    with pytest.raises(InputError, match="must be a whole number"):
        assess(saloon(), catalogue, draws=draws, seed=seed)


def test_no_figure_comes_with_an_error_of_nothing(catalogue):
    """By hand: one draw knows no spread, and said so with an error of 0; the fewest there may be have errors."""
    year = assess(saloon(), catalogue, draws=20).total.plan_year
    assert all(error > 0 for error in year.se.values())
