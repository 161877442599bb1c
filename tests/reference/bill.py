"""One car's bill, event by event: a slow, plain, independent version of the pricing of a year's rounds.

Written from the description of the policy with loops and sets: what is spent is done at once; a worn part joins
when every strip-down step it needs is open anyway and at least one of them is real strip-down; each step is paid
once a round; everything is drawn directly from beta distributions. What falls due later is done in its month, all of
one month together; rate, market, carriage and scarcity are the draw's own the whole year.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from estimator.money.book import PriceBook, Way


def pert(rng: np.random.Generator, figures) -> float:
    """One draw of a PERT distribution."""
    low, likely, high = figures
    if high <= low:
        return float(low)
    a = 1 + 4 * (likely - low) / (high - low)
    b = 1 + 4 * (high - likely) / (high - low)
    return float(low + (high - low) * rng.beta(a, b))


def round_parts(spent: set[int], worn: set[int], needs: list[set[int]], real: set[int]) -> set[int]:
    """Parts done in the first round."""
    opened = set().union(*(needs[c] for c in spent)) if spent else set()
    joined = {c for c in worn if needs[c] and needs[c] <= opened and needs[c] & real}
    return spent | joined


def choose(rng: np.random.Generator, ways: tuple[Way, ...], level: float) -> Way:
    """The cheapest expected way that can be had; `level` shifts all odds of availability together."""
    for way in ways[:-1]:
        a = way.availability
        there = a if a in (0.0, 1.0) else 1 / (1 + (1 - a) / a * math.exp(level))
        if rng.random() < there:
            return way
    return ways[-1]


@dataclass(frozen=True)
class Day:
    """What all bills of one draw share: rate, market factor, carriage an order, and how scarce parts are."""

    rate: float
    market: float
    carriage: float
    level: float


def day(book: PriceBook, ranges: dict[str, list], levels: tuple[float, ...], rng: np.random.Generator) -> Day:
    """One draw of them."""
    market = math.exp(rng.normal(-(book.market_sd**2) / 2, book.market_sd))
    rate = pert(rng, ranges["rate"])
    level = levels[rng.choice(len(levels), p=book.scarcity_weights)]
    return Day(rate, market, pert(rng, ranges["carriage"]), level)


def one_round(
    book: PriceBook,
    ranges: dict[str, list],
    done: set[int],
    today: Day,
    rng: np.random.Generator,
    *,
    visit: bool,
) -> float:
    """Bill of the parts done together; visit : a workshop's diagnosis and road test are paid too.

    ranges : "consumables" per part, "hours", "disturbed", "snag_factor" per step, "rate", "carriage".
    """
    if not done:
        return 0.0
    hours = 0.0
    suppliers = set()
    own: dict[int, float] = {}
    for c in done:
        way = choose(rng, book.ways[c], today.level)
        own[c] = pert(rng, way.parts) + pert(rng, way.specialist) + pert(rng, ranges["consumables"][c])
        if rng.random() < book.surcharge_chance:
            own[c] += way.surcharge
        hours += pert(rng, way.hours)
        if way.parts[2] > 0:
            suppliers.add(way.supplier)
    disturbed: dict[int, float] = {}
    for s in set().union(*(set(int(x) for x in book.access.of(c)) for c in done)):
        factor = pert(rng, ranges["snag_factor"][s]) if rng.random() < book.access.snag_chance[s] else 1.0
        hours += pert(rng, ranges["hours"][s]) * factor
        disturbed[s] = pert(rng, ranges["disturbed"][s])
    access = book.access
    bought = sum(disturbed.values())
    for c in done:  # what a part's own price holds of what is renewed to reach it is paid once
        pairs = [k for k in range(len(access.held_part)) if access.held_part[k] == c]
        held = sum(access.held_share[k] * disturbed[int(access.held_step[k])] for k in pairs)
        bought += max(own[c] - held, 0.0)
    if hours > 0:
        hours = max(hours + (book.access.visit_hours if visit else 0.0), book.minimum_labour_h)
    bill = (bought + hours * today.rate) * today.market + len(suppliers) * today.carriage
    return bill * (1 + book.tax)


def first_round(
    book: PriceBook,
    ranges: dict[str, list],
    *,
    spent: set[int],
    worn: set[int],
    levels: tuple[float, ...],
    rng: np.random.Generator,
) -> float:
    """One draw of the outlay now (ranges: see one_round)."""
    needs = [set(int(s) for s in book.access.of(c)) for c in range(len(book.ways))]
    real = {int(s) for s in np.flatnonzero(book.access.opens)}
    done = round_parts(spent, worn, needs, real)
    return one_round(book, ranges, done, day(book, ranges, levels, rng), rng, visit=True)


def year(
    book: PriceBook,
    ranges: dict[str, list],
    *,
    spent: set[int],
    due: dict[int, tuple[int, bool]],
    levels: tuple[float, ...],
    rng: np.random.Generator,
) -> list[float]:
    """One draw of the outlay now and in each of the twelve months.

    due : part -> (month in which it falls due, whether it can be seen to be worn today).
    """
    needs = [set(int(s) for s in book.access.of(c)) for c in range(len(book.ways))]
    real = {int(s) for s in np.flatnonzero(book.access.opens)}
    now = round_parts(spent, {c for c, (_, seen) in due.items() if seen}, needs, real)
    today = day(book, ranges, levels, rng)
    bills = [one_round(book, ranges, now, today, rng, visit=True)]
    for month in range(1, 13):
        falling = {c for c, (m, _) in due.items() if m == month and c not in now}
        bills.append(one_round(book, ranges, falling, today, rng, visit=False))
    return bills
