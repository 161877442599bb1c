"""Renewals still to come when nothing is deferred: what keeping the car will ask for."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estimator.wear.cohorts import Survival, lay_out
from estimator.wear.life import Lives

Floats = NDArray[np.float64]

_MOST_INSIDE = 1 - 1e-12


def expected_renewals(
    *,
    nodes_years: ArrayLike,
    lives: Lives,
    years_clock: ArrayLike,
    km_clock: ArrayLike,
    life_factor: ArrayLike = 1.0,
    precaution_rate: ArrayLike = 0.0,
    replacement_life: ArrayLike = 1.0,
    initial_km: ArrayLike = 0.0,
    initial_years: ArrayLike = 0.0,
    initial_mass: ArrayLike = 1.0,
    initial_life: ArrayLike = 1.0,
) -> Floats:
    """Expected renewals of C components in each step, a spent part being renewed at once.

    Parameters
    ----------
    nodes_years : (N + 1,) increasing; steps of a quarter of a year or less.
    lives : of the C components.
    years_clock, km_clock : (C, N + 1) or (N + 1,) effective clocks, only differences matter.
    life_factor, precaution_rate : (C,) or scalar, as in PassInput.
    replacement_life : (C,) or scalar, life share of each renewal to come.
    initial_km, initial_years : (C, A) or (A,) or scalar effective use so far of the parts fitted at
        the first node; 0 = new.
    initial_mass : (C, A) or scalar probabilities of those ages among parts not spent. What is missing
        to a sum of 1 is spent at the first node and renewed there, counted in the first step.
    initial_life : (C, A) or scalar life share of those parts.

    Returns
    -------
    (C, N) expected renewals in each step.

    Raises
    ------
    ValueError
        If the nodes do not increase, a clock falls, or the masses of a component exceed 1.
    """
    nodes = np.asarray(nodes_years, float)
    c, n = len(lives), nodes.size - 1
    if n < 1 or not (np.diff(nodes) > 0).all():
        raise ValueError("nodes_years must increase strictly and hold at least two nodes.")
    clocks = np.stack(
        [np.broadcast_to(np.asarray(k, float), (c, n + 1)) for k in (km_clock, years_clock)], axis=1
    )
    if not (np.diff(clocks) >= 0).all():
        raise ValueError("A clock falls.")
    ages = [np.asarray(v, float) for v in (initial_km, initial_years, initial_mass, initial_life)]
    width = max((a.shape[-1] for a in ages if a.ndim), default=1)
    km, years, mass, life = (np.broadcast_to(a, (c, width)) for a in ages)
    spent = 1 - mass.sum(axis=1)
    if (spent < -1e-9).any() or (mass < 0).any():
        raise ValueError("initial_mass must be >= 0 and sum to at most 1 per component.")
    factor, rate, share = (
        np.broadcast_to(np.asarray(v, float), (c,)) for v in (life_factor, precaution_rate, replacement_life)
    )

    first = _initial_hazard(lives, clocks, km, years, life * factor[:, None])
    alive_first = mass[..., None] * np.exp(
        -(first - first[..., :1])
    )  # (C, A, N + 1), given alive at the first node
    columns = lay_out(nodes, clocks[:, None], share[:, None], steps=n, entry_nodes=[])
    columns.share[..., 0] = share[:, None]  # the first column: renewed at the first node
    survival = Survival(lives, factor[:, None, None], columns)
    inside = survival.of_step(np.diff(clocks[:, None], axis=-1) / 2, share[:, None])[:, 0, 0, 0]
    fails_inside = np.minimum(1 - inside, _MOST_INSIDE)
    held = np.exp(-rate[:, None] * (nodes - nodes[0]))
    weight = np.zeros((c, columns.birth_years.size))
    weight[:, 0] = np.maximum(spent, 0.0)
    alive = mass.sum(axis=1) + weight[:, 0]
    out = np.empty((c, n))
    for step in range(n):
        count = int(columns.before_step[step])
        lived = survival.alive(survival.exponents(clocks[:, None, :, step + 1], count))[:, 0, 0, 0]
        older = ((weight[:, :count] * lived).sum(axis=1) + alive_first[..., step + 1].sum(axis=1)) * held[
            :, step + 1
        ]
        lasts = np.exp(-rate * (nodes[step + 1] - nodes[step]) / 2)
        fitted = np.maximum(alive - older, 0.0) / ((1 - fails_inside[:, step]) * lasts)
        weight[:, count] = fitted * lasts / held[:, step + 1]
        out[:, step] = fitted
    out[:, 0] += weight[:, 0]
    return out


def _initial_hazard(lives: Lives, clocks: Floats, km: Floats, years: Floats, share: Floats) -> Floats:
    """(C, A, N + 1) cumulative hazards of the parts already fitted."""
    run = clocks - clocks[..., :1]
    total = np.zeros((*km.shape, clocks.shape[-1]))
    for axis, (use, scale, shape) in enumerate(
        ((km, lives.scale_km, lives.shape_km), (years, lives.scale_years, lives.shape_years))
    ):
        total += ((use[..., None] + run[:, None, axis]) / (scale[:, None] * share)[..., None]) ** shape[
            :, None, None
        ]
    return total
