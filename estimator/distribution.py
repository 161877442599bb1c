"""Summary of draws: the figures every output reports, each with its Monte Carlo standard error."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
KEYS = ("mean", "sd", "p10", "p50", "p80", "p90", "p95", "worst_fifth")
QUANTILES = {"p10": 0.1, "p50": 0.5, "p80": 0.8, "p90": 0.9, "p95": 0.95}


@dataclass(frozen=True)
class Distribution:
    """Mean, spread, quantiles and mean of the worst fifth of n draws; `se` holds their standard errors."""

    mean: float
    sd: float
    p10: float
    p50: float
    p80: float
    p90: float
    p95: float
    worst_fifth: float
    se: dict[str, float]

    def as_dict(self) -> dict[str, Any]:
        """For JSON, keys as fixed in README."""
        return {**{k: getattr(self, k) for k in KEYS}, "se": dict(self.se)}


def summarise(draws: ArrayLike) -> Distribution:
    """Summary of independent draws (n,), n >= 1.

    Standard errors: mean sd / sqrt(n); sd by the fourth moment; quantiles sqrt(q (1 - q) / n) / density with the
    density from the spacing of neighbouring quantiles; the tail mean by its influence function.

    References
    ----------
    Serfling, *Approximation Theorems of Mathematical Statistics*, 1980, sections 2.2 and 2.3.
    """
    x = np.sort(np.asarray(draws, float))
    n = x.size
    mean, sd = float(x.mean()), float(x.std(ddof=1)) if n > 1 else 0.0
    values: dict[str, float] = {"mean": mean, "sd": sd}
    se = {"mean": sd / np.sqrt(n), "sd": _sd_error(x, mean, sd)}
    for key, q in QUANTILES.items():
        values[key] = _quantile(x, q)
        se[key] = _quantile_error(x, q)
    edge = _quantile(x, 0.8)
    tail = x[int(np.floor(0.8 * n)) :]
    values["worst_fifth"] = float(tail.mean())
    spread = float(tail.var()) + 0.8 * (values["worst_fifth"] - edge) ** 2
    se["worst_fifth"] = float(np.sqrt(spread / max(0.2 * n, 1)))
    return Distribution(**values, se={k: float(se[k]) for k in KEYS})


def _quantile(ordered: Floats, q: float) -> float:
    place = q * (ordered.size - 1)
    low = int(place)
    high = min(low + 1, ordered.size - 1)
    return float(ordered[low] + (ordered[high] - ordered[low]) * (place - low))


def _quantile_error(ordered: Floats, q: float) -> float:
    n = ordered.size
    width = min(0.5 * n**-0.2 * np.sqrt(q * (1 - q)), q, 1 - q)
    spacing = (_quantile(ordered, q + width) - _quantile(ordered, q - width)) / (2 * width)
    return float(np.sqrt(q * (1 - q) / n) * spacing)


def _sd_error(x: Floats, mean: float, sd: float) -> float:
    if sd == 0:
        return 0.0
    square = (x - mean) ** 2
    fourth = float((square * square).mean())
    return float(np.sqrt(max(fourth - sd**4, 0.0) / (4 * x.size * sd**2)))
