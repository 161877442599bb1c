"""Outlay of draws: the union of strip-down, the policy for worn parts, sub-totals that add up."""

import numpy as np
import pytest

from estimator.car import resolve
from estimator.catalogue.load import load_catalogue
from estimator.money.book import price_book
from estimator.money.sheets import price_sheets
from estimator.money.total import Jobs, Pricing, join_worn
from estimator.simulate import Needs
from tests.cars import price_ranges, saloon
from tests.reference.bill import first_round


@pytest.fixture(scope="module")
def car():
    return resolve(saloon(), load_catalogue())


@pytest.fixture(scope="module")
def book(car):
    return price_book(car)


def _needs(spent: list[int], worn: list[int], n: int) -> Needs:
    """The same needs in each of n draws."""
    draw = np.repeat(np.arange(n), len(spent))
    return Needs(
        draw=draw,
        part=np.tile(np.array(spent, np.intp), n),
        month=np.zeros(draw.size, np.intp),
        spent=np.ones(draw.size, bool),
        worn=np.zeros(draw.size, bool),
        worn_draw=np.repeat(np.arange(n), len(worn)),
        worn_part=np.tile(np.array(worn, np.intp), n),
    )


@pytest.mark.parametrize(
    ("spent", "worn"),
    [
        (["water-pump"], []),
        (["crankshaft-rear-oil-seal", "clutch"], ["gearbox-mounting", "radiator"]),
        (["flexible-coupling-front", "centre-bearing"], ["flexible-coupling-rear", "universal-joint-centre"]),
        (["outer-sills", "inner-sills-membranes", "front-floor-pans"], ["seat-belts-reels"]),
    ],
)
def test_first_round_agrees_with_the_slow_bill(car, book, spent, worn):
    """Second method: tests/reference/bill.py, loops and sets, within Monte Carlo error (4 standard errors)."""
    i, j = ([car.index[c] for c in ids] for ids in (spent, worn))
    n = 6_000
    rng = np.random.default_rng(1)
    jobs = join_worn(book, _needs(i, j, n), n)
    priced = Pricing(book, price_sheets(book, rng), jobs, n, rng).everything.now
    levels = car.catalogue.settings.prices.scarcity_spread.levels
    ranges = price_ranges(car)
    slow_rng = np.random.default_rng(2)
    slow = np.array(
        [
            first_round(book, ranges, spent=set(i), worn=set(j), levels=levels, rng=slow_rng)
            for _ in range(3_000)
        ]
    )
    error = np.hypot(priced.std() / np.sqrt(n), slow.std() / np.sqrt(slow.size))
    sheets = priced.mean() * 0.004  # what 1,024 scenarios a sheet can be off by
    assert priced.mean() == pytest.approx(slow.mean(), abs=4 * error + sheets)
    assert priced.std() == pytest.approx(slow.std(), rel=0.1)


def test_shared_strip_down_is_paid_once(car, book):
    """By hand: clutch and rear oil seal together cost less than apart, by at least the gearbox's removal."""
    n, rng = 4_000, np.random.default_rng(3)
    sheets = price_sheets(book, rng)

    def mean(ids: list[str]) -> float:
        jobs = join_worn(book, _needs([car.index[c] for c in ids], [], n), n)
        return float(Pricing(book, sheets, jobs, n, rng).everything.now.mean())

    together = mean(["clutch", "crankshaft-rear-oil-seal"])
    apart = mean(["clutch"]) + mean(["crankshaft-rear-oil-seal"])
    gearbox_h = book.access.mean_hours[list(book.access.steps).index("gearbox-out-rear-drive")]
    assert apart - together > gearbox_h * book.rate_likely


def test_parts_and_months_add_up_to_the_total(car, book):
    rng = np.random.default_rng(4)
    n = 500
    events = rng.random((n, len(car.parts))) < 0.2
    draw, part = np.nonzero(events)
    month = np.where(rng.random(draw.size) < 0.6, 0, rng.integers(1, 13, draw.size))
    order = np.argsort(month > 0, kind="stable")
    spent = (month == 0)[order]
    jobs = Jobs(draw[order], part[order], month[order], spent, now=int(spent.sum()))
    pricing = Pricing(book, price_sheets(book, rng), jobs, n, rng)
    np.testing.assert_allclose(pricing.by_part().sum(axis=1), pricing.everything.year, rtol=2e-5)
    np.testing.assert_allclose(pricing.by_month().sum(), pricing.everything.year.sum(), rtol=1e-9)
    some = rng.random(draw.size) < 0.4
    inside = pricing.outlay(some)
    assert (inside.now >= 0).all()
    assert (inside.year >= inside.now - 1e-9).all()


def test_a_quote_for_the_whole_job_leaves_nothing_to_chance():
    more = """
[[quote]]
component = "water-pump"
remedy = "new"
price = 150
covers = "job"
"""
    car = resolve(saloon(more), load_catalogue())
    book = price_book(car)
    i = car.index["water-pump"]
    assert book.ways[i][0].fixed
    assert book.access.of(i).size == 0
    rng, n = np.random.default_rng(5), 50
    pricing = Pricing(book, price_sheets(book, rng), join_worn(book, _needs([i], [], n), n), n, rng)
    np.testing.assert_allclose(pricing.bill, 150.0, rtol=1e-6)


def _round(car, spent: list[str], due: list[tuple[str, int, bool]]) -> Needs:
    """Needs of a single draw: parts spent, and (part, month, worn today) of those that fall due."""
    parts = [car.index[c] for c in spent] + [car.index[c] for c, _, _ in due]
    months = [0] * len(spent) + [m for _, m, _ in due]
    nobody = np.zeros(0, np.intp)
    return Needs(
        draw=np.zeros(len(parts), np.intp),
        part=np.array(parts, np.intp),
        month=np.array(months, np.intp),
        spent=np.arange(len(parts)) < len(spent),
        worn=np.array([False] * len(spent) + [w for _, _, w in due]),
        worn_draw=nobody,
        worn_part=nobody,
    )


@pytest.mark.parametrize(("worn", "month"), [(True, 0), (False, 7)])
def test_only_what_can_be_seen_to_be_worn_is_brought_forward(car, book, worn, month):
    """By the policy: a sound part that will fall due in its month is not known to, whatever is open now."""
    needs = _round(car, ["crankshaft-rear-oil-seal"], [("clutch", 7, worn)])
    jobs = join_worn(book, needs, 1)
    at = int(np.flatnonzero(jobs.part == car.index["clutch"])[0])
    assert jobs.month[at] == month
