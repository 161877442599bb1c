"""Going through every state of a small car: what one check or a set of them is worth, without any draws.

Slow and plain on purpose; shares no code with estimator.decide.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import product

import numpy as np
from scipy.stats import beta


def states(prior: np.ndarray, weight: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Probability (S,), grid point (S,) and conditions (S, C) of every state; prior (G, C, K) independent given the
    grid point.
    """
    conditions = np.array(list(product(range(prior.shape[2]), repeat=prior.shape[1])))
    points = np.repeat(np.arange(weight.size), len(conditions))
    every = np.tile(conditions, (weight.size, 1))
    chance = weight[points].astype(float)
    for c in range(prior.shape[1]):
        chance = chance * prior[points, c, every[:, c]]
    return chance, points, every


def expected_loss(w: float, *, asking: float, split: float, rho: float | None, points: int = 4000) -> float:
    """E over the seller's lowest price of exp(-gain / rho), or of minus the gain, for a car worth w."""
    low, high, mode = 0.75 * asking, asking, 0.92 * asking
    shape_a = 1 + 4 * (mode - low) / (high - low)
    shape_b = 1 + 4 * (high - mode) / (high - low)
    u = (np.arange(points) + 0.5) / points
    lowest = low + (high - low) * beta.ppf(u, shape_a, shape_b)
    price = lowest + split * (min(asking, w) - lowest)
    gain = np.where(w >= lowest, w - price, 0.0)
    return float(np.mean(-gain if rho is None else np.exp(-gain / rho)))


def set_worth(
    chance_of_state: np.ndarray,
    worth: np.ndarray,
    shows: Sequence[np.ndarray],
    *,
    asking: float,
    split: float,
    rho: float | None,
) -> float:
    """Money that making some checks together is worth before deciding.

    worth (S,) of the car in every state; shows : per check (S,) its chance to come out present there, or (S, R) the
    chance of each of its results.
    """
    tables = [np.stack([s, 1 - s], axis=1) if s.ndim == 1 else s for s in shows]

    def most(mean: float) -> float:
        return mean if rho is None else -rho * math.log(mean)

    def loss(mean: float) -> float:
        return expected_loss(most(mean), asking=asking, split=split, rho=rho)

    payoff = worth if rho is None else np.exp(-worth / rho)
    weight = chance_of_state / chance_of_state.sum()
    now, after = loss(float(weight @ payoff)), 0.0
    for results in product(*(range(table.shape[1]) for table in tables)):
        mass = weight
        for table, result in zip(tables, results, strict=True):
            mass = mass * table[:, result]
        total = float(mass.sum())
        if total > 0:
            after += total * loss(float(mass @ payoff) / total)
    return now - after if rho is None else rho * math.log(now / after)
