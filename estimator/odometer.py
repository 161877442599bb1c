"""What the odometer may really have turned: alternative timelines of distance, with their weights.

True distance = shown + one full turn times k. A tampered odometer takes the last believable dated reading
plus the usual distance since. Hypotheses are weighed by how usual the yearly distance they imply is
(around the distance usual at each age) and by published tampering rates.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from estimator.casefile.history import offset_after
from estimator.catalogue.settings import DistancePrior, OdometerSettings

WORTH_HIDING_KM = 10_000.0  # nobody tampers to gain less
SHORT_YEARS = 0.4  # readings closer than this say only when the distance between them is too long


@dataclass(frozen=True)
class Hypothesis:
    """One reading of the odometer: dated true distances (age in years, km), oldest first."""

    label: str
    turns: int
    tampered: bool
    weight: float
    readings: tuple[tuple[float, float], ...]

    @property
    def today_km(self) -> float:
        return self.readings[-1][1]


@dataclass(frozen=True)
class Shown:
    """A dated reading as shown: age of the car in years, km on the dial."""

    age_years: float
    km: float


def usual_km(
    age_years: float, *, prior: DistancePrior, idle: Sequence[tuple[float, float, float]] = ()
) -> float:
    """Distance a car usually has done by this age, km; `idle`: (from, to, relative use) periods."""
    if age_years <= 0:
        return 0.0
    ages = np.linspace(0.0, age_years, max(int(age_years * 12), 2))
    rate = np.interp(ages, prior.age, prior.km)
    for start, end, use in idle:
        rate[(ages >= start) & (ages < end)] *= use
    return float(np.trapezoid(rate, ages))


def hypotheses(
    shown: Sequence[Shown],
    *,
    turn_km: float,
    prior: DistancePrior,
    settings: OdometerSettings,
    imported: bool,
    replaced: Sequence[tuple[float, float | None, float]] = (),
    idle: Sequence[tuple[float, float, float]] = (),
) -> tuple[Hypothesis, ...]:
    """Timelines that could lie behind the readings shown; the last reading is today's.

    Parameters
    ----------
    shown : readings in order of age, the last one today's.
    turn_km : distance at which the odometer starts again from zero, km (100,000 of its own unit for five digits).
    replaced : (age, km last shown by the old odometer or None, km the new one started at).
    idle : (from, to, relative use) periods in which little or nothing was driven.

    Returns
    -------
    At most `settings.most` hypotheses with weights summing to 1, most likely first, none below `settings.floor`.
    """
    true, drops = _unrolled(shown, turn_km=turn_km, replaced=replaced, prior=prior, idle=idle)
    scored: list[tuple[Hypothesis, float]] = []  # with the logarithm of prior times plausibility
    tampering = settings.tampered_import if imported else settings.tampered_home
    for turns in range(3):
        readings = _turned(true, turns=turns, turn_km=turn_km)
        score = _plausibility(readings, prior=prior, settings=settings, idle=idle)
        label = "as shown" if turns == 0 else f"turned over {'once' if turns == 1 else 'twice'}"
        honest = _log(1 - tampering) - drops * math.log(2)
        scored.append((Hypothesis(label, turns, False, 0.0, readings), honest + score))
    tampered, score = _tampered(shown, true, prior=prior, settings=settings, idle=idle)
    scored.append((tampered, _log(tampering) + score + drops * math.log(2)))
    top = max(score for _, score in scored)
    weights = [math.exp(score - top) for _, score in scored]
    total = sum(weights)
    kept = [(h, w / total) for (h, _), w in zip(scored, weights, strict=True) if w / total >= settings.floor]
    kept = sorted(kept, key=lambda pair: -pair[1])[: settings.most]
    mass = sum(w for _, w in kept)
    return tuple(Hypothesis(h.label, h.turns, h.tampered, w / mass, h.readings) for h, w in kept)


def _unrolled(
    shown: Sequence[Shown],
    *,
    turn_km: float,
    replaced: Sequence[tuple[float, float | None, float]],
    prior: DistancePrior,
    idle: Sequence[tuple[float, float, float]],
) -> tuple[tuple[tuple[float, float], ...], int]:
    """Readings with known replacements and the least number of turn-overs added; how often they fell."""
    offset, drops, last_km, last_age, pending = 0.0, 0, 0.0, 0.0, list(replaced)
    out: list[tuple[float, float]] = []
    for reading in shown:
        while pending and pending[0][0] < reading.age_years:  # on that day a reading is the old one's
            age, old, new = pending.pop(0)
            gone = usual_km(age, prior=prior, idle=idle) - usual_km(last_age, prior=prior, idle=idle)
            offset = offset_after(old, new, offset_km=offset, last_km=last_km, gone_km=gone)
        km = reading.km + offset
        if km < last_km - 0.5:
            drops += 1
            missing = math.ceil((last_km - km) / turn_km)
            offset += missing * turn_km
            km += missing * turn_km
        out.append((reading.age_years, km))
        last_km, last_age = km, reading.age_years
    return tuple(out), drops


def _turned(
    true: tuple[tuple[float, float], ...], *, turns: int, turn_km: float
) -> tuple[tuple[float, float], ...]:
    """Add `turns` turn-overs where the record leaves most room: before the reading after the longest gap."""
    if turns == 0:
        return true
    ages = [0.0, *(age for age, _ in true)]
    gaps = [b - a for a, b in pairwise(ages)]
    first = int(np.argmax(gaps))
    return tuple((age, km + (turns * turn_km if i >= first else 0.0)) for i, (age, km) in enumerate(true))


def _plausibility(
    readings: Sequence[tuple[float, float]],
    *,
    prior: DistancePrior,
    settings: OdometerSettings,
    idle: Sequence[tuple[float, float, float]],
) -> float:
    """Log of how usual the distances between readings are, together.

    Each interval's logarithm of distance against the usual is a split normal: little use is common in old cars, much
    use is not, so below what is usual the spread is twice that of a year, and above it that of a year or less (see
    `_much_use_sd`). Intervals near in time are correlated, because who drives a car little one year does so the next.
    """
    ages = [0.0, *(age for age, _ in readings)]
    kms = [0.0, *(distance for _, distance in readings)]
    scores, middles = [], []
    for (t0, t1), (d0, d1) in zip(pairwise(ages), pairwise(kms), strict=True):
        short = t1 - t0 < SHORT_YEARS
        years = SHORT_YEARS if short else t1 - t0
        usual = usual_km(t0 + years, prior=prior, idle=idle) - usual_km(t0, prior=prior, idle=idle)
        ratio = math.log(max(d1 - d0, 100.0 * years) / max(usual, 300.0 * years))
        if short and ratio < 0:
            continue
        spread = _much_use_sd(years, settings=settings) if ratio > 0 else 2 * settings.log_sd
        scores.append(ratio / spread)
        middles.append((t0 + t1) / 2)
    z, when = np.array(scores), np.array(middles)
    apart = np.abs(when[:, None] - when[None, :])
    alike = settings.steadiness * np.exp(-apart / settings.steady_years)
    np.fill_diagonal(alike, 1.0)
    return -0.5 * float(z @ np.linalg.solve(alike, z))


def _much_use_sd(years: float, *, settings: OdometerSettings) -> float:
    """Spread (logarithm) of distance above the usual over an interval: that of one year, or less where years average.

    A car hardly driven may stay so all its life; one driven hard changes hands and wears out. So much use is as rare
    over decades as the mean of that many years, correlated as `steadiness` and `steady_years` say, makes it: the
    variance of a mean is the mean correlation times the variance of one.
    """
    spell = settings.steady_years / years
    steady = 2 * spell * (1 - spell * -math.expm1(-1 / spell))
    alike = (1 - settings.steadiness) * min(1.0, 1.0 / years) + settings.steadiness * steady
    return settings.log_sd * math.sqrt(alike)


def _log(chance: float) -> float:
    return math.log(chance) if chance > 0 else -math.inf


def _tampered(
    shown: Sequence[Shown],
    true: tuple[tuple[float, float], ...],
    *,
    prior: DistancePrior,
    settings: OdometerSettings,
    idle: Sequence[tuple[float, float, float]],
) -> tuple[Hypothesis, float]:
    """Today's reading is not believed: last believable reading plus the usual distance since."""
    today = shown[-1].age_years
    base_age, base_km = true[-2] if len(true) > 1 else (0.0, 0.0)
    since = usual_km(today, prior=prior, idle=idle) - usual_km(base_age, prior=prior, idle=idle)
    now = max(base_km + max(since, 0.0), shown[-1].km)
    readings = (*true[:-1], (today, now))
    hidden = now - shown[-1].km
    score = _plausibility(readings, prior=prior, settings=settings, idle=idle)
    if hidden < WORTH_HIDING_KM:
        score += math.log(0.1)
    return Hypothesis("tampered with", 0, True, 0.0, readings), score
