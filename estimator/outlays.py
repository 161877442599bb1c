"""Draws of outlay: every draw's needs priced, in blocks, as totals and by part."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from estimator.distribution import Distribution, summarise
from estimator.money.sheets import price_sheets
from estimator.money.total import MONTHS, Outlay, Pricing, join_worn
from estimator.money.unlisted import unlisted_draws
from estimator.pipeline import Prepared
from estimator.simulate import BLOCK, Draws, Prospects
from estimator.streams import generator, side_stream

Floats = NDArray[np.float64]
PART_DRAWS = 4 * BLOCK  # draws of which the outlay is kept part by part


@dataclass(frozen=True)
class Split:
    """Outlay now and over the plan year (now included)."""

    now: Distribution
    plan_year: Distribution

    def as_dict(self) -> dict[str, Any]:
        return {"now": self.now.as_dict(), "plan_year": self.plan_year.as_dict()}


@dataclass(frozen=True)
class Pair:
    """Draws of outlay now (n,) and over the plan year (n,), now in it."""

    now: Floats
    year: Floats

    @classmethod
    def zeros(cls, n: int) -> Pair:
        return cls(np.zeros(n), np.zeros(n))

    def put(self, rows: slice, outlay: Outlay) -> None:
        """Write a block's draws."""
        self.now[rows], self.year[rows] = outlay.now, outlay.year

    def less(self, other: Pair) -> Pair:
        """Draw by draw, this less another."""
        return Pair(self.now - other.now, self.year - other.year)

    def split(self) -> Split:
        """Summary of both."""
        return Split(summarise(self.now), summarise(self.year))


@dataclass(frozen=True)
class Outlays:
    """Draws of outlay for decisions: total, known (found) and unlisted (n,); by_month (13,) means, now first.

    Of the first PART_DRAWS draws only, with the standard errors that go with them: needed (safety, law and to
    drive), comfort, and part (.., C), each part's over the plan year with its share of strip-down.
    """

    total: Pair
    known: Pair
    needed: Pair
    comfort: Floats
    unlisted: Floats
    part: NDArray[np.float32]
    by_month: Floats

    @property
    def hidden(self) -> Pair:
        """The total less what was found, in every draw."""
        return self.total.less(self.known)


def price_draws(
    prepared: Prepared,
    drawn: Draws,
    found: NDArray[np.bool_],
    seeds: list[np.random.SeedSequence],
    *,
    workers: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> Outlays:
    """Price all draws in blocks, each with its own seed, so that workers do not change the result."""
    n, parts = drawn.condition.shape
    outlays = Outlays(
        total=Pair.zeros(n),
        known=Pair.zeros(n),
        needed=Pair.zeros(min(n, PART_DRAWS)),
        comfort=np.zeros(min(n, PART_DRAWS)),
        unlisted=np.zeros(n),
        part=np.zeros((min(n, PART_DRAWS), parts), dtype=np.float32),
        by_month=np.zeros(MONTHS + 1),
    )
    car, book = prepared.car, prepared.book
    comfort = car.comfort
    needed = np.array([p.need in ("safety", "to-drive") for p in car.parts])
    prospects = Prospects.of(prepared)
    sheets = price_sheets(book, side_stream(seeds[0], 0))

    def block(number: int) -> Floats:
        rows = slice(number * BLOCK, min((number + 1) * BLOCK, n))
        size = rows.stop - rows.start
        rng = generator(seeds[number])
        condition = prospects.conditions(drawn, rows, rng)

        def priced(parts: NDArray[np.bool_]) -> Pricing:
            needs = prospects.needs(condition, drawn.point[rows], rng, parts)
            return Pricing(book, sheets, join_worn(book, needs, size), size, rng)

        main = priced(~comfort)
        outlays.total.put(rows, main.everything)
        outlays.known.put(rows, known_outlay(main, found))
        if rows.stop <= len(outlays.part):
            looks = priced(comfort)
            outlays.needed.put(rows, main.outlay(needed[main.jobs.part]))
            outlays.comfort[rows] = looks.everything.year
            outlays.part[rows] = main.by_part() + looks.by_part()
        return main.by_month()

    count = -(-n // BLOCK)
    threads = min(workers or min(os.cpu_count() or 1, 2), count)
    if threads <= 1:
        for number in range(count):
            outlays.by_month[:] += block(number) / n
            if progress is not None:
                progress((number + 1) / count)
    else:
        with ThreadPoolExecutor(threads) as pool:
            for done, by_month in enumerate(pool.map(block, range(count)), start=1):
                outlays.by_month[:] += by_month / n
                if progress is not None:
                    progress(done / count)
    means = outlays.part.mean(axis=0, dtype=float)
    outlays.unlisted[:] = unlisted_draws(prepared, drawn, means, seed=seeds[0])
    return outlays


def known_outlay(main: Pricing, found: NDArray[np.bool_]) -> Outlay:
    """Outlay of what was found alone: now where it is spent; over the year also what falls due in it, whenever it is
    done; not what is only renewed because it was reached.
    """
    jobs = main.jobs
    mine = found[jobs.part]
    due = mine if jobs.extra is None else mine & ~jobs.extra
    return Outlay(main.now(mine & jobs.spent), main.outlay(due).year)
