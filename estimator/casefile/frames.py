"""Cars and their entries from tables in memory: the keys of a case file as columns or as keys of a mapping.

A frame is a pandas DataFrame, a mapping of columns (name -> values) or a list of mappings, one a row. pandas is not
imported for it. Values may be pandas', numpy's or Python's own, or text as it would stand in a CSV file; what is
missing (None, not-a-number, NaT, NA, blank text) is a key left out.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from estimator.casefile.cells import native, plain_value
from estimator.casefile.joined import Cells
from estimator.casefile.lists import (
    KINDS,
    history_columns,
    keys_of,
    refuse_columns,
    scalar_keys,
    with_folder,
)
from estimator.casefile.records import LISTS, TABLES
from estimator.files import Document, InputError, Problem, listed, nearest, shown

Rows = list[dict[str, Any]]


def rows_of(frame: Any, *, name: str, allowed: Collection[str]) -> Rows:
    """Rows of a frame as mappings; `name` is what messages call it.

    Raises
    ------
    InputError
        For what is no frame, for columns of unequal length, an unknown column or one that is there twice.
    """
    columns = getattr(frame, "columns", None)
    if columns is not None and hasattr(frame, "to_dict"):
        refuse_columns([str(one) for one in columns], name=name, line=None, allowed=allowed)
        return [{str(key): value for key, value in row.items()} for row in frame.to_dict("records")]
    if isinstance(frame, Mapping):
        return _of_columns(frame, name=name, allowed=allowed)
    if isinstance(frame, Iterable) and not isinstance(frame, str | bytes):
        rows = [_mapping(row, name=f"{name}, row {place}") for place, row in enumerate(frame, start=1)]
        refuse_columns(
            list(dict.fromkeys(k for row in rows for k in row)), name=name, line=None, allowed=allowed
        )
        return rows
    raise InputError(Problem(name, None, "", _wanted("a table is wanted: a DataFrame, a mapping of columns or a list "
                                                     "of mappings", frame)))  # fmt: skip


def _of_columns(frame: Mapping[Any, Any], *, name: str, allowed: Collection[str]) -> Rows:
    refuse_columns([str(one) for one in frame], name=name, line=None, allowed=allowed)
    columns = {}
    for key, values in frame.items():
        plain = plain_value(values)
        if isinstance(plain, str | bytes) or not isinstance(plain, Iterable):
            text = _wanted("a column of values is wanted", values)
            raise InputError(Problem(name, None, str(key), text))
        columns[str(key)] = list(plain)
    lengths = {key: len(values) for key, values in columns.items()}
    if len(set(lengths.values())) > 1:
        found = ", ".join(f"{key} {length}" for key, length in lengths.items())
        raise InputError(Problem(name, None, "", f"columns of one length are wanted; found {found}"))
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def _mapping(row: Any, *, name: str) -> dict[str, Any]:
    plain = row if isinstance(row, Mapping) else row.to_dict() if hasattr(row, "to_dict") else None
    if not isinstance(plain, Mapping):
        raise InputError(Problem(name, None, "", _wanted("a mapping of keys and values is wanted", row)))
    return {str(key): value for key, value in plain.items()}


def _wanted(text: str, value: Any) -> str:
    return f"{text}; found {type(value).__name__} {shown(str(value))}"


def _filled(row: Mapping[str, Any], keys: Mapping[str, Any]) -> dict[str, Any]:
    """A row as one table of the file: every value as its key takes it, missing ones left out."""
    values = {key: native(value, keys.get(key)) for key, value in row.items()}
    return {key: value for key, value in values.items() if value is not None}


# --- one car -------------------------------------------------------------------------------------------


def case_document(source: Any) -> Document:
    """One car from a mapping or a row of a frame (a pandas Series), ready to be read as a case.

    Its keys are those of [car] and [money]; or tables of the file ("car", "money", "bought" ...) with a mapping, or
    lists ("work", "finding" ...) with a frame; or both.

    Raises
    ------
    InputError
        For what is no mapping, or an unknown key.
    """
    given = _mapping(source, name="case")
    scalars = scalar_keys()
    data: dict[str, Any] = {"format": 1, "car": {}, "money": {}}
    name = _name(given)
    every = (*scalars, *TABLES, *LISTS, "format")
    refuse_columns(list(given), name=name, line=None, allowed=every, what="key")
    for key, value in given.items():
        if key in scalars:
            table, annotation = scalars[key]
            filled = native(value, annotation)
            if filled is not None:
                data[table][key] = filled
        elif key in LISTS:
            data[key] = _entries(key, value)
        elif key in TABLES:
            data[key] = _table(key, value, data.get(key, {}))
        elif key == "format":
            data[key] = native(value, int)
    return Cells(name, {key: value for key, value in data.items() if value is not None}, {}, "")


def _name(given: Mapping[str, Any]) -> str:
    car = given.get("car")
    inside = car.get("name") if isinstance(car, Mapping) else None
    return str(native(given.get("name"), str) or inside or "case")


def _table(key: str, value: Any, before: dict[str, Any]) -> Any:
    """A table given whole, scalars given beside it kept; as it is where it is no mapping (the reader will say so)."""
    if hasattr(value, "to_dict"):
        value = value.to_dict()
    if plain_value(value) is None:
        return before or None
    return {**before, **_filled(value, keys_of(key))} if isinstance(value, Mapping) else value


def frame_documents(frame: Any) -> Iterator[Document]:
    """A document for every row of a list of cars in memory, as `case_document`. Raises InputError as `rows_of`."""
    allowed = (*scalar_keys(), "folder", "format")
    for place, row in enumerate(rows_of(frame, name="list of cars", allowed=allowed), start=1):
        folder = native(row.pop("folder", None), str)
        data = case_document(row).data
        whole = data if folder is None else with_folder(data, Path(folder))
        yield Cells(f"list of cars, row {place}", whole, {}, "")


# --- entries -------------------------------------------------------------------------------------------


def entries_document(table: str, frame: Any) -> Document:
    """The rows of a frame as entries of one list of the file ("work", "finding" ...).

    Raises
    ------
    InputError
        For an unknown list, and as `rows_of`.
    """
    if table not in LISTS:
        close = nearest(table, LISTS)
        hint = f' (did you mean "{close}"?)' if close else ""
        text = f'unknown table "{table}"{hint}; allowed: {listed(LISTS)}'
        raise InputError(Problem("case", None, "", text))
    return Cells(f"table {table}", {table: _entries(table, frame)}, {}, "")


def _entries(table: str, frame: Any) -> Rows:
    keys = keys_of(table)
    if frame is None:
        return []
    rows = (_filled(row, keys) for row in rows_of(frame, name=f"table {table}", allowed=keys))
    return [row for row in rows if row]


def history_from_frame(frame: Any) -> Document:
    """The rows of a history in memory, each of the `kind` it names, as the lists of the file.

    Raises
    ------
    InputError
        As `rows_of`, and for a row whose `kind` is none of the lists.
    """
    data: dict[str, Rows] = {}
    problems = []
    for place, row in enumerate(rows_of(frame, name="history", allowed=history_columns()), start=1):
        kind = native(row.pop("kind", None), str) or "work"
        if kind not in KINDS:
            text = f"found {kind}; allowed: {listed(KINDS)}"
            problems.append(Problem(f"history, row {place}", None, "kind", text))
            continue
        data.setdefault(kind, []).append(_filled(row, keys_of(kind)))
    if problems:
        raise InputError(problems)
    return Cells("history", data, {}, "")
