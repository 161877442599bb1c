"""Price sheets: every part's bill and every step's hours, drawn beforehand in many scenarios.

A draw of outlay picks, for each part it renews and each step it opens, one scenario at random: one look-up
instead of several distributions. Scenarios are a Latin hypercube over the way taken, parts, specialist work, hours
and small things, so that each sheet's marginal distribution is hit evenly and its mean to about one part in SCENARIOS.

References
----------
McKay, Beckman & Conover, Technometrics 21(2), 1979 (Latin hypercube sampling).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.money.book import PriceBook
from estimator.money.ranges import draw as draw_range

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]  # read at random, millions of times: they must stay in the cache
SCENARIOS = 1024  # a power of two: its numbers are cut out of whole random bits


@dataclass(frozen=True)
class PriceSheets:
    """Scenarios of one price book. Money before tax at likely market level.

    bought, quoted, hours (Z * C * SCENARIOS,) : bill that moves with the market, bill that is quoted, trade hours
    of each part, at each level Z of scarcity; order likewise, the bit of the kind of supplier it is ordered from, 0
    where nothing is; way : remedy taken.
    step_hours, step_bought (S * SCENARIOS,) : hours of each step with its snags, and what it makes one renew.
    """

    bought: Singles
    quoted: Singles
    hours: Singles
    order: NDArray[np.uint8]
    way: NDArray[np.int8]
    step_hours: Singles
    step_bought: Singles
    parts: int


def price_sheets(book: PriceBook, rng: np.random.Generator) -> PriceSheets:
    """Draw the scenarios of a price book."""
    levels, parts, most = book.chance.shape
    shape = (levels, parts)
    u_way, u_bought, u_special, u_hours, u_again, u_small = (_hypercube(rng, shape) for _ in range(6))
    way = (u_way[..., None, :] >= book.chance[:, :, : most - 1, None]).sum(axis=2)
    item = (np.arange(parts)[None, :, None] * most + way).ravel()
    bill = draw_range(book.parts, item, u_bought.ravel())
    bill += draw_range(book.specialist, item, u_special.ravel())
    bill += np.where(u_again.ravel() < book.surcharge_chance, book.surcharge[item], 0.0)
    whole = np.broadcast_to(np.arange(parts)[None, :, None], way.shape).ravel()
    small = draw_range(book.consumables, whole, u_small.ravel())
    bill += np.where(book.free_access[item], 0.0, small)
    fixed = book.fixed[item]
    steps = len(book.access.steps)
    u_step, u_snag, u_goods = (_hypercube(rng, (steps,)).ravel() for _ in range(3))
    step = np.repeat(np.arange(steps), SCENARIOS)
    hours = draw_range(book.access.hours, step, u_step)
    chance = book.access.snag_chance[step]
    where = np.flatnonzero(u_snag < chance)
    hours[where] *= draw_range(book.access.snag_factor, step[where], u_snag[where] / chance[where])
    return PriceSheets(
        bought=np.where(fixed, 0.0, bill).astype(np.float32),
        quoted=np.where(fixed, bill, 0.0).astype(np.float32),
        hours=draw_range(book.hours, item, u_hours.ravel()).astype(np.float32),
        order=np.where(
            (book.parts[item, -1] > 0) & ~book.free_access[item], 1 << book.supplier[item], 0
        ).astype(np.uint8),
        way=way.ravel().astype(np.int8),
        step_hours=hours.astype(np.float32),
        step_bought=draw_range(book.access.disturbed, step, u_goods).astype(np.float32),
        parts=parts,
    )


def _hypercube(rng: np.random.Generator, shape: tuple[int, ...]) -> Floats:
    """(*shape, SCENARIOS) uniforms, one in every SCENARIOS-th of each row, in random order."""
    place = rng.permuted(np.broadcast_to(np.arange(SCENARIOS), (*shape, SCENARIOS)), axis=-1)
    return np.asarray((place + rng.random(place.shape)) / SCENARIOS)
