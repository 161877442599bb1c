"""The event-by-event process of `wear_events` for many cars at once, in numpy, without papers.

Each round fits the next part to every car that has not reached today yet. It is what one would write
without the forward pass, and the measure of how fast that has to be.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.reference.wear_events import Process


def spent_today(process: Process, today: float, *, cars: int, rng: np.random.Generator) -> NDArray[np.bool_]:
    """(cars,) whether the part fitted today is spent."""
    times, km, years = (np.array(v) for v in (process.times, process.km, process.years))
    spent = np.zeros(cars, dtype=bool)
    index = np.arange(cars)
    fitted, share = np.zeros(cars), np.full(cars, process.life_factor)
    while index.size:
        failure = np.minimum(
            _reached(times, km, fitted, process.scale_km, process.shape_km, share, rng),
            _reached(times, years, fitted, process.scale_years, process.shape_years, share, rng),
        )
        removed = failure + rng.exponential(process.deferral_years, index.size)
        if process.precaution_rate > 0:
            precaution = fitted + rng.exponential(1 / process.precaution_rate, index.size)
            removed = np.where(precaution < failure, precaution, removed)
        last = removed > today
        spent[index[last]] = failure[last] <= today
        index, fitted = index[~last], removed[~last]
        share = np.full(index.size, process.life_factor * process.replacement_life)
    return spent


def _reached(times, clock, fitted, scale, shape, share, rng):
    """Time at which parts fitted at `fitted` use up a drawn life on one clock; inf if never."""
    if np.isinf(scale):
        return np.full(fitted.shape, np.inf)
    reading = np.interp(fitted, times, clock) + share * scale * rng.weibull(shape, fitted.size)
    return np.where(reading > clock[-1], np.inf, np.interp(reading, clock, times))
