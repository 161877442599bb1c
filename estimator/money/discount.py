"""Money at different times: the factors of life-cycle costing.

Terms as in NIST Handbook 135 / ASTM E917: SPV turns one amount at the end of a year into present value, UPV an
amount that recurs every year, UPV* one that recurs and grows. Rates are shares a year (0.03 is 3 %); amounts are
paid at the end of their year unless said otherwise.

References
----------
Fuller & Petersen, *Life-Cycle Costing Manual for the Federal Energy Management Program*, NIST Handbook 135, 1995.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def spv(rate: ArrayLike, years: ArrayLike) -> Floats:
    """Single present value factor, 1 / (1 + rate)^years.

    Parameters
    ----------
    rate : discount rate a year, above -1.
    years : when the amount is paid, from now, >= 0.

    Raises
    ------
    ValueError
        If a rate is -100 % or less, or a time is negative or not finite.
    """
    return np.asarray((1.0 + _rate("rate", rate)) ** -_years(years))


def upv(rate: ArrayLike, years: ArrayLike) -> Floats:
    """Uniform present value factor: one unit at the end of each of `years` (whole) years."""
    return upv_star(rate, 0.0, years)


def upv_star(rate: ArrayLike, growth: ArrayLike, years: ArrayLike) -> Floats:
    """Modified uniform present value factor: sum over t = 1 .. years of ((1 + growth) / (1 + rate))^t."""
    count = _years(years)
    if not (count == np.floor(count)).all():
        raise ValueError("A yearly amount recurs a whole number of times.")
    ratio = (1.0 + _rate("growth", growth)) / (1.0 + _rate("rate", rate))
    apart = np.abs(ratio - 1.0) > 1e-9
    safe = np.where(apart, ratio, 2.0)
    return np.asarray(np.where(apart, safe * (safe**count - 1.0) / (safe - 1.0), count))


def npv(rate: float, flows: ArrayLike) -> Floats:
    """Net present value of flows (..., T), of which the first is paid now and not discounted."""
    amounts = np.asarray(flows, float)
    if not np.isfinite(amounts).all():
        raise ValueError("A flow of money is not a number.")
    return np.asarray(amounts @ spv(rate, np.arange(amounts.shape[-1])))


def real_rate(nominal: ArrayLike, inflation: ArrayLike) -> Floats:
    """The rate that money really earns: (1 + nominal) / (1 + inflation) - 1."""
    return np.asarray((1.0 + _rate("nominal", nominal)) / (1.0 + _rate("inflation", inflation)) - 1.0)


def nominal_rate(real: ArrayLike, inflation: ArrayLike) -> Floats:
    """The rate in money of the day: (1 + real) (1 + inflation) - 1."""
    return np.asarray((1.0 + _rate("real", real)) * (1.0 + _rate("inflation", inflation)) - 1.0)


def _rate(name: str, value: ArrayLike) -> Floats:
    rate = np.asarray(value, float)
    bad = ~((rate > -1.0) & np.isfinite(rate))
    if bad.any():
        raise ValueError(
            f"{name} must be above -100 % a year and finite, got {float(rate[bad].flat[0]):.0%}."
        )
    return rate


def _years(value: ArrayLike) -> Floats:
    years = np.asarray(value, float)
    bad = ~((years >= 0) & np.isfinite(years))
    if bad.any():
        raise ValueError(f"years must be 0 or more, got {float(years[bad].flat[0]):g}.")
    return years
