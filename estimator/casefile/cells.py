"""One cell of a table, from text or from pandas, numpy or Python, as the kind of value its key takes."""

from __future__ import annotations

import datetime
import math
import re
import types
import typing
from typing import Any

_TRUE, _FALSE = ("true", "yes", "1"), ("false", "no", "0")


def key_kind(annotation: Any) -> tuple[Any, bool]:
    """(plain type of a key's values, whether it takes several): str for words and texts, None for an unknown key."""
    origin, inside = typing.get_origin(annotation), typing.get_args(annotation)
    if origin is typing.Annotated:
        return key_kind(inside[0])
    if origin in (typing.Union, types.UnionType):
        return next(key_kind(one) for one in inside if one is not types.NoneType)
    if origin is tuple:
        return key_kind(inside[0])[0], True
    return (str, False) if origin is typing.Literal else (annotation, False)


def cell_value(cell: str, annotation: Any) -> Any:
    """A cell's text as the kind of value its key takes; as text when it cannot be that (the reader will say so).

    Several values are separated by spaces or |.
    """
    kind, several = key_kind(annotation)
    if several:
        return [_from_text(piece, kind) for piece in re.split(r"[\s|]+", cell) if piece]
    return _from_text(cell, kind)


def _from_text(cell: str, kind: Any) -> Any:
    if kind is bool:
        word = cell.lower()
        return True if word in _TRUE else False if word in _FALSE else cell
    if kind is datetime.date:
        return _date(cell)
    return _number(cell) if kind in (int, float) else cell


def _number(cell: str) -> Any:
    for kind in (int, float):
        try:
            return kind(cell)
        except ValueError:
            continue
    return cell


def _date(cell: str) -> Any:
    if re.fullmatch(r"\d{4}", cell):
        return int(cell)
    try:
        return datetime.date.fromisoformat(cell)
    except ValueError:
        return cell


def native(value: Any, annotation: Any) -> Any:
    """A value as pandas, numpy or Python hold it, as the kind its key takes; None where it is missing.

    Missing are None, not-a-number, NaT, NA and blank text. Text is read as a cell of a CSV file is; a day at
    midnight is a date, a whole number among decimals (1971.0) a year where a date is wanted. What cannot be turned
    stays what it was, and the reader will say so.
    """
    kind, several = key_kind(annotation)
    plain = plain_value(value)
    if isinstance(plain, str):
        return cell_value(plain.strip(), annotation) if plain.strip() else None
    if several and isinstance(plain, list):
        return [_as(kind, plain_value(one)) for one in plain]
    return _as(kind, plain)


def plain_value(value: Any) -> Any:
    """Python's own value of a scalar or an array of numpy or pandas; None where it is missing."""
    if hasattr(value, "dtype") and hasattr(value, "tolist"):
        value = value.astype("datetime64[us]").tolist() if value.dtype.kind == "M" else value.tolist()
    if type(value).__name__ in ("NaTType", "NAType"):  # pandas is not imported to ask
        return None
    if isinstance(value, float) and math.isnan(value):
        return None
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        return value.date()
    return list(value) if isinstance(value, tuple) else value


def _as(kind: Any, value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    whole = isinstance(value, int) or value.is_integer()
    if kind is bool and value in (0, 1):
        return bool(value)
    if kind is str:
        return str(int(value)) if whole else str(value)
    return int(value) if whole and kind in (int, datetime.date) else value
