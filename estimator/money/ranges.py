"""Three-point ranges (low, likely, high) as distributions, drawn through tables of their quantiles.

A PERT distribution is the beta distribution on [low, high] with mean (low + 4 likely + high) / 6 and shape sum 6;
its variance is (mean - low)(high - mean) / 7. Its quantile function depends, after scaling, only on where the mode
lies, so one table over mode and probability serves every range; drawing is one look-up with linear interpolation.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, ndtri

Floats = NDArray[np.float64]
CELLS = 1024
_MODES = 65


@lru_cache(maxsize=1)
def _unit_quantiles() -> Floats:
    """(modes, CELLS + 1) quantiles of PERT(0, mode, 1)."""
    mode = np.linspace(0.0, 1.0, _MODES)[:, None]
    u = np.linspace(0.0, 1.0, CELLS + 1)[None, :]
    return np.asarray(betaincinv(1 + 4 * mode, 5 - 4 * mode, u))


def pert_mean(ranges: ArrayLike) -> Floats:
    """(low + 4 likely + high) / 6 of ranges (..., 3)."""
    r = np.asarray(ranges, float)
    return np.asarray((r[..., 0] + 4 * r[..., 1] + r[..., 2]) / 6)


def quantile_table(ranges: ArrayLike) -> Floats:
    """Quantiles of PERT ranges (..., 3) at CELLS + 1 equal steps of probability: (..., CELLS + 1).

    Each row is corrected so that its mean under linear interpolation is the PERT mean exactly.
    """
    r = np.asarray(ranges, float)
    low, likely, high = r[..., 0], r[..., 1], r[..., 2]
    width = high - low
    mode = np.divide(likely - low, width, out=np.full_like(width, 0.5), where=width > 0)
    place = np.clip(mode * (_MODES - 1), 0, _MODES - 1)
    left = np.minimum(place.astype(int), _MODES - 2)
    part = (place - left)[..., None]
    unit = _unit_quantiles()
    q = unit[left] * (1 - part) + unit[left + 1] * part
    table = low[..., None] + width[..., None] * q
    mean = (table[..., :-1] + table[..., 1:]).mean(axis=-1) / 2
    wanted = pert_mean(r)
    scale = np.divide(wanted - low, mean - low, out=np.ones_like(mean), where=mean > low)
    return np.asarray(low[..., None] + (table - low[..., None]) * scale[..., None])


def draw(table: Floats, row: NDArray[np.intp], u: Floats) -> Floats:
    """Values of the rows of a flat table (R, CELLS + 1) at probabilities u in [0, 1); all (E,)."""
    place = u * CELLS
    cell = place.astype(np.intp)
    flat = table.ravel()
    base = row * (CELLS + 1) + cell
    low = flat[base]
    return np.asarray(low + (flat[base + 1] - low) * (place - cell))


def lognormal_table(mean: ArrayLike, cv: ArrayLike, *, cut: float = 0.999) -> Floats:
    """The same tables for lognormal amounts with this mean and coefficient of variation, cut at a quantile.

    The rows keep the uncut distribution's mean: what the cut takes from the tail is spread over the rest.
    """
    m, v = np.broadcast_arrays(np.asarray(mean, float), np.asarray(cv, float))
    sigma = np.sqrt(np.log1p(v**2))[..., None]
    u = np.minimum(np.linspace(0.0, 1.0, CELLS + 1), cut)
    table = np.exp(np.log(m)[..., None] - sigma**2 / 2 + sigma * ndtri(np.maximum(u, 1e-6)))
    made = (table[..., :-1] + table[..., 1:]).mean(axis=-1) / 2
    return np.asarray(table * (m / made)[..., None])


def open_ended_table(ranges: ArrayLike) -> Floats:
    """Tables of ranges (..., 3) without an upper end: lognormal with the PERT's mean, above `high` one time in ten.

    Cut at the 0.999 quantile. A `high` of more than 2.27 times the mean is out of any lognormal's reach: then the one
    that comes nearest.
    """
    r = np.asarray(ranges, float)
    mean = pert_mean(r)
    beyond = float(ndtri(0.9))
    apart = np.log(np.divide(r[..., 2], mean, out=np.ones_like(mean), where=mean > 0))
    sigma = beyond - np.sqrt(np.maximum(beyond**2 - 2 * apart, 0.0))
    table = lognormal_table(np.where(mean > 0, mean, 1.0), np.sqrt(np.expm1(sigma**2)))
    return np.asarray(np.where(mean[..., None] > 0, table, 0.0))
