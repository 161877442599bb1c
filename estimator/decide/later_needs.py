"""Needs after the first year, drawn part by part: the first of what is on the car, then of what was fitted since."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.assess import Result
from estimator.decide.ahead import Ahead
from estimator.simulate import WORN, Draws
from estimator.wear.lived_on import renewals_after

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True)
class Fitted:
    """Parts fitted in a block: draw, part, time in years."""

    draw: Ints
    part: Ints
    time: Floats


def later_needs(
    result: Result,
    ahead: Ahead,
    rows: slice,
    fitted: Fitted,
    *,
    share: Floats,
    years: float,
    rng: np.random.Generator,
) -> Fitted:
    """Every renewal after the first year: first needs of what was not renewed in it, then of what was fitted.

    Parameters
    ----------
    ahead : over at least `years`. rows : the stretch of draws; those of `fitted` are numbered from its start.
    fitted : what was renewed in the first year, or is planned to be later: it has no first need.
    share : (C,) life of what is fitted against a maker's new part. years : horizon, above 1.
    """
    prepared = result.prepared
    car, draws = prepared.car, result.draws
    size = rows.stop - rows.start
    renewed = np.zeros((size, len(car.parts)), bool)
    renewed[fitted.draw, fitted.part] = True
    first = first_needs(draws, ahead, rows, ~renewed, rng=rng)
    inside = first.time < years
    draw = np.concatenate([fitted.draw, first.draw[inside]])
    part = np.concatenate([fitted.part, first.part[inside]])
    time = np.concatenate([fitted.time, first.time[inside]])
    common = prepared.grid.common[draws.point[rows]][draw]
    factor = share[part] * np.exp(common + car.own_sd[part] * rng.standard_normal(part.size))
    more = renewals_after(
        draw, part, time, car.lives, km_rate=ahead.km_rate, years_rate=ahead.years_rate, factor=factor,
        until=float(years), rng=rng,
    )  # fmt: skip
    return Fitted(
        np.concatenate([first.draw[inside], more[0]]),
        np.concatenate([first.part[inside], more[1]]),
        np.concatenate([first.time[inside], more[2]]),
    )


def first_needs(
    draws: Draws, ahead: Ahead, rows: slice, left: NDArray[np.bool_], *, rng: np.random.Generator
) -> Fitted:
    """First need after the first year of parts (n, C) not renewed in it, where it comes within the horizon."""
    point, condition = draws.point[rows], draws.condition[rows]
    last_month = int(np.searchsorted(ahead.years, 1.0 + 1e-9)) - 1
    draw, part = np.nonzero(left & (condition > 0))
    kind = (condition[draw, part] != WORN).astype(np.intp)
    start = ahead.due[point[draw], part, kind, last_month].astype(float)
    end = ahead.due[point[draw], part, kind, -1].astype(float)
    wanted = start + (1 - start) * rng.random(draw.size)
    some = np.flatnonzero(wanted < end)
    draw, part, kind, wanted = draw[some], part[some], kind[some], wanted[some]
    curve = ahead.due[point[draw], part, kind][:, last_month:].astype(float)
    times = ahead.years[last_month:]
    right = np.clip((curve <= wanted[:, None]).sum(axis=1), 1, times.size - 1)
    each = np.arange(draw.size)
    low, high = curve[each, right - 1], curve[each, right]
    inside = np.clip((wanted - low) / np.maximum(high - low, 1e-12), 0.0, 1.0)
    return Fitted(draw, part, times[right - 1] + inside * (times[right] - times[right - 1]))
