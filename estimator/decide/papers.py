"""Whether a paper turns up: P(found | years since the part was renewed), from the wear pass.

Found means found and recent enough to tell: a bill older than half the part's usual life says little about today.
A renewal some years ago left a paper with the recording chance of that time (outside the periods whose papers have
been read: those are entries already). A part now spent was on average renewed longer ago than one now sound, so a
bill is good news. The part fitted when the car was built has no bill.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from estimator.car import Car
from estimator.casefile.words import years_between
from estimator.decide.scene import Option
from estimator.pipeline import Prepared
from estimator.simulate import Draws

Floats = NDArray[np.float64]
RECENT = 0.5  # of the usual life
_LIFE_POINTS = np.linspace(-2.5, 2.5, 11)


def paper_chances(prepared: Prepared, drawn: Draws, options: Sequence[Option]) -> Floats:
    """(n, F) chance that each paper is found, given each draw.

    1 - (1 - leak) * prod over its parts of (1 - P(on paper | condition, care, completeness)); the leak is a
    paper that turns up although nothing of it was renewed.
    """
    car, grid = prepared.car, prepared.grid
    parts = sorted({i for o in options for i in _parts(car, o)})
    on_paper = recorded_given_condition(prepared, np.array(parts, dtype=np.intp))
    row = {part: number for number, part in enumerate(parts)}
    w, q = grid.w[drawn.point], grid.q[drawn.point]
    out = np.empty((len(drawn), len(options)))
    for f, option in enumerate(options):
        silent = np.full(len(drawn), 1 - option.check.leak)
        for part in _parts(car, option):
            found = on_paper[row[part], drawn.condition[:, part], w, q]
            silent *= 1 - prepared.shared.has[part] * option.share * found
        out[:, f] = 1 - silent
    return out


def recorded_given_condition(prepared: Prepared, parts: NDArray[np.intp]) -> Floats:
    """(P, 3, W, Q) chance that the renewal of the part now fitted left a paper not yet read, given its condition."""
    age = age_given_condition(prepared, parts)  # (P, A, 3)
    return np.einsum("pak,pawq->pkwq", age, _recording_by_age(prepared, parts))


def age_given_condition(prepared: Prepared, parts: NDArray[np.intp]) -> Floats:
    """(P, A, 3) distribution over ages of the part fitted, given that it is spent, worn or sound.

    Bayes on the pass's ages: P(condition | age) from the life, the spread of lives and the time a spent part stays.
    """
    wear, car = prepared.wear, prepared.car
    told = wear.history.pass_input
    ages = _middle_ages(wear.age_edges)
    h = int(np.argmax([o.weight for o in wear.history.odometer]))
    today = told.nodes_years[told.today]
    km_then = np.array([np.interp(today - ages, told.nodes_years, told.km_clock[h, c]) for c in parts])
    years_then = np.array([np.interp(today - ages, told.nodes_years, told.years_clock[c]) for c in parts])
    km = told.km_clock[h, parts, told.today][:, None] - km_then
    years = told.years_clock[parts, told.today][:, None] - years_then
    factor = np.exp(wear.history.total_sd[parts][:, None] * _LIFE_POINTS)
    weight = np.exp(-0.5 * _LIFE_POINTS**2)
    weight /= weight.sum()
    left = 1 - car.lives.warning_share[parts]
    alive = np.einsum("paz,z->pa", _survival(car, parts, km, years, factor), weight)
    sound = np.einsum("paz,z->pa", _survival(car, parts, km, years, factor * left[:, None]), weight)
    deferral = told.deferral_years[parts, min(1, told.deferral_years.shape[1] - 1)]
    spent = _still_fitted(alive, ages, deferral)
    condition = np.stack([spent, np.maximum(alive - sound, 1e-12), np.maximum(sound, 1e-12)], axis=-1)
    condition /= condition.sum(axis=-1, keepdims=True)
    joint = prepared.wear.fitted_age[parts][:, :, None] * condition
    total = joint.sum(axis=1, keepdims=True)
    return np.asarray(joint / np.maximum(total, 1e-300))


def _survival(car: Car, parts: NDArray[np.intp], km: Floats, years: Floats, factor: Floats) -> Floats:
    """(P, A, Z) share of parts that outlive this distance and these years, lives multiplied by `factor` (P, Z)."""
    lives = car.lives
    hazard = np.zeros((*km.shape, factor.shape[1]))
    for amount, shape, scale in (
        (km, lives.shape_km[parts], lives.scale_km[parts]),
        (years, lives.shape_years[parts], lives.scale_years[parts]),
    ):
        clock = np.isfinite(scale)
        reach = amount[clock][:, :, None] / (scale[clock][:, None] * factor[clock])[:, None, :]
        hazard[clock] += reach ** shape[clock][:, None, None]
    return np.exp(-hazard)


def _still_fitted(alive: Floats, ages: Floats, deferral: Floats) -> Floats:
    """(P, A) mass that failed at some younger age and is still fitted, waiting on average `deferral` years (P,)."""
    out = np.zeros_like(alive)
    failed = -np.diff(alive, axis=1, prepend=1.0)
    for a in range(ages.size):
        waited = np.maximum(ages[a] - ages[: a + 1], 0.0) + 0.25 * (ages[a] - (ages[a - 1] if a else 0.0))
        out[:, a] = (failed[:, : a + 1] * np.exp(-waited / deferral[:, None])).sum(axis=1)
    return np.maximum(out, 1e-12)


def _middle_ages(edges: Floats) -> Floats:
    return (edges[1:] + edges[:-1]) / 2


def _recording_by_age(prepared: Prepared, parts: NDArray[np.intp]) -> Floats:
    """(P, A, W, Q) chance that a renewal at each age left a paper that has not been read yet."""
    wear, car = prepared.wear, prepared.car
    told = wear.history.pass_input
    ages = _middle_ages(wear.age_edges)
    when = told.nodes_years[told.today] - ages
    step = np.clip(np.searchsorted(told.nodes_years, when, side="right") - 1, 0, told.recording.shape[-1] - 1)
    recording = np.moveaxis(np.asarray(told.recording)[..., step], -1, -3)  # (A, W, Q) or (C, A, W, Q)
    if recording.ndim == 3:
        by_part = np.broadcast_to(recording, (parts.size, *recording.shape)).copy()
    else:
        by_part = recording[parts].copy()
    built = car.case.car.built
    for period in car.case.coverage:
        read = (when >= years_between(built, period.start)) & (when <= years_between(built, period.end))
        by_part[:, read] = 0.0
    for number, part in enumerate(parts):
        last = _last_entry(prepared, int(part))
        if last is not None:
            by_part[number, when <= last + 1e-6] = 0.0
    by_part[ages[None, :] > RECENT * car.typical_years[parts][:, None]] = 0.0
    by_part[:, -1] = 0.0  # the last bin is the part the car was built with
    return by_part


def _last_entry(prepared: Prepared, part: int) -> float | None:
    """When the part was last renewed on record, years since built."""
    told = prepared.wear.history.pass_input
    entries = told.entries[part] if len(told.entries) else ()
    nodes = [e.node for e in entries if hasattr(e, "credibility")]
    return float(told.nodes_years[max(nodes)]) if nodes else None


def _parts(car: Car, option: Option) -> list[int]:
    entry = option.check.entry
    return [car.index[c] for c in entry.components if c in car.index] if entry else []
