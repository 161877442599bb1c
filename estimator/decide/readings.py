"""What a reading can come out as: ranges of the gauge, and how likely each is whether the sign is there or not.

The evidence engine holds a reading x to speak for its sign with belief q(x), the chance that the true figure lies
beyond the limit given the error of the gauge. That is a likelihood ratio of q to 1 - q. Readings that bear this out
are those of density 2 q(x) m(x) where the sign is there and 2 (1 - q(x)) m(x) where it is not, for any m that is
even about the limit (so that both integrate to one). m is taken flat, as far from the limit either way as the gauge
allows on its nearer side. What is found beyond that is as good as certain, and counts with the outermost range.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from estimator.catalogue.records import Check, Reading

Floats = NDArray[np.float64]
NEAR = 2.0  # errors from the limit within which a reading leaves doubt
LEAST_WIDTH = 3.0  # errors: readings scatter at least so far about the limit


@dataclass(frozen=True)
class Ranges:
    """Ranges of one reading, the worst first.

    words (R,) : "below 1.2 mm". channel (R, 2) : chance of each where the sign is there, where it is not.
    bounds (R,) : (from, to) in the check's unit, infinite at the ends.
    """

    words: tuple[str, ...]
    channel: Floats
    bounds: tuple[tuple[float, float], ...]


def ranges_of(reading: Reading, *, first_used: datetime.date) -> Ranges:
    """The ranges a reading of a car first used on that day is told apart by."""
    limit, error = reading.limit_for(first_used), reading.error_sd
    cuts = [c for c in (limit - NEAR * error, limit, limit + NEAR * error) if reading.low < c < reading.high]
    edges = [-np.inf, *cuts, np.inf]
    bounds = list(pairwise(edges))
    width = max(min(limit - reading.low, reading.high - limit) / error, LEAST_WIDTH)
    side = 1.0 if reading.worse == "above" else -1.0
    rows = []
    for low, high in bounds:
        a, b = sorted(np.clip(side * (np.array([low, high]) - limit) / error, -width, width))
        there = _area(b) - _area(a)
        rows.append((there / width, (b - a - there) / width))
    if reading.worse == "above":
        bounds, rows = bounds[::-1], rows[::-1]
    words = tuple(in_words(low, high, reading.unit) for low, high in bounds)
    return Ranges(words, np.array(rows), tuple((float(a), float(b)) for a, b in bounds))


def in_words(low: float, high: float, unit: str) -> str:
    """(1.2, 1.6, "mm") -> "1.2 to 1.6 mm"."""
    if np.isinf(low):
        return f"below {_figure(high)} {unit}"
    if np.isinf(high):
        return f"{_figure(low)} {unit} or more"
    return f"{_figure(low)} to {_figure(high)} {unit}"


def channels(checks: Sequence[Check], *, first_used: datetime.date) -> Floats:
    """(F, R, 2) chance of each result of each check where its sign is there, where it is not; rows of zeros fill up.

    A check that is no measurement comes out present where the sign is there, absent where it is not.
    """
    made = [
        np.eye(2) if c.reading is None else ranges_of(c.reading, first_used=first_used).channel
        for c in checks
    ]
    out = np.zeros((len(made), max((len(m) for m in made), default=2), 2))
    for f, one in enumerate(made):
        out[f, : len(one)] = one
    return out


def _area(t: float) -> float:
    """Integral of the normal distribution function up to t, less the part that does not depend on it."""
    return float(t * ndtr(t) + np.exp(-0.5 * t * t) / np.sqrt(2 * np.pi))


def _figure(x: float) -> str:
    return f"{round(x, 6):g}"
