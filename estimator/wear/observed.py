"""Units seen to fail or still running: rows of a life record, checked one by one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
CLOCKS = ("distance", "years")
COLUMNS = ("distance", "years", "failed", "entry_distance", "entry_years", "count", "component")


@dataclass(frozen=True)
class Units:
    """Observed units of one component. Arrays (n,); `life` and `entry` by clock, in the unit given.

    Raises
    ------
    ValueError
        Naming the row (counted from 1) and what is wrong with it.
    """

    life: dict[str, Floats]
    entry: dict[str, Floats]
    failed: NDArray[np.bool_]
    count: Floats

    def __post_init__(self) -> None:
        for clock, life in self.life.items():
            entry = self.entry[clock]
            _check(life > 0, f"{clock} must be above 0", life)
            _check(np.isfinite(life), f"{clock} must be a number", life)
            _check((entry >= 0) & np.isfinite(entry), f"entry_{clock} must be 0 or more", entry)
            _check(
                entry < life, f"entry_{clock} must be below {clock}: observation ends after it begins", entry
            )
        _check((self.count > 0) & np.isfinite(self.count), "count must be above 0", self.count)
        for clock, life in self.life.items():
            if self.failed.sum() < 2 or np.unique(life[self.failed]).size < 2:
                raise ValueError(
                    f"At least two failures at different lives are needed to say how lives spread; found "
                    f"{int(self.count[self.failed].sum())} failed of {int(self.count.sum())} ({clock})."
                )


def units_of(frame: Mapping[str, Any], *, component: str | None = None) -> Units:
    """The frame's rows as Units, of one component; ValueError naming column or row."""
    names = list(getattr(frame, "columns", frame.keys()))
    if "failed" not in names:
        raise ValueError(
            f"a column failed (1 failed, 0 still running) is needed; found {', '.join(map(str, names))}"
        )
    clocks = [c for c in CLOCKS if c in names]
    if not clocks:
        raise ValueError(f"a column distance, years or both is needed; found {', '.join(map(str, names))}")
    n = len(frame["failed"])
    keep = np.ones(n, dtype=bool)
    if "component" in names:
        keep = _of_component([str(c) for c in frame["component"]], component)
    elif component is not None:
        raise ValueError(
            f"there is no column component, so none can be chosen; found {', '.join(map(str, names))}"
        )
    if not keep.any():
        raise ValueError("there is not a single row")

    def numbers(name: str, default: float) -> Floats:
        if name not in names:
            return np.full(int(keep.sum()), default)
        values = np.asarray(frame[name], float)[keep]
        return np.where(np.isnan(values), default, values)

    failed = numbers("failed", np.nan)
    _check((failed == 0) | (failed == 1), "failed must be 1 (failed) or 0 (still running)", failed)
    return Units(
        life={c: numbers(c, np.nan) for c in clocks},
        entry={c: numbers(f"entry_{c}", 0.0) for c in clocks},
        failed=failed == 1,
        count=numbers("count", 1.0),
    )


def _of_component(column: list[str], component: str | None) -> NDArray[np.bool_]:
    known = list(dict.fromkeys(column))
    if component is None and len(known) > 1:
        raise ValueError(f"the rows are of several components; choose one of {', '.join(known[:20])}")
    if component is not None and component not in known:
        raise ValueError(f"no row is of the component {component!r}; there are {', '.join(known[:20])}")
    return np.array([component is None or c == component for c in column])


def _check(good: NDArray[np.bool_], text: str, values: Floats) -> None:
    if not good.all():
        row = int(np.argmin(good))
        raise ValueError(f"row {row + 1}: {text}; found {values[row]:g}")
