"""Lives drawn one after another: when parts fitted at known times need renewing, again and again, up to an horizon."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estimator.wear.life import Lives

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
_HALVINGS = 48  # of a bracket that is at most the horizon: far below a second


def need_times(
    exposure: Floats,
    part: Ints,
    lives: Lives,
    *,
    km_rate: Floats,
    years_rate: Floats,
    factor: Floats,
    used_km: ArrayLike = 0.0,
    used_years: ArrayLike = 0.0,
) -> Floats:
    """Years from now until parts in use need renewing.

    Parameters
    ----------
    exposure : (E,) drawn from the unit exponential distribution: hazard each part survives from now on.
    part : (E,) which component each is. km_rate, years_rate (C,) effective use a calendar year.
    factor : (E,) life of each against the component's, > 0. used_km, used_years : effective use so far.

    Returns
    -------
    (E,) years; inf where a part's clocks stand still.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        scale_km, scale_years = lives.scale_km[part] * factor, lives.scale_years[part] * factor
        km0 = np.broadcast_to(np.asarray(used_km, float), part.shape)
        years0 = np.broadcast_to(np.asarray(used_years, float), part.shape)
        beta_km, beta_years = lives.shape_km[part], lives.shape_years[part]
        rate_km, rate_years = km_rate[part], years_rate[part]
        so_far_km, so_far_years = (km0 / scale_km) ** beta_km, (years0 / scale_years) ** beta_years
        alone_km = ((exposure + so_far_km) ** (1 / beta_km) * scale_km - km0) / rate_km
        alone_years = ((exposure + so_far_years) ** (1 / beta_years) * scale_years - years0) / rate_years
        high = np.fmin(
            np.where(np.isfinite(scale_km) & (rate_km > 0), alone_km, np.inf),
            np.where(np.isfinite(scale_years) & (rate_years > 0), alone_years, np.inf),
        )
        low = np.zeros(part.size)
        known = np.isfinite(high)
        top = np.where(known, high, 1.0)
        for _ in range(_HALVINGS):
            middle = (low + top) / 2
            hazard = ((km0 + rate_km * middle) / scale_km) ** beta_km - so_far_km
            hazard += ((years0 + rate_years * middle) / scale_years) ** beta_years - so_far_years
            early = hazard < exposure
            low, top = np.where(early, middle, low), np.where(early, top, middle)
    return np.where(known, (low + top) / 2, np.inf)


def renewals_after(
    draw: Ints,
    part: Ints,
    fitted: Floats,
    lives: Lives,
    *,
    km_rate: Floats,
    years_rate: Floats,
    factor: Floats,
    until: float,
    rng: np.random.Generator,
) -> tuple[Ints, Ints, Floats]:
    """Every later renewal of parts fitted new at `fitted`, each spent part renewed at once with one of the same kind.

    Parameters
    ----------
    draw, part, fitted, factor : (E,) of each part fitted: its draw, component, time in years, life against the
        component's (kept by those that follow it).
    until : horizon in years; renewals from then on are not counted.

    Returns
    -------
    (draw, part, time) of the renewals, in no order.
    """
    out: list[tuple[Ints, Ints, Floats]] = []
    while draw.size:
        lasts = need_times(
            rng.exponential(size=draw.size),
            part,
            lives,
            km_rate=km_rate,
            years_rate=years_rate,
            factor=factor,
        )
        time = fitted + lasts
        inside = time < until
        draw, part, fitted, factor = draw[inside], part[inside], time[inside], factor[inside]
        out.append((draw, part, fitted))
    if not out:
        nothing = np.zeros(0, np.intp)
        return nothing, nothing, np.zeros(0)
    draws, parts, times = zip(*out, strict=True)
    return np.concatenate(draws), np.concatenate(parts), np.concatenate(times)
