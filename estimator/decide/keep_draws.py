"""Years of repairs drawn: the first as the estimate prices it, then what wears out, renewal after renewal.

Year 1 is the estimate's own policy: what is spent today in one round at once, the rest in the month it falls due.
Later a part is renewed when it needs it; what comes within the same half-year is done together. A renewed part lasts
as its remedy does, longer or shorter with the car's own life and the part's. Parts the plan renews are renewed in
year 1 in every draw.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.assess import Result
from estimator.decide.ahead import Ahead
from estimator.decide.later_needs import Fitted, later_needs
from estimator.decide.plan_draws import generator
from estimator.money.sheets import price_sheets
from estimator.money.total import Jobs, Pricing, join_worn
from estimator.simulate import BLOCK, Prospects

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
HALVES = 2  # rounds of work a year, after the first


@dataclass(frozen=True)
class RepairDraws:
    """n draws, today's money with tax: right (n,) put right at once; wear, tyres (n, N) by year."""

    right: Floats
    wear: Floats
    tyres: Floats


def draw_repairs(
    result: Result,
    ahead: Ahead,
    *,
    years: int,
    planned: dict[int, float],
    comfort: bool,
    seed: int,
) -> RepairDraws:
    """Repairs of every year. planned : positions of parts that the plan renews -> time in years it does so."""
    prepared, n = result.prepared, len(result.draws)
    car, book = prepared.car, prepared.book
    first, *blocks = np.random.SeedSequence([seed, 9]).spawn(1 + -(-n // BLOCK))
    sheets = price_sheets(book, generator(first))
    out = RepairDraws(np.zeros(n), np.zeros((n, years)), np.zeros((n, years)))
    skip = car.comfort & (not comfort)
    tyres = np.array([p.system == "wheels-and-tyres" for p in car.parts])
    prospects = Prospects.of(prepared)
    share = np.array([ways[0].life for ways in book.ways])
    for number, block in enumerate(blocks):
        rows = slice(number * BLOCK, min((number + 1) * BLOCK, n))
        size = rows.stop - rows.start
        need_seed, price_seed, life_seed = block.spawn(3)
        needs = prospects.block(result.draws, rows, generator(need_seed), ~skip)
        jobs = _with_planned(join_worn(book, needs, size), planned, size)
        pricing = Pricing(book, sheets, jobs, size, generator(price_seed))
        plain = pricing.outlay(~tyres[jobs.part])
        out.right[rows] = plain.now
        out.wear[rows, 0] = plain.year - plain.now
        out.tyres[rows, 0] = pricing.everything.year - plain.year
        if years == 1:
            continue
        rng = generator(life_seed)
        fitted = Fitted(jobs.draw, jobs.part, jobs.month / 12)
        events = later_needs(result, ahead, rows, fitted, share=share, years=years, rng=rng)
        keep = ~skip[events.part]
        events = Fitted(events.draw[keep], events.part[keep], events.time[keep])
        for year in range(1, years):
            here = (events.time >= year) & (events.time < year + 1)
            if not here.any():
                continue
            half = 1 + ((events.time[here] - year) * HALVES).astype(np.intp)
            some = Jobs(events.draw[here], events.part[here], half, np.zeros(int(here.sum()), bool), now=0)
            later = Pricing(book, sheets, some, size, generator(price_seed))
            plain = later.outlay(~tyres[some.part])
            out.wear[rows, year] = plain.year
            out.tyres[rows, year] = later.everything.year - plain.year
    return out


def _with_planned(jobs: Jobs, planned: dict[int, float], n: int) -> Jobs:
    """The year's work with the plan's parts renewed in every draw, in the plan's month, instead of by need."""
    if not planned:
        return jobs
    rest = jobs.where(~np.isin(jobs.part, list(planned)))
    draw = np.tile(np.arange(n, dtype=np.intp), len(planned))
    part = np.repeat(np.array(list(planned), np.intp), n)
    month = np.repeat(np.array([min(12, max(0, round(12 * t))) for t in planned.values()], np.intp), n)
    now = month == 0
    early, late = slice(0, rest.now), slice(rest.now, None)

    def joined(a: NDArray, b: NDArray) -> NDArray:
        return np.concatenate([a[early], b[now], a[late], b[~now]])

    false = np.zeros(draw.size, bool)
    return Jobs(
        joined(rest.draw, draw), joined(rest.part, part), joined(rest.month, month), joined(rest.spent, false),
        now=rest.now + int(now.sum()),
    )  # fmt: skip
