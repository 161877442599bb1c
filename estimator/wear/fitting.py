"""Lives from a club's or a workshop's records, parts still running included: Weibull by maximum likelihood.

A unit is observed from its entry (0 unless it was already in use when records began) to the life it reached, and
either failed there or was still running. With one clock (distance or years) its likelihood is

    L = h(x)^failed exp(-H(x) + H(entry)),   H(x) = (x / scale)^shape

With both clocks the two hazards add, H(m, t) = (m / eta_m)^beta_m + (t / eta_t)^beta_t, and the rate of failing is
taken along the unit's own use: distance in proportion to time.

References
----------
Meeker & Escobar, *Statistical Methods for Reliability Data*, 1998, ch. 7, 8 and 11.4 (left truncation).
Likelihood-ratio intervals: the same, section 8.3.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import optimize
from scipy.special import chdtri

from estimator.wear.life import weibull_from_quantiles
from estimator.wear.observed import Units, units_of

Floats = NDArray[np.float64]
_WIDEST = np.log(1e6)  # an interval's end further than this factor from the estimate is reported as none
_SAME_FIT = 1e-3  # log likelihood a second clock must add to count as seen in the data


@dataclass(frozen=True)
class ClockFit:
    """Weibull of one clock: estimate and likelihood-ratio interval of shape and scale (None: unbounded)."""

    shape: float
    scale: float
    shape_interval: tuple[float | None, float | None]
    scale_interval: tuple[float | None, float | None]


@dataclass(frozen=True)
class Blend:
    """Fit and elicited prior put together on log B10 and log B50: `weight` is the data's share."""

    b10: float
    b50: float
    shape: float
    scale: float
    weight: float
    prior: tuple[float, float]


@dataclass(frozen=True)
class LifeFit:
    """A fitted life. b10 and b50 on `unit` (with both clocks: years at the units' own distance a year)."""

    clocks: dict[str, ClockFit]
    b10: float
    b50: float
    unit: str
    distance_per_year: float | None
    log_likelihood: float
    n: int
    failed: int
    level: float
    blend: Blend | None = None
    notes: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """The JSON of `fit`."""
        return {
            "clocks": {
                name: {
                    "shape": c.shape,
                    "scale": c.scale,
                    "shape_interval": list(c.shape_interval),
                    "scale_interval": list(c.scale_interval),
                }
                for name, c in self.clocks.items()
            },
            "b10": self.b10,
            "b50": self.b50,
            "unit": self.unit,
            "distance_per_year": self.distance_per_year,
            "log_likelihood": self.log_likelihood,
            "n": self.n,
            "failed": self.failed,
            "level": self.level,
            "blend": None if self.blend is None else {**self.blend.__dict__, "prior": list(self.blend.prior)},
            "notes": list(self.notes),
        }


def fit_life(
    frame: Mapping[str, Any],
    *,
    component: str | None = None,
    level: float = 0.95,
    prior: tuple[float, float] | None = None,
    prior_worth: float = 5.0,
) -> LifeFit:
    """Weibull life of the units in a frame, with intervals, blended with an elicited prior if one is given.

    Parameters
    ----------
    frame : columns as in `observed.COLUMNS` (a pandas DataFrame or a mapping of sequences): `distance`, `years`
        or both, and `failed` (1 failed, 0 still running); the rest optional.
    component : which of several components; None where the frame holds one.
    level : of the likelihood-ratio intervals, inside 0 to 1.
    prior : elicited (B10, B50) on the clock of the result; prior_worth : failures it counts like.

    Raises
    ------
    ValueError
        Naming the column or the row and what is wrong with it.
    """
    if not 0 < level < 1:
        raise ValueError(f"level must lie inside 0 to 1, got {level:g}.")
    if not (prior_worth >= 0 and np.isfinite(prior_worth)):
        raise ValueError(f"prior_worth must be 0 or more failures, got {prior_worth:g}.")
    units = units_of(frame, component=component)
    notes: list[str] = []
    fit = _best(units, notes)
    clocks = {
        clock: ClockFit(
            shape=float(np.exp(fit.log_parameters[2 * i])),
            scale=float(np.exp(fit.log_parameters[2 * i + 1])),
            shape_interval=fit.interval(2 * i, level),
            scale_interval=fit.interval(2 * i + 1, level),
        )
        for i, clock in enumerate(fit.clocks)
    }
    rate = None
    if len(fit.clocks) == 2:
        weight = units.count
        rate = float((weight * units.life["distance"]).sum() / (weight * units.life["years"]).sum())
    b10, b50 = (_quantile(clocks, share, rate) for share in (0.1, 0.5))
    failures = int(units.count[units.failed].sum())
    return LifeFit(
        clocks=clocks,
        b10=b10,
        b50=b50,
        unit="years" if rate is not None else fit.clocks[0],
        distance_per_year=rate,
        log_likelihood=fit.log_likelihood,
        n=int(units.count.sum()),
        failed=failures,
        level=level,
        blend=None if prior is None else blend(b10, b50, prior=prior, failures=failures, worth=prior_worth),
        notes=tuple(notes),
    )


def blend(b10: float, b50: float, *, prior: tuple[float, float], failures: float, worth: float) -> Blend:
    """Geometric mean of fitted and elicited quantiles, the prior counting like `worth` failures.

    Raises
    ------
    ValueError
        Unless 0 < B10 < B50 in both, and the weights are not both 0.
    """
    weibull_from_quantiles([b10, prior[0]], [b50, prior[1]])
    if not failures + worth > 0:
        raise ValueError("Neither the data nor the prior has any weight.")
    weight = failures / (failures + worth)
    both = [
        float(np.exp(weight * np.log(a) + (1 - weight) * np.log(b)))
        for a, b in ((b10, prior[0]), (b50, prior[1]))
    ]
    shape, scale = weibull_from_quantiles(*both)
    return Blend(both[0], both[1], float(shape), float(scale), weight, prior)


# --- the likelihood -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Fit:
    """A maximum: clocks in order, log of (shape, scale) per clock, and the likelihood it stands on."""

    clocks: tuple[str, ...]
    log_parameters: Floats
    log_likelihood: float
    minus: Callable[[Floats], float]

    def interval(self, index: int, level: float) -> tuple[float | None, float | None]:
        """Where twice the drop of the profile likelihood reaches the chi-square quantile."""
        drop = float(chdtri(1, 1 - level)) / 2
        here = float(self.log_parameters[index])

        def excess(value: float) -> float:
            return self.log_likelihood + self._profile(index, value) - drop

        ends: list[float | None] = []
        for sign in (-1.0, 1.0):
            reach, step = None, 0.1
            while step <= _WIDEST:
                if excess(here + sign * step) > 0:
                    reach = step
                    break
                step *= 1.6
            if reach is None:
                ends.append(None)
                continue
            inner = 0.0 if reach == 0.1 else reach / 1.6
            root = optimize.brentq(lambda s, g=sign: excess(here + g * s), inner, reach, xtol=1e-7)
            ends.append(float(np.exp(here + sign * root)))
        return ends[0], ends[1]

    def _profile(self, index: int, value: float) -> float:
        """Minus log likelihood with one parameter held and the rest at their best."""
        others = np.delete(self.log_parameters, index)

        def held(rest: Floats) -> float:
            return self.minus(np.insert(rest, index, value))

        if others.size == 1:
            return float(_minimum(held, others)[1])
        near = optimize.minimize(held, others, method="BFGS", options={"gtol": 1e-5})
        return float(near.fun) if near.success else min(float(near.fun), _minimum(held, others)[1])


def _best(units: Units, notes: list[str]) -> _Fit:
    """The fit with every clock the data can tell; a clock that adds nothing is left out and noted."""
    clocks = tuple(units.life)
    single = [_one_clock(units, clock) for clock in clocks]
    if len(clocks) == 1:
        return single[0]
    minus = _minus_log_likelihood(units, clocks)
    starts = []
    for share in (0.5, 0.15, 0.85):
        parameters = []
        for fit, part in zip(single, (share, 1 - share), strict=True):
            shape = np.exp(fit.log_parameters[0])
            parameters += [fit.log_parameters[0], fit.log_parameters[1] - np.log(part) / shape]
        starts.append(np.array(parameters))
    at, value = min((_minimum(minus, start) for start in starts), key=lambda found: found[1])
    alone = [_minus_log_likelihood(units, clocks, only=i) for i in range(2)]
    best_alone = min((m(f.log_parameters), i) for i, (m, f) in enumerate(zip(alone, single, strict=True)))
    if -value < -best_alone[0] + _SAME_FIT:
        kept = single[best_alone[1]]
        notes.append(f"the other clock adds nothing the data can show: {kept.clocks[0]} alone is reported")
        return kept
    return _Fit(clocks, at, -value, minus)


def _one_clock(units: Units, clock: str) -> _Fit:
    minus = _minus_log_likelihood(units, (clock,))
    life = units.life[clock][units.failed]
    spread = max(float(np.log(life).std()), 0.05)
    start = np.array([np.log(1.2 / spread), np.log(float(np.quantile(units.life[clock], 0.8)))])
    at, value = _minimum(minus, start)
    return _Fit((clock,), at, -value, minus)


def _minus_log_likelihood(
    units: Units, clocks: tuple[str, ...], *, only: int | None = None
) -> Callable[[Floats], float]:
    """Function of log (shape, scale) per clock; `only`: both clocks' rate of failing, but one clock's hazard."""
    used = range(len(clocks)) if only is None else (only,)
    log_life = [np.log(units.life[c]) for c in clocks]
    with np.errstate(divide="ignore"):
        log_entry = [np.log(units.entry[c]) for c in clocks]
    # the rate of failing per unit of time (of the only clock where there is one)
    per = log_life[-1]

    def minus(parameters: Floats) -> float:
        hazard = np.zeros(per.size)
        rate = np.zeros(per.size)
        for place, i in enumerate(used):
            log_shape, log_scale = parameters[2 * place], parameters[2 * place + 1]
            shape = np.exp(np.clip(log_shape, -20, 8))
            reached = np.exp(np.clip(shape * (log_life[i] - log_scale), -700, 700))
            hazard += reached - np.exp(np.clip(shape * (log_entry[i] - log_scale), -700, 700))
            rate += shape * reached / np.exp(per)
        terms = np.where(units.failed, np.log(np.maximum(rate, 1e-300)), 0.0) - hazard
        return -float(units.count @ terms)

    return minus


def _minimum(function: Callable[[Floats], float], start: Floats) -> tuple[Floats, float]:
    """Minimum of a smooth function of few variables: downhill simplex, then quasi-Newton from there."""
    if start.size == 1:
        found = optimize.minimize_scalar(
            lambda x: function(np.array([x])),
            bracket=(float(start[0]) - 0.1, float(start[0]) + 0.1),
            tol=1e-11,
        )
        return np.atleast_1d(found.x), float(found.fun)
    rough = optimize.minimize(
        function,
        start,
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000, "maxfev": 8000},
    )
    fine = optimize.minimize(function, rough.x, method="BFGS", options={"gtol": 1e-9})
    return (fine.x, float(fine.fun)) if fine.fun <= rough.fun else (rough.x, float(rough.fun))


def _quantile(clocks: dict[str, ClockFit], share: float, rate: float | None) -> float:
    """Life by which this share has failed, on the one clock, or in years at `rate` distance a year."""
    wanted = -np.log1p(-share)
    if rate is None:
        (only,) = clocks.values()
        return float(only.scale * wanted ** (1 / only.shape))

    def excess(log_years: float) -> float:
        years = np.exp(log_years)
        use = {"distance": years * rate, "years": years}
        total = sum((use[name] / c.scale) ** c.shape for name, c in clocks.items())
        return float(np.log(total) - np.log(wanted))

    middle = np.log(clocks["years"].scale)
    return float(np.exp(optimize.brentq(excess, middle - 30, middle + 30)))
