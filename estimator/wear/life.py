"""Life of a component on two clocks, distance and time.

From new, over effective distance m and effective time t,

    S(m, t) = exp( -(m / eta_m)**beta_m - (t / eta_t)**beta_t )

that is, two independent Weibull lives of which the shorter one decides. A component may have one
clock only: the other then has an infinite scale. *Worn* means that all but the warning share v of
the life is used: sound with probability S(m / (1 - v), t / (1 - v)), worn with S(m, t) less that.

References
----------
Meeker, Escobar & Pascual, *Statistical Methods for Reliability Data*, 2nd ed., ch. 4 (Weibull) and
ch. 15 (competing modes). The warning share is the P-F interval of SAE JA1012.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

SPENT, WORN, SOUND = 0, 1, 2

# ln( ln 2 / -ln 0.9 ): how much further along its cumulative hazard a part is at B50 than at B10.
_B10_TO_B50 = float(np.log(np.log(2.0) / -np.log(0.9)))


def weibull_from_quantiles(b10: ArrayLike, b50: ArrayLike) -> tuple[Floats, Floats]:
    """Weibull shape and scale with 10 % failed at `b10` and half failed at `b50`.

    Parameters
    ----------
    b10, b50 : array_like, broadcastable
        Lives by which 10 % and 50 % have needed renewal, any one unit (km or years).

    Returns
    -------
    (shape, scale) : ndarrays of the broadcast shape; scale in the unit of the lives.

    Raises
    ------
    ValueError
        Unless 0 < b10 < b50 and both are finite, everywhere.
    """
    first, half = np.broadcast_arrays(np.asarray(b10, float), np.asarray(b50, float))
    good = (first > 0) & (half > first) & np.isfinite(half)
    if not good.all():
        where = tuple(int(i) for i in np.argwhere(~good)[0])
        raise ValueError(
            f"B10 and B50 lives must be finite with 0 < B10 < B50, got B10 {first[where]:g} and "
            f"B50 {half[where]:g}" + (f" at index {where}." if where else ".")
        )
    shape = _B10_TO_B50 / np.log(half / first)
    return shape, half / np.log(2.0) ** (1.0 / shape)


@dataclass(frozen=True)
class Lives:
    """Lives of C components on both clocks.

    Parameters
    ----------
    shape_km, shape_years : (C,) Weibull shapes, > 0; ignored where the scale is infinite.
    scale_km, scale_years : (C,) Weibull scales, kilometres and years, > 0; inf = no such clock.
    warning_share : (C,) last share of the life during which the part is visibly worn, 0 <= v < 1.

    Raises
    ------
    ValueError
        If a figure is out of range, the shapes differ, or a component has no clock at all.
    """

    shape_km: Floats
    scale_km: Floats
    shape_years: Floats
    scale_years: Floats
    warning_share: Floats

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            value = np.atleast_1d(np.asarray(getattr(self, name), float))
            if value.ndim != 1:
                raise ValueError(f"{name} must be one figure per component, got shape {value.shape}.")
            object.__setattr__(self, name, value)
        count = self.shape_km.size
        for name in self.__dataclass_fields__:
            value = getattr(self, name)
            if value.size != count:
                raise ValueError(f"{name} has {value.size} components, shape_km has {count}.")
            bad = ~((value >= 0) & (value < 1)) if name == "warning_share" else ~(value > 0)
            if name.startswith("shape"):
                bad |= ~np.isfinite(value)
            if bad.any():
                index = int(np.argmax(bad))
                raise ValueError(f"{name} of component {index} is out of range: {value[index]:g}.")
        clockless = np.isinf(self.scale_km) & np.isinf(self.scale_years)
        if clockless.any():
            raise ValueError(
                f"Component {int(np.argmax(clockless))} has neither a distance nor a time clock."
            )

    def __len__(self) -> int:
        return int(self.shape_km.size)

    @classmethod
    def from_quantiles(
        cls,
        *,
        b10_km: ArrayLike,
        b50_km: ArrayLike,
        b10_years: ArrayLike,
        b50_years: ArrayLike,
        warning_share: ArrayLike = 0.15,
    ) -> Lives:
        """Lives from B10 and B50 per clock; NaN in both quantiles of a clock means no such clock."""
        km = np.broadcast_arrays(*(np.atleast_1d(np.asarray(b, float)) for b in (b10_km, b50_km)))
        years = np.broadcast_arrays(*(np.atleast_1d(np.asarray(b, float)) for b in (b10_years, b50_years)))
        shape_km, scale_km = _clock_from_quantiles(*km)
        shape_years, scale_years = _clock_from_quantiles(*years)
        share = np.broadcast_to(np.asarray(warning_share, float), shape_km.shape)
        return cls(shape_km, scale_km, shape_years, scale_years, share)

    def take(self, index: NDArray[np.intp]) -> Lives:
        """The lives of some components only, in the order of `index`."""
        return Lives(*(getattr(self, name)[index] for name in self.__dataclass_fields__))


def _clock_from_quantiles(b10: Floats, b50: Floats) -> tuple[Floats, Floats]:
    """Shape and scale of one clock; shape 1 and scale inf where both quantiles are NaN."""
    missing = np.isnan(b10) & np.isnan(b50)
    shape, scale = weibull_from_quantiles(np.where(missing, 1.0, b10), np.where(missing, 2.0, b50))
    return np.where(missing, 1.0, shape), np.where(missing, np.inf, scale)


def cumulative_hazard(distance_km: ArrayLike, time_years: ArrayLike, lives: Lives) -> Floats:
    """(m / eta_m)**beta_m + (t / eta_t)**beta_t, components on the last axis.

    Parameters
    ----------
    distance_km, time_years : array_like, broadcastable to (..., C), effective, >= 0.

    Raises
    ------
    ValueError
        If a distance or time is negative or NaN.
    """
    km, years = np.asarray(distance_km, float), np.asarray(time_years, float)
    for name, value in (("distance_km", km), ("time_years", years)):
        if not (value >= 0).all():
            raise ValueError(f"{name} must be >= 0, got {value[~(value >= 0)].flat[0]:g}.")
    by_km = (km / lives.scale_km) ** lives.shape_km
    return by_km + (years / lives.scale_years) ** lives.shape_years


def survival(distance_km: ArrayLike, time_years: ArrayLike, lives: Lives) -> Floats:
    """P(not yet spent) of a part used for so much distance and time since new; shape (..., C)."""
    return np.exp(-cumulative_hazard(distance_km, time_years, lives))


def condition_probabilities(distance_km: ArrayLike, time_years: ArrayLike, lives: Lives) -> Floats:
    """P(spent, worn, sound) of a part fitted new so much use ago, no renewal since.

    Returns
    -------
    ndarray (..., C, 3), conditions ordered spent, worn, sound; sums to 1 on the last axis.
    """
    hazard = cumulative_hazard(distance_km, time_years, lives)
    left = 1.0 - lives.warning_share
    warned = cumulative_hazard(np.asarray(distance_km) / left, np.asarray(time_years) / left, lives)
    alive = np.exp(-hazard)
    worn = -alive * np.expm1(hazard - warned)
    return np.stack([-np.expm1(-hazard), worn, np.exp(-warned)], axis=-1)


def failure_probability_within(
    further_km: ArrayLike,
    further_years: ArrayLike,
    *,
    survived_km: ArrayLike,
    survived_years: ArrayLike,
    lives: Lives,
) -> Floats:
    """P(spent within the next stretch | not spent after the use so far); shape (..., C).

    Zero use so far means a new part, not "unknown": for unknown age average over the history.
    """
    so_far = cumulative_hazard(survived_km, survived_years, lives)
    later = cumulative_hazard(
        np.asarray(survived_km, float) + further_km, np.asarray(survived_years, float) + further_years, lives
    )
    return -np.expm1(so_far - later)


def mean_life_years(
    lives: Lives,
    *,
    km_per_year: ArrayLike,
    years_per_year: ArrayLike = 1.0,
    precaution_rate: ArrayLike = 0.0,
    panels: int = 60,
) -> Floats:
    """Mean calendar years from new until spent (or renewed as a precaution) at steady use; (..., C).

    The integral of S(t) exp(-a t) by Gauss-Legendre panels, up to where the cumulative hazard
    passes 40, beyond which less than 1e-17 of the parts live.

    Parameters
    ----------
    km_per_year, years_per_year : array_like, broadcastable to (..., C)
        How fast the effective clocks run per calendar year, >= 0.
    precaution_rate : array_like, broadcastable to (..., C)
        Rate per year of renewals of parts not yet spent, >= 0.
    """
    km_rate, year_rate, rate = np.broadcast_arrays(
        *(np.asarray(v, float) + np.zeros(len(lives)) for v in (km_per_year, years_per_year, precaution_rate))
    )
    with np.errstate(divide="ignore"):
        end_km = lives.scale_km * 40.0 ** (1 / lives.shape_km) / km_rate
        end_years = lives.scale_years * 40.0 ** (1 / lives.shape_years) / year_rate
        end = np.minimum(np.minimum(end_km, end_years), 40.0 / rate)
    if not np.isfinite(end).all():
        raise ValueError("A component whose clocks all stand still never wears: its mean life is infinite.")
    node, width = np.polynomial.legendre.leggauss(8)
    # Squared spacing: shapes below one fall steeply at zero.
    edge = np.linspace(0.0, 1.0, panels + 1) ** 2
    half = np.diff(edge) / 2
    unit = ((edge[:-1] + half)[:, None] + half[:, None] * node).ravel()
    weight = (half[:, None] * width).ravel()
    total = np.zeros(end.shape)
    for u, share in zip(unit, weight, strict=True):
        t = end * u
        total += share * np.exp(-cumulative_hazard(km_rate * t, year_rate * t, lives) - rate * t)
    return total * end
