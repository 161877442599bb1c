"""A portfolio of eight repairs, each needed or not, priced by the engine that prices cars.

Source: second method, published with the data: lattice convolution bracketed to half a unit, agreeing with a
general-purpose aggregate-loss library (data/aggregate_cost_portfolio.json). Tolerances are Monte Carlo errors:
se(mean) = sd / sqrt(n), se(quantile) = sqrt(q (1 - q) / n) / density.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from estimator.distribution import summarise
from estimator.money.access import AccessPlan
from estimator.money.book import PriceBook, Way
from estimator.money.ranges import CELLS, lognormal_table, quantile_table
from estimator.money.sheets import price_sheets
from estimator.money.total import Pricing, join_worn
from estimator.simulate import Needs

DATA = json.loads((Path(__file__).parent / "data" / "aggregate_cost_portfolio.json").read_text())
N = 40_000


def _table(item):
    if item["family"] == "lognormal":
        return lognormal_table(item["mean"], item["cv"])
    if item["family"] == "pert":
        return quantile_table([item["a"], item["m"], item["b"]])
    a, m, b = item["a"], item["m"], item["b"]
    return stats.triang((m - a) / (b - a), loc=a, scale=b - a).ppf(np.linspace(0, 1, CELLS + 1))


def _book(items) -> PriceBook:
    """A price book without strip-down, tax, market, carriage or labour: only the bills."""
    c, nothing = len(items), np.zeros((1, CELLS + 1))
    access = AccessPlan(
        steps=(), start=np.zeros(c + 1, np.intp), step=np.zeros(0, np.intp), needs=np.zeros((c, 0), np.float32),
        words=np.zeros((0, c), np.uint64), opens=np.zeros(0, bool), hours=np.zeros((0, CELLS + 1)),
        snag_chance=np.zeros(0), snag_factor=np.zeros((0, CELLS + 1)), disturbed=np.zeros((0, CELLS + 1)),
        own_work=np.zeros(0, bool), visit_hours=0.0, mean_hours=np.zeros(0), mean_disturbed=np.zeros(0),
        held_part=np.zeros(0, np.intp), held_step=np.zeros(0, np.intp), held_share=np.zeros(0),
    )  # fmt: skip
    zero = (0.0, 0.0, 0.0)
    way = Way("new", "new", zero, zero, zero, 0.0, 1.0, zero, 1.0, 0, False, False, True, 0.0)
    return PriceBook(
        ways=((way,),) * c, chance=np.ones((1, c, 1)), scarcity_weights=np.ones(1),
        parts=np.array([_table(i) for i in items]), specialist=np.zeros((c, CELLS + 1)),
        hours=np.zeros((c, CELLS + 1)), surcharge=np.zeros(c), supplier=np.zeros(c, np.intp),
        fixed=np.zeros(c, bool), free_access=np.zeros(c, bool), consumables=np.zeros((c, CELLS + 1)),
        own_work=np.zeros(c, bool), tools=np.zeros(0), tool_needs=np.zeros((c, 0), bool), access=access,
        rate=nothing, rate_likely=0.0, tax=0.0,
        market_sd=0.0, carriage=nothing, minimum_labour_h=0.0, handy_factor=2.0, own_hours=0.0,
        surcharge_chance=0.0, typical=np.zeros(c),
    )  # fmt: skip


@pytest.fixture(scope="module")
def outlay():
    rng = np.random.default_rng(11)
    items = DATA["items"]
    needed = rng.random((N, len(items))) < np.array([i["p"] for i in items])
    draw, part = np.nonzero(needed)
    nobody = np.zeros(0, np.intp)
    needs = Needs(draw, part, nobody, nobody, nobody, nobody > 0, nobody, nobody)
    book = _book(items)
    return Pricing(book, price_sheets(book, rng), join_worn(book, needs, N), N, rng).everything.now


def test_mean_and_spread(outlay):
    assert outlay.mean() == pytest.approx(DATA["mean"], abs=4 * DATA["sd"] / np.sqrt(N))
    assert outlay.std() == pytest.approx(DATA["sd"], rel=0.02)
    assert (outlay == 0).mean() == pytest.approx(DATA["p_zero"], abs=4 * np.sqrt(0.0354 / N))


@pytest.mark.parametrize(("key", "q"), [("p50", "0.5"), ("p80", "0.8"), ("p90", "0.9"), ("p95", "0.95")])
def test_quantiles_within_their_reported_error(outlay, key, q):
    found = summarise(outlay)
    assert getattr(found, key) == pytest.approx(DATA["quantiles"][q], abs=4 * found.se[key])


def test_reported_errors_are_the_errors(outlay):
    """Standard errors against the spread of the same figures over 100 separate pieces of the draws."""
    pieces = [summarise(p) for p in np.random.default_rng(3).permutation(outlay).reshape(100, -1)]
    for key in ("mean", "sd", "p50", "p80", "p95", "worst_fifth"):
        spread = np.std([getattr(p, key) for p in pieces], ddof=1)
        stated = np.mean([p.se[key] for p in pieces])
        assert stated == pytest.approx(spread, rel=0.35), key
