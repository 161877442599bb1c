"""Lives of parts from a file or a frame, one row a unit, with the row of everything that is wrong; and their fit.

found = fit_life("lives.csv", component="water-pump")      # or a DataFrame with the same columns
found.b50, found.clocks["years"].shape_interval
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Any

import numpy as np

from estimator.casefile.cells import plain_value
from estimator.casefile.frames import rows_of
from estimator.casefile.lists import read_rows
from estimator.problems import InputError, Problem, shown
from estimator.wear import fitting
from estimator.wear.fitting import LifeFit
from estimator.wear.observed import CLOCKS, COLUMNS

_WORDS = {"yes": 1.0, "no": 0.0, "true": 1.0, "false": 0.0}


def fit_life(
    lives: Any,
    *,
    component: str | None = None,
    level: float = 0.95,
    prior: tuple[float, float] | None = None,
    prior_worth: float = 5.0,
    name: str = "lives",
) -> LifeFit:
    """Weibull life of a component from units that failed or are still running, with likelihood-ratio intervals.

    Parameters
    ----------
    lives
        Path of a CSV file, or a frame (DataFrame, mapping of columns, list of mappings): a row a unit with
        `distance`, `years` or both (life reached, above 0, in any one unit), `failed` (1 or true: failed there;
        0: still running) and, where known, `entry_distance`, `entry_years` (age when watching began, default 0),
        `count` (units like this one, default 1), `component`.
    component
        Which of several components; None where the rows are of one.
    level
        Of the intervals, inside 0 to 1.
    prior, prior_worth
        Elicited (B10, B50) on the clock of the result, blended in as if it were so many failures.
    name
        What messages call a frame.

    Returns
    -------
    LifeFit
        Shape and scale by clock with intervals, B10 and B50 in the unit given, log likelihood, counts, the blend.

    Raises
    ------
    InputError
        Naming file, row and column of everything that is wrong, or the setting; also for fewer than two failures at
        different lives.

    References
    ----------
    Meeker & Escobar, *Statistical Methods for Reliability Data*, 1998, ch. 7, 8 and 11.4.
    """
    called = os.fspath(lives) if isinstance(lives, str | os.PathLike) else name
    columns = read_lives(lives, name=name)
    try:
        return fitting.fit_life(
            columns, component=component, level=level, prior=prior, prior_worth=prior_worth
        )
    except ValueError as error:
        raise InputError(Problem(called, None, "", str(error))) from None


def read_lives(lives: Any, *, name: str = "lives") -> dict[str, list[Any]]:
    """Columns of a file or frame of lives: `distance` and / or `years`, `failed`, and the optional ones.

    Raises
    ------
    InputError
        Naming file, line (of a frame: row) and column of everything that is wrong.
    """
    allowed = frozenset(COLUMNS)
    if isinstance(lives, str | os.PathLike):
        file = _Source(os.fspath(lives))
        rows = [(row.line, row.cells) for row in read_rows(lives, allowed=allowed)]
        return _columns(file, rows)
    file = _Source(name, frame=True)
    found = rows_of(lives, name=name, allowed=allowed)
    filled = [{k: one for k, v in row.items() if (one := plain_value(v)) not in (None, "")} for row in found]
    return _columns(file, list(enumerate(filled, start=1)))


@dataclass(frozen=True)
class _Source:
    """Where rows come from, and how a fault in one of them is said."""

    name: str
    frame: bool = False

    def problem(self, row: int | None, column: str, text: str) -> Problem:
        if self.frame:
            return Problem(self.name if row is None else f"{self.name}, row {row}", None, column, text)
        return Problem(self.name, row, column, text)


def _columns(source: _Source, rows: list[tuple[int, dict[str, Any]]]) -> dict[str, list[Any]]:
    if not rows:
        raise InputError(source.problem(None, "", "there is a head but not a single row"))
    used = [c for c in COLUMNS if any(c in cells for _, cells in rows)]
    problems: list[Problem] = []
    head = None if source.frame else 1
    if not any(c in used for c in CLOCKS):
        problems.append(source.problem(head, "", "a column distance, years or both is needed"))
    if "failed" not in used:
        problems.append(source.problem(head, "", "a column failed is needed: 1 failed, 0 still running"))
    out: dict[str, list[Any]] = {c: [] for c in used}
    for row, cells in rows:
        for column in used:
            value, fault = _value(column, cells.get(column))
            if fault:
                problems.append(source.problem(row, column, fault))
            out[column].append(value)
    if problems:
        raise InputError(problems)
    return out


def _value(column: str, cell: Any) -> tuple[Any, str]:
    """(value of a cell, what is wrong with it)."""
    if column == "component":
        return ("" if cell is None else str(cell)), ""
    needed = column in (*CLOCKS, "failed")
    if cell is None:
        return np.nan, "is empty; every row needs it where one has it" if needed else ""
    value = _WORDS.get(str(cell).lower()) if column == "failed" else None
    if value is None:
        try:
            value = float(cell)
        except (TypeError, ValueError):
            value = float("nan")
    if column == "failed":
        good, allowed = value in (0.0, 1.0), "1 (failed) or 0 (still running)"
    elif column.startswith("entry"):
        good, allowed = bool(np.isfinite(value) and value >= 0), "a number, 0 or more"
    else:
        good, allowed = bool(np.isfinite(value) and value > 0), "a number above 0"
    found = repr(cell) if isinstance(cell, str) else shown(cell)
    return value, "" if good else f"must be {allowed}; found {found}"
