"""One part of one car, event by event: a slow, plain, independent version of the forward pass.

Written from the description of the process, with the standard library only: each part fitted draws a
latent life on each clock; the first clock to reach its life makes it spent; a spent part stays fitted
for an exponential time; a part not yet spent may be renewed as a precaution at a constant rate. What
was on record or was seen enters as a weight per simulated car, its probability given that car's
events, so that no car has to be thrown away.
"""

from __future__ import annotations

import math
import random
from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import dataclass

SPENT, WORN, SOUND = 0, 1, 2


@dataclass(frozen=True)
class Process:
    """How the part lives. Clocks are polylines through (times, km) and (times, years).

    A clock without a life has scale inf. All times are years since the car was built.
    """

    times: tuple[float, ...]
    km: tuple[float, ...]
    years: tuple[float, ...]
    shape_km: float
    scale_km: float
    shape_years: float
    scale_years: float
    warning_share: float
    deferral_years: float
    precaution_rate: float = 0.0
    replacement_life: float = 1.0
    life_factor: float = 1.0


@dataclass(frozen=True)
class Part:
    """A part fitted at `fitted`, spent from `spent` (not reached if renewed before) to `removed`."""

    fitted: float
    spent: float
    warned: float
    removed: float

    def condition(self, when: float) -> int:
        if when >= self.spent:
            return SPENT
        return WORN if when >= self.warned else SOUND


def value_at(times: tuple[float, ...], clock: tuple[float, ...], when: float) -> float:
    """Reading of a clock at a time."""
    i = min(max(bisect_right(times, when), 1), len(times) - 1)
    return clock[i - 1] + (clock[i] - clock[i - 1]) * (when - times[i - 1]) / (times[i] - times[i - 1])


def time_when(times: tuple[float, ...], clock: tuple[float, ...], reading: float) -> float:
    """First time at which a clock reaches a reading; inf if it never does."""
    if reading > clock[-1]:
        return math.inf
    i = bisect_left(clock, reading)
    if i == 0:
        return times[0]
    return times[i - 1] + (times[i] - times[i - 1]) * (reading - clock[i - 1]) / (clock[i] - clock[i - 1])


def fit_part(
    process: Process, when: float, rng: random.Random, *, share: float, extra_age_years: float = 0.0
) -> Part:
    """Fit a part at a time and draw all that will happen to it."""
    factor = process.life_factor * share
    km_now = value_at(process.times, process.km, when)
    years_now = value_at(process.times, process.years, when) - extra_age_years
    while True:
        life_km = life_years = math.inf
        if math.isfinite(process.scale_km):
            life_km = rng.weibullvariate(process.scale_km * factor, process.shape_km)
        if math.isfinite(process.scale_years):
            life_years = rng.weibullvariate(process.scale_years * factor, process.shape_years)
        if life_years > extra_age_years:  # nobody fits a part he can see is spent
            break
    left = 1 - process.warning_share
    spent = min(
        time_when(process.times, process.km, km_now + life_km),
        time_when(process.times, process.years, years_now + life_years),
    )
    warned = min(
        time_when(process.times, process.km, km_now + left * life_km),
        time_when(process.times, process.years, max(years_now + left * life_years, process.years[0])),
    )
    removed = spent + (rng.expovariate(1 / process.deferral_years) if process.deferral_years > 0 else 0.0)
    if process.precaution_rate > 0:
        precaution = when + rng.expovariate(process.precaution_rate)
        if precaution < spent:
            removed = precaution
    return Part(when, spent, max(warned, when), removed)


def history(
    process: Process, until: float, rng: random.Random, *, start: float = 0.0, first: Part | None = None
) -> list[Part]:
    """All parts fitted up to `until`, in order; the last one is on the car then."""
    parts = [first or fit_part(process, start, rng, share=1.0)]
    while parts[-1].removed <= until:
        parts.append(fit_part(process, parts[-1].removed, rng, share=process.replacement_life))
    return parts


def fitted_at(parts: list[Part], when: float) -> Part:
    """The part on the car at a time."""
    return next(part for part in reversed(parts) if part.fitted <= when)


class Tally:
    """Weighted means and their standard errors, ratio estimates included."""

    def __init__(self) -> None:
        self.weights: list[float] = []
        self.values: list[tuple[float, ...]] = []

    def add(self, weight: float, *values: float) -> None:
        self.weights.append(weight)
        self.values.append(values)

    def evidence(self) -> tuple[float, float]:
        """Mean weight and its standard error."""
        n = len(self.weights)
        mean = sum(self.weights) / n
        return mean, math.sqrt(sum((w - mean) ** 2 for w in self.weights) / n / n)

    def mean(self, column: int) -> tuple[float, float]:
        """Weighted mean of a column and its standard error (delta method for a ratio)."""
        total = sum(self.weights)
        mean = sum(w * v[column] for w, v in zip(self.weights, self.values, strict=True)) / total
        spread = sum((w * (v[column] - mean)) ** 2 for w, v in zip(self.weights, self.values, strict=True))
        return mean, math.sqrt(spread) / total


def silence(parts: list[Part], chance_at: Callable[[float], float], *, between: tuple[float, float]) -> float:
    """P(none of the renewals in the interval left a paper); chance_at(time) is the recording chance."""
    weight = 1.0
    for part in parts[1:]:
        if between[0] < part.fitted <= between[1]:
            weight *= 1 - chance_at(part.fitted)
    return weight
