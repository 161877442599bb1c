"""Work on no list: every system has some, by care; and a sign that turns out harmless costs its diagnosis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from estimator.evidence.findings import OF_THE_CAR
from estimator.money.ranges import pert_mean
from estimator.pipeline import Prepared
from estimator.simulate import BLOCK, Draws
from estimator.streams import side_stream

Floats = NDArray[np.float64]
CHANCE = 0.5  # that a system has an item on no list in the plan year, at usual care (elicited)
SPREAD = 0.8  # sd of the logarithm of its size (elicited)


def unlisted_draws(
    prepared: Prepared, drawn: Draws, means: Floats, *, seed: np.random.SeedSequence
) -> Floats:
    """(n,) outlay on no list over the plan year: a line of its own, in no other.

    means (C,) : mean outlay per part; each system's item is sized as a share of that system's mean.
    """
    car, grid = prepared.car, prepared.grid
    prices, care = car.catalogue.settings.prices, car.catalogue.settings.evidence.care
    rng = side_stream(seed, 1)
    n = len(drawn)
    by_care = np.array(care.unlisted)
    pace = np.sqrt(by_care / (np.array(care.prior) @ by_care))[
        grid.q[drawn.point]
    ]  # on the rate and on the size
    systems = sorted({p.system for p in car.parts})
    total = np.zeros(n)
    for system in systems:
        listed = sum(means[i] for i, p in enumerate(car.parts) if p.system == system and p.need != "comfort")
        happens = np.flatnonzero(rng.random(n) < CHANCE * pace)
        spread = np.exp(SPREAD * rng.standard_normal(happens.size) - SPREAD**2 / 2)
        total[happens] += prices.unlisted_share * listed / CHANCE * pace.take(happens) * spread
    return total + _diagnosis(prepared, drawn, rng)


def _diagnosis(prepared: Prepared, drawn: Draws, rng: np.random.Generator) -> Floats:
    """Hours paid to trace signs of the car that nothing on the list explains; an answer or a paper is not traced."""
    evidence, book = prepared.evidence, prepared.book
    cost = (
        float(pert_mean(np.array(prepared.car.catalogue.settings.prices.diagnosis_h)))
        * book.rate_likely
        * (1 + book.tax)
    )
    kinds = [prepared.car.catalogue.checks[check].kind for check in evidence.checks]
    traced = np.flatnonzero((evidence.belief > 0) & np.isin(kinds, OF_THE_CAR))
    out = np.zeros(len(drawn))
    for level in sorted(prepared.grid.networks):
        _, network = prepared.grid.networks[level]
        here = np.flatnonzero(prepared.grid.p[drawn.point] == level)
        if not traced.size:
            continue
        for start in range(0, here.size, BLOCK):  # so that what is held at once does not grow with the draws
            rows = here[start : start + BLOCK]
            chance = network.leak_explains(evidence.belief, drawn.condition[rows])[:, traced]
            out[rows] = cost * (rng.random(chance.shape) < chance * evidence.harmless[traced]).sum(axis=1)
    return out
