"""One car's bill, event by event: a slow, plain, independent version of the pricing of the first round.

Written from the description of the policy with loops and sets: what is spent is done at once; a worn part joins
when every strip-down step it needs is open anyway and at least one of them is real strip-down; each step is paid
once; everything is drawn directly from beta distributions.
"""

from __future__ import annotations

import math

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


def first_round(
    book: PriceBook,
    ranges: dict[str, list],
    *,
    spent: set[int],
    worn: set[int],
    levels: tuple[float, ...],
    rng: np.random.Generator,
) -> float:
    """One draw of the outlay now.

    ranges : "consumables" per part, "hours", "disturbed", "snag_factor" per step, "rate", "carriage".
    """
    needs = [set(int(s) for s in book.access.of(c)) for c in range(len(book.ways))]
    real = {int(s) for s in np.flatnonzero(book.access.opens)}
    done = round_parts(spent, worn, needs, real)
    if not done:
        return 0.0
    market = math.exp(rng.normal(-(book.market_sd**2) / 2, book.market_sd))
    rate = pert(rng, ranges["rate"])
    level = levels[rng.choice(len(levels), p=book.scarcity_weights)]
    hours = book.access.visit_hours
    bought, suppliers = 0.0, set()
    for c in done:
        way = choose(rng, book.ways[c], level)
        bought += pert(rng, way.parts) + pert(rng, way.specialist) + pert(rng, ranges["consumables"][c])
        if rng.random() < book.surcharge_chance:
            bought += way.surcharge
        hours += pert(rng, way.hours)
        if way.parts[2] > 0:
            suppliers.add(way.supplier)
    for s in set().union(*(needs[c] for c in done)):
        factor = pert(rng, ranges["snag_factor"][s]) if rng.random() < book.access.snag_chance[s] else 1.0
        hours += pert(rng, ranges["hours"][s]) * factor
        bought += pert(rng, ranges["disturbed"][s])
    carriage = len(suppliers) * pert(rng, ranges["carriage"])
    return ((bought + hours * rate) * market + carriage) * (1 + book.tax)
