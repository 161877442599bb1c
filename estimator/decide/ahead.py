"""Years ahead: when each part first needs renewing, and how soon a new one would again.

The wear pass knows the time to need within twelve months. For a longer horizon it is run once more with the
calendar counted in units of that horizon, so that its twelve "months" are twelfths of it; only the likeliest
odometer and the middle level of completeness are run, and the conditions themselves stay those of the full
posterior. Distance runs on at the planned yearly distance, nothing spent is left standing.
"""

from __future__ import annotations

import dataclasses
from collections import OrderedDict
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estimator.evidence.findings import SPENT, WORN
from estimator.evidence.life_grid import life_table
from estimator.history import History
from estimator.pipeline import Prepared
from estimator.wear.life import Lives
from estimator.wear.records import MONTHS, PassInput
from estimator.wear.renewal import forward_pass

Floats = NDArray[np.float64]
MOST_YEARS = 40
_POINTS, _POINT_WEIGHT = np.polynomial.hermite_e.hermegauss(7)


@dataclass(frozen=True)
class Ahead:
    """years (K,) from today, increasing. due (G, C, 2, K) chance of need by then given worn, given sound.

    km_rate, years_rate (C,) : how fast the effective clocks run a calendar year from now on.
    """

    years: Floats
    due: NDArray[np.float32]
    km_rate: Floats
    years_rate: Floats

    def need_by(self, prepared: Prepared, horizon_years: float) -> Floats:
        """(C,) chance that a part as it is now needs renewing by then, spent today included."""
        grid = prepared.grid
        due = self.at(horizon_years)
        later = np.einsum("g,gck,gck->c", grid.weight, grid.marginal[:, :, WORN:], due, optimize=True)
        return np.minimum(grid.mean(grid.marginal)[:, SPENT] + later, 1.0)

    def at(self, years: float) -> Floats:
        """(G, C, 2) chance of need by a time within the horizon, linear between the times known."""
        if not 0 <= years <= self.years[-1] + 1e-9:
            raise ValueError(f"The horizon runs 0 to {self.years[-1]:g} years, asked for {years:g}.")
        times = np.concatenate([[0.0], self.years])
        right = int(np.clip(np.searchsorted(times, years), 1, times.size - 1))
        share = np.float32((years - times[right - 1]) / (times[right] - times[right - 1]))
        low = self.due[..., right - 2] if right > 1 else np.zeros_like(self.due[..., 0])
        return np.asarray(low + share * (self.due[..., right - 1] - low), float)


_KEPT: OrderedDict[tuple, tuple[Prepared, Ahead]] = OrderedDict()  # the car stays, so that its ids do


def ahead(prepared: Prepared, horizon_years: float) -> Ahead:
    """First need of every part of a car over a horizon of 1 to 40 years.

    Raises
    ------
    ValueError
        For a horizon out of range.
    """
    if not 1 <= horizon_years <= MOST_YEARS:
        raise ValueError(f"The horizon must be 1 to {MOST_YEARS} years, got {horizon_years:g}.")
    history = prepared.wear.history
    inp = history.pass_input
    years = np.arange(1, MONTHS + 1) / 12
    due = prepared.due
    if horizon_years > 1:
        key = (round(horizon_years, 6), id(prepared.grid), id(prepared.wear))
        if key in _KEPT:
            return _KEPT[key][1]
        far = horizon_years * years
        beyond = far > 1 + 1e-9
        longer = _due_far(prepared, history, horizon_years)[..., beyond]
        due = np.maximum.accumulate(np.concatenate([due, longer], axis=-1), axis=-1)
        years = np.concatenate([years, far[beyond]])
    span = inp.nodes_years[-1] - inp.nodes_years[inp.today]
    best = int(np.argmax([h.weight for h in history.odometer]))
    made = Ahead(
        years=years,
        due=np.asarray(due, np.float32),
        km_rate=np.asarray((inp.km_clock[best, :, -1] - inp.km_clock[best, :, inp.today]) / span),
        years_rate=np.asarray((inp.years_clock[:, -1] - inp.years_clock[:, inp.today]) / span),
    )
    if horizon_years > 1:
        _KEPT[key] = (prepared, made)
        while len(_KEPT) > 3:
            _KEPT.popitem(last=False)
    return made


def _due_far(prepared: Prepared, history: History, horizon: float) -> NDArray[np.float32]:
    """(G, C, 2, 12) chance of need by each twelfth of the horizon, at every grid point."""
    inp = stretched(few_points(history), horizon)
    table = life_table(
        forward_pass(inp), points=history.life_points, total_sd=history.total_sd, own_sd=prepared.car.own_sd
    )
    grid = prepared.grid
    out = np.empty((grid.weight.size, len(inp.lives), 2, MONTHS), np.float32)
    for q in np.unique(grid.q):
        rows = np.flatnonzero(grid.q == q)
        out[rows] = table.due_at(h=0, w=0, q=int(q), common=grid.common[rows])
    out[:, :, 1] *= prepared.there_if_sound[..., None]
    return out


def few_points(history: History) -> PassInput:
    """The pass with the likeliest odometer and the middle level of completeness only."""
    inp = history.pass_input
    h = int(np.argmax([one.weight for one in history.odometer]))
    w = int(np.argmin(np.abs(history.completeness - np.median(history.completeness))))
    weight = inp.weight[h : h + 1, w : w + 1]
    return dataclasses.replace(
        inp,
        km_clock=inp.km_clock[h : h + 1],
        recording=inp.recording[..., w : w + 1, :, :],
        weight=weight / weight.sum(),
    )


def stretched(inp: PassInput, horizon: float) -> PassInput:
    """The same car with its calendar in units of `horizon` years, run on for one unit at the pace of the last year.

    Lives and effective clocks keep their own units: only calendar time (nodes, deferral, precaution) is rescaled.
    """
    today, nodes = inp.today, inp.nodes_years
    cuts = MONTHS * max(1, int(np.ceil(horizon / MONTHS / 0.25)))
    further = horizon * np.arange(1, cuts + 1) / cuts
    span = nodes[-1] - nodes[today]

    def run_on(clock: Floats) -> Floats:
        pace = (clock[..., -1] - clock[..., today]) / span
        return np.concatenate(
            [clock[..., : today + 1], clock[..., today, None] + pace[..., None] * further], axis=-1
        )

    still = np.zeros((*inp.recording.shape[:-1], cuts))
    return dataclasses.replace(
        inp,
        nodes_years=np.concatenate([nodes[: today + 1], nodes[today] + further]) / horizon,
        years_clock=run_on(inp.years_clock),
        km_clock=run_on(inp.km_clock),
        deferral_years=inp.deferral_years / horizon,
        precaution_rate=inp.precaution_rate * horizon,
        recording=np.concatenate([inp.recording[..., :today], still], axis=-1),
        upkeep=np.concatenate([np.asarray(inp.upkeep)[:today], np.ones(cuts)]),
    )


def new_part_need(
    lives: Lives,
    *,
    horizon_years: ArrayLike,
    km_rate: ArrayLike,
    years_rate: ArrayLike,
    life_share: ArrayLike = 1.0,
    log_sd: ArrayLike = 0.0,
) -> Floats:
    """(C,) chance that a part fitted new now needs renewing within the horizon.

    Parameters
    ----------
    life_share : (C,) or scalar, life of what is fitted against a maker's new part, > 0.
    log_sd : (C,) or scalar, spread of log life over cars and parts, averaged by a Gauss rule.
    """
    share, sd = np.asarray(life_share, float), np.asarray(log_sd, float)
    horizon = np.asarray(horizon_years, float)
    total = np.zeros(len(lives))
    for point, weight in zip(_POINTS, _POINT_WEIGHT / _POINT_WEIGHT.sum(), strict=True):
        factor = share * np.exp(sd * point)
        hazard = (np.asarray(km_rate) * horizon / (lives.scale_km * factor)) ** lives.shape_km
        hazard += (np.asarray(years_rate) * horizon / (lives.scale_years * factor)) ** lives.shape_years
        total -= weight * np.expm1(-hazard)
    return total
