"""The car's timeline: time nodes, distance and effective clocks at each node.

Times are decimal years since the car was built; distances are kilometres since then. What runs
faster or slower than the calendar (storage, climate, severity, lay-up) is a clock: a cumulative
integral of a piecewise-constant rate, evaluated at the nodes.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_COARSE_YEARS, _FINE_YEARS, _FINE_SPAN_YEARS = 0.5, 0.25, 20.0
_SAME_DAY_YEARS = 1.0 / 730.0  # events less than half a day apart share a node


def node_grid(
    today_years: float, *, horizon_years: float = 1.0, events: ArrayLike = (), fine: int = 1
) -> Floats:
    """Nodes from 0 (built) to today + horizon, events and month ends of the next year included.

    Steps are at most a quarter of a year in the last 20 years and the future, at most half a year
    before; `fine` divides both (2 halves every step). Use `node_of` to find an event's node.

    Parameters
    ----------
    today_years : age of the car today, years, > 0.
    horizon_years : how far past today the grid runs, >= 0 (less than half a day counts as 0).
    events : (n,) ages in years at which something dated happened; those outside the grid are errors.

    Returns
    -------
    (N + 1,) strictly increasing nodes; the first is 0 and today is one of them exactly.

    Raises
    ------
    ValueError
        If the age is not positive and finite, the horizon is negative, an event lies outside
        0..today + horizon, or `fine` is below 1.
    """
    if not (np.isfinite(today_years) and today_years > 0):
        raise ValueError(f"The car's age today must be > 0 years, got {today_years:g}.")
    if not (np.isfinite(horizon_years) and horizon_years >= 0):
        raise ValueError(f"The horizon must be >= 0 years, got {horizon_years:g}.")
    if fine < 1:
        raise ValueError(f"fine must be at least 1, got {fine}.")
    end = today_years + (horizon_years if horizon_years > _SAME_DAY_YEARS else 0.0)
    dated = np.asarray(events, float).ravel()
    if not ((dated >= 0) & (dated <= end + _SAME_DAY_YEARS)).all():
        bad = dated[~((dated >= 0) & (dated <= end + _SAME_DAY_YEARS))][0]
        raise ValueError(f"An event at age {bad:g} years lies outside the timeline 0 to {end:g}.")
    turn = max(today_years - _FINE_SPAN_YEARS, 0.0)
    months = today_years + np.arange(1, 13) / 12
    anchors = _merge_close(
        np.concatenate([dated, months[months <= end + 1e-9], [turn]]), keep=np.array([0.0, today_years, end])
    )
    pieces = [np.zeros(1)]
    for left, right in itertools.pairwise(anchors):
        longest = (_COARSE_YEARS if right <= turn + 1e-9 else _FINE_YEARS) / fine
        steps = max(1, int(np.ceil((right - left) / longest - 1e-9)))
        if fine > 1:  # a whole multiple of the plain grid's steps, so that halving really halves
            plain = max(1, int(np.ceil((right - left) / (longest * fine) - 1e-9)))
            steps = plain * fine
        inner = np.linspace(left, right, steps + 1)[1:]
        inner[-1] = right
        pieces.append(inner)
    return np.concatenate(pieces)


def _merge_close(points: Floats, *, keep: Floats) -> Floats:
    """Sorted points, at least half a day apart; those in `keep` stay exactly as they are."""
    fixed = np.unique(keep)
    free = np.unique(points)
    gap = np.abs(free[:, None] - fixed[None, :]).min(axis=1)
    merged: list[float] = []
    for point in np.sort(np.concatenate([free[gap >= _SAME_DAY_YEARS], fixed])):
        if merged and point - merged[-1] < _SAME_DAY_YEARS and point not in fixed:
            continue
        merged.append(float(point))
    return np.array(merged)


def node_of(nodes_years: Floats, events: ArrayLike) -> NDArray[np.intp]:
    """Index of the node nearest to each event; shape of `events`."""
    dated = np.asarray(events, float)
    right = np.clip(np.searchsorted(nodes_years, dated), 1, nodes_years.size - 1)
    nearer_left = dated - nodes_years[right - 1] <= nodes_years[right] - dated
    return np.asarray(right - nearer_left, dtype=np.intp)


def clock(
    nodes_years: ArrayLike, periods: Sequence[tuple[float, float, float]] = (), *, rate: float = 1.0
) -> Floats:
    """Cumulative integral from 0 of a piecewise-constant rate, at the nodes.

    Parameters
    ----------
    nodes_years : (N + 1,) increasing times, years.
    periods : (from, to, rate) triples, years and rate >= 0; where they overlap the later one in the
        sequence rules; outside them `rate` applies.

    Returns
    -------
    (N + 1,) non-decreasing clock readings; exact whether or not period ends are nodes.

    Raises
    ------
    ValueError
        If a period ends before it starts or a rate is negative or not finite.
    """
    nodes = np.asarray(nodes_years, float)
    for start, end, value in periods:
        if not end >= start:
            raise ValueError(f"A period ends ({end:g} years) before it starts ({start:g} years).")
        if not (np.isfinite(value) and value >= 0):
            raise ValueError(f"A clock's rate must be finite and >= 0, got {value:g}.")
    cuts = np.unique(np.concatenate([nodes, [t for a, b, _ in periods for t in (a, b)], [0.0]]))
    middle = (cuts[:-1] + cuts[1:]) / 2
    rates = np.full(middle.shape, float(rate))
    for start, end, value in periods:
        rates[(middle > start) & (middle < end)] = value
    reading = np.concatenate([[0.0], np.cumsum(rates * np.diff(cuts))])
    reading -= np.interp(0.0, cuts, reading)
    return np.interp(nodes, cuts, reading)


def years_clock(
    nodes_years: ArrayLike, periods: Sequence[tuple[float, float, float]] = (), *, rate: float = 1.0
) -> Floats:
    """Effective age at each node: exposure and lay-up as rates per period lived (see `clock`)."""
    return clock(nodes_years, periods, rate=rate)


def odometer_at(
    nodes_years: ArrayLike,
    *,
    readings: Sequence[tuple[float, float]],
    annual_km_prior_by_age: Sequence[tuple[float, float]],
    today_years: float,
    future_annual_km: float,
    use: Sequence[tuple[float, float, float]] = (),
) -> Floats:
    """True distance at each node: linear between dated readings, prior where there are none.

    Parameters
    ----------
    nodes_years : (N + 1,) times since built, years.
    readings : (age in years, km) pairs in any order, as believed true; the car starts at (0, 0).
    annual_km_prior_by_age : (from age, km per year) steps in order of age, the first from age 0;
        used between the last reading and today.
    today_years, future_annual_km : from today on the distance runs at the planned annual distance.
    use : (from, to, relative use >= 0) periods, 1 elsewhere: between two readings the distance is
        driven in proportion to use, so a laid-up car stands still (0) and nothing is invented.

    Returns
    -------
    (N + 1,) kilometres, never falling.

    Raises
    ------
    ValueError
        If the readings fall, lie before 0 or after today, or a figure is negative or not finite.
    """
    nodes = np.asarray(nodes_years, float)
    dated = sorted((float(t), float(km)) for t, km in readings)
    for t, shown in dated:
        if not (
            np.isfinite(t) and np.isfinite(shown) and shown >= 0 and 0 <= t <= today_years + _SAME_DAY_YEARS
        ):
            raise ValueError(
                f"A reading of {shown:g} km at age {t:g} years must be >= 0 km and lie between 0 and today."
            )
    if not (np.isfinite(future_annual_km) and future_annual_km >= 0):
        raise ValueError(f"The planned annual distance must be >= 0 km, got {future_annual_km:g}.")
    if not dated or dated[0][0] > 0:
        dated.insert(0, (0.0, 0.0))
    for (t0, km0), (t1, km1) in itertools.pairwise(dated):
        if km1 < km0:
            raise ValueError(f"Readings fall from {km0:g} km (age {t0:g}) to {km1:g} km (age {t1:g}).")
    times = np.unique(
        np.concatenate([nodes, [t for t, _ in dated], [today_years], [t for a, b, _ in use for t in (a, b)]])
    )
    times = times[times >= 0]
    km = _between_readings(times, dated, clock(times, use))
    last_t, last_km = dated[-1]
    ages = [age for age, _ in annual_km_prior_by_age]
    prior = [(a, b, r) for (a, r), b in zip(annual_km_prior_by_age, [*ages[1:], np.inf], strict=True)]
    prior_km = _product_clock(times, prior, use)
    gap = times > last_t
    km[gap] = last_km + prior_km[gap] - np.interp(last_t, times, prior_km)
    ahead = times > today_years
    km[ahead] = np.interp(today_years, times, km) + future_annual_km * (times[ahead] - today_years)
    return np.interp(nodes, times, km)


def _between_readings(times: Floats, dated: list[tuple[float, float]], used: Floats) -> Floats:
    """Distance at `times` up to the last reading, apportioned by the clock of use."""
    km = np.full(times.shape, dated[-1][1])
    for (t0, km0), (t1, km1) in itertools.pairwise(dated):
        here = (times >= t0) & (times <= t1)
        u0, u1 = np.interp([t0, t1], times, used)
        share = (used[here] - u0) / (u1 - u0) if u1 > u0 else (times[here] - t0) / max(t1 - t0, 1e-12)
        km[here] = km0 + (km1 - km0) * share
    return km


def _product_clock(
    times: Floats,
    base: Sequence[tuple[float, float, float]],
    factor: Sequence[tuple[float, float, float]],
) -> Floats:
    """Integral of a base rate (0 outside its periods) times a relative factor, at `times`."""
    cuts = np.unique(np.concatenate([times, [a for a, _, _ in base]]))
    middle = (cuts[:-1] + cuts[1:]) / 2
    rate = np.zeros(middle.shape)
    for start, end, value in base:
        if not (np.isfinite(value) and value >= 0):
            raise ValueError(f"Annual distance must be finite and >= 0 km, got {value:g}.")
        rate[(middle > start) & (middle < end)] = value
    for start, end, value in factor:
        rate[(middle > start) & (middle < end)] *= value
    return np.interp(times, cuts, np.concatenate([[0.0], np.cumsum(rate * np.diff(cuts))]))
