"""Files of lives, one row a unit, read with the line of everything that is wrong."""

from __future__ import annotations

import os
from typing import Any

import numpy as np

from estimator.casefile.lists import read_rows
from estimator.problems import InputError, Problem
from estimator.wear.observed import CLOCKS, COLUMNS

_NUMBERS = tuple(c for c in COLUMNS if c != "component")
_WORDS = {"yes": 1.0, "no": 0.0, "true": 1.0, "false": 0.0}


def read_lives(path: str | os.PathLike[str]) -> dict[str, list[Any]]:
    """Columns of a file of lives: `distance` and / or `years`, `failed`, and the optional ones.

    Raises
    ------
    InputError
        Naming file, line and column of everything that is wrong.
    """
    name = os.fspath(path)
    rows = list(read_rows(path, allowed=frozenset(COLUMNS)))
    if not rows:
        raise InputError(Problem(name, None, "", "there is a head but not a single row"))
    used = [c for c in COLUMNS if any(c in row.cells for row in rows)]
    problems: list[Problem] = []
    if not any(c in used for c in CLOCKS):
        problems.append(Problem(name, 1, "", "a column distance, years or both is needed"))
    if "failed" not in used:
        problems.append(Problem(name, 1, "", "a column failed is needed: 1 failed, 0 still running"))
    out: dict[str, list[Any]] = {c: [] for c in used}
    for row in rows:
        for column in used:
            value = _value(name, row.line, column, row.cells.get(column), problems)
            out[column].append(value)
    if problems:
        raise InputError(problems)
    return out


def _value(name: str, line: int, column: str, cell: str | None, problems: list[Problem]) -> Any:
    if column == "component":
        return cell or ""
    needed = column in (*CLOCKS, "failed")
    if cell is None:
        if needed:
            problems.append(Problem(name, line, column, "is empty; every row needs it where one has it"))
        return np.nan
    value = _WORDS.get(cell.lower()) if column == "failed" else None
    if value is None:
        try:
            value = float(cell)
        except ValueError:
            value = float("nan")
    low = 0.0 if column.startswith("entry") or column == "failed" else None
    good = np.isfinite(value) and (value >= 0 if low is not None else value > 0)
    if column == "failed":
        good = value in (0.0, 1.0)
    if not good:
        allowed = (
            "1 (failed) or 0 (still running)"
            if column == "failed"
            else "a number, 0 or more"
            if low is not None
            else "a number above 0"
        )
        problems.append(Problem(name, line, column, f"must be {allowed}; found {cell!r}"))
    return value
