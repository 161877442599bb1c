"""Today read off a finished sweep: conditions, time to need, age of the part fitted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.wear.records import MONTHS
from estimator.wear.sweep import Sweep

Floats = NDArray[np.float64]

_TINY = 1e-300
_ROUNDING = 1e-12


@dataclass(frozen=True)
class Outlook:
    """Per pass point X = (c, H, Q, Z, W): see PassResult for the meaning of the fields.

    age_mass (X, A + 1) holds P(age bin of the part fitted), the original part last.
    """

    condition: Floats
    due: Floats
    log_likelihood: Floats
    mean_age_years: Floats
    age_mass: Floats


def outlook(sweep: Sweep) -> Outlook:
    """Condition, due, likelihood and ages at today of a sweep carried `to_today`."""
    chunk, today = sweep.chunk, sweep.chunk.today
    n = int(sweep.columns.before_step[today])
    weight = sweep.weight[..., :n] * sweep.held_until(today)[..., None]
    now = sweep.survival.exponents(chunk.clocks[..., today], n)
    warned = now * sweep.survival.warned[:, None, None, :, None]
    terms = _terms(sweep, now, n)
    still_sound = sweep.seen.total(n) if sweep.seen is not None else np.ones(n)

    sound = _total(weight, sweep.survival.alive(warned) * still_sound)
    worn = _worn(_total(weight, _alive(sweep, terms, now)), sound)
    mass = sound + worn + sweep.spent
    possible = mass > 0
    share = np.stack([sweep.spent, worn, sound], axis=-1) / np.where(possible, mass, 1.0)[..., None]
    with np.errstate(divide="ignore"):
        log_likelihood = sweep.log_scale + np.log(mass)
    age_mass, mean_age = _ages(sweep, weight, terms, now, n)
    return Outlook(
        condition=np.where(possible[..., None], share, 1 / 3),
        due=_due(sweep, weight, terms, warned, still_sound, worn=worn, sound=sound),
        log_likelihood=log_likelihood,
        mean_age_years=mean_age,
        age_mass=age_mass,
    )


def _terms(sweep: Sweep, now: Floats, n: int) -> list[tuple[Floats | None, Floats]]:
    """(level or None, coefficient per column) of every term of the survival today."""
    if sweep.seen is None:
        return [(None, np.ones(n))]
    sweep.seen.fold(now)
    return [(None, sweep.seen.plain[:n]), *((level, c) for level, c in sweep.seen.terms)]


def _alive(sweep: Sweep, terms: list[tuple[Floats | None, Floats]], at: Floats) -> Floats:
    """(c, H, Q, Z, n) survival to the exponents `at`, seen conditions included."""
    if len(terms) == 1 and sweep.seen is None:
        return sweep.survival.alive(at)
    total = np.zeros((*at.shape[:3], sweep.points[3], at.shape[-1]))
    for level, c in terms:
        m = at.shape[-1] if level is None else level.shape[-1]
        here = at if level is None else np.maximum(at[..., :m], level)
        total[..., :m] += c * sweep.survival.alive(here)
    return total


def _worn(alive: Floats, sound: Floats) -> Floats:
    """Mass not spent and not sound; a difference lost in rounding counts as none."""
    worn = alive - sound
    return np.where(worn > _ROUNDING * alive, worn, 0.0)


def _total(weight: Floats, survival: Floats) -> Floats:
    return np.maximum(np.vecdot(weight, survival[..., None, :]), 0.0)


def _due(
    sweep: Sweep,
    weight: Floats,
    terms: list[tuple[Floats | None, Floats]],
    warned: Floats,
    still_sound: Floats,
    *,
    worn: Floats,
    sound: Floats,
) -> Floats:
    """(X, 2, M) P(need within months 1..m | worn), (.. | sound); nothing renewed in between."""
    chunk, n = sweep.chunk, weight.shape[-1]
    out = np.zeros((*sweep.points, 2, MONTHS))
    ends = chunk.nodes_years[chunk.today] + np.arange(1, MONTHS + 1) / 12
    for month, end in enumerate(ends):
        later = sweep.survival.exponents(_clock_at(chunk.nodes_years, chunk.clocks, end), n)
        alive_later = _total(weight, _alive(sweep, terms, later))
        sound_later = _total(weight, sweep.survival.alive(np.maximum(later, warned)) * still_sound)
        worn_later = alive_later - sound_later
        for row, (before, after) in enumerate(((worn, worn_later), (sound, sound_later))):
            out[..., row, month] = np.where(before > 0, 1 - after / np.maximum(before, _TINY), 0.0)
    return np.maximum.accumulate(np.clip(out, 0.0, 1.0), axis=-1)


def _clock_at(nodes_years: Floats, clocks: Floats, years: float) -> Floats:
    """(c, H, 2) clocks between nodes, linear."""
    right = int(np.clip(np.searchsorted(nodes_years, years), 1, nodes_years.size - 1))
    share = (years - nodes_years[right - 1]) / (nodes_years[right] - nodes_years[right - 1])
    return clocks[..., right - 1] + min(share, 1.0) * (clocks[..., right] - clocks[..., right - 1])


def _ages(
    sweep: Sweep, weight: Floats, terms: list[tuple[Floats | None, Floats]], now: Floats, n: int
) -> tuple[Floats, Floats]:
    """(X, bins) age distribution and (X) mean age of the part fitted."""
    assert sweep.ages is not None
    age_today = sweep.chunk.nodes_years[sweep.chunk.today]
    age = age_today - sweep.columns.birth_years[:n]
    survival = sweep.survivors(sweep.chunk.today, n)
    alive = _total(weight, survival)
    alive_age = _total(weight * age, survival)
    mass = np.maximum(alive + sweep.spent, _TINY)
    age_mass = sweep.ages.in_bins() / mass[..., None]
    return age_mass, (alive_age + sweep.ages.spent @ sweep.ages.mean_age) / mass
