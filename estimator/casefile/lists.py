"""Many cars, or one car's history, as CSV: the keys of a case file as columns, a row for each.

A list of cars has the keys of [car] and [money] as columns; a history has the keys of [[work]],
[[reading]] and [[test]] and a column `kind` that says which a row is. Empty cells are keys left out.
Several values in a cell are separated by spaces. Columns are separated by commas or semicolons.
"""

from __future__ import annotations

import csv
import dataclasses
import datetime
import io
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from estimator.casefile.records import LISTS, TABLES
from estimator.files import (
    Document,
    InputError,
    KeyPath,
    Problem,
    decode_text,
    listed,
    nearest,
    read_bytes,
    read_toml,
)

MAX_LIST_BYTES = 20_000_000
CASE_IN_FOLDER = "case.toml"
KINDS = ("work", "reading", "test")


@dataclasses.dataclass(frozen=True, slots=True)
class Row:
    """One row of a CSV file: the line it starts on and its filled cells."""

    line: int
    cells: dict[str, str]


def read_rows(path: str | os.PathLike[str], *, allowed: frozenset[str]) -> Iterator[Row]:
    """Rows of a CSV file with a header.

    Raises
    ------
    InputError
        When the file cannot be read, a column is unknown or named twice; while iterating, when a row
        has more cells than there are columns.
    """
    name = os.fspath(path)
    text = decode_text(read_bytes(path, max_bytes=MAX_LIST_BYTES), name)
    first = text.lstrip("\r\n").split("\n", 1)[0]
    reader = csv.reader(
        io.StringIO(text), delimiter=";" if first.count(";") > first.count(",") else ",", strict=True
    )
    header: list[str] = []
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if not header:
                header = _header(cells, name, reader.line_num, allowed)
                continue
            start = reader.line_num - sum(cell.count("\n") for cell in cells)
            if len(cells) > len(header):
                text = (
                    f"{len(cells)} values for {len(header)} columns: quote any value that holds the separator"
                )
                raise InputError(Problem(name, start, "", text))
            filled = {key: cell.strip() for key, cell in zip(header, cells, strict=False) if cell.strip()}
            yield Row(start, filled)
    except csv.Error as error:
        raise InputError(Problem(name, reader.line_num, "", f"this is not valid CSV: {error}")) from None


def _header(cells: list[str], name: str, line: int, allowed: frozenset[str]) -> list[str]:
    header = [cell.strip() for cell in cells]
    problems = []
    for index, column in enumerate(header):
        if column not in allowed:
            close = nearest(column, allowed)
            hint = f' (did you mean "{close}"?)' if close else ""
            text = f'unknown column "{column}"{hint}; allowed: {listed(sorted(allowed), most=60)}'
            problems.append(Problem(name, line, "", text))
        elif column in header[:index]:
            problems.append(Problem(name, line, "", f'the column "{column}" is there twice'))
    if problems:
        raise InputError(problems)
    return header


# --- many cars -----------------------------------------------------------------------------------------


def _columns() -> dict[str, tuple[str, Any]]:
    return {name: (table, kind) for table in ("car", "money") for name, kind in _keys_of(table).items()}


def case_documents(path: str | os.PathLike[str]) -> Iterator[Document]:
    """A document for every row of a list of cars, ready to be read as a case; its lines are the row's.

    A cell `folder` names a folder (as seen from the list) with a file case.toml that says more about the
    car; what the row says goes before it. Raises InputError as `read_rows`; for a wrong `folder` too.
    """
    columns, name = _columns(), os.fspath(path)
    for row in read_rows(path, allowed=frozenset(columns) | {"folder", "format"}):
        data: dict[str, Any] = {"format": 1, "car": {}, "money": {}}
        if "folder" in row.cells:
            more = read_toml(Path(name).parent / row.cells["folder"] / CASE_IN_FOLDER).data
            data = {**data, **more, "car": {**more.get("car", {})}, "money": {**more.get("money", {})}}
        for column, cell in row.cells.items():
            if column in columns:
                table, annotation = columns[column]
                data[table][column] = cell_value(cell, annotation)
        yield Document(name, data, _Everywhere(row.line), "")


class _Everywhere(dict[KeyPath, int]):
    """Lines of a document that stands on one row: every key is on it."""

    def __init__(self, line: int) -> None:
        super().__init__()
        self.line = line

    def get(self, key: Any, default: Any = None) -> Any:
        return self.line


# --- a history -----------------------------------------------------------------------------------------


def history_document(path: str | os.PathLike[str]) -> Document:
    """Work, readings and tests of a CSV history as the [[work]], [[reading]], [[test]] of a case file.

    Raises InputError as `read_rows`, and for a row whose `kind` is none of the three.
    """
    name = os.fspath(path)
    keys = {kind: _keys_of(kind) for kind in KINDS}
    allowed = frozenset(key for columns in keys.values() for key in columns) | {"kind"}
    data: dict[str, list[dict[str, Any]]] = {kind: [] for kind in KINDS}
    lines: dict[KeyPath, int] = {}
    problems = []
    for row in read_rows(path, allowed=allowed):
        kind = row.cells.get("kind", "work")
        if kind not in KINDS:
            problems.append(Problem(name, row.line, "kind", f"found {kind}; allowed: {listed(KINDS)}"))
            continue
        annotations = keys[kind]
        entry = {
            key: cell_value(cell, annotations.get(key)) for key, cell in row.cells.items() if key != "kind"
        }
        lines[(kind, len(data[kind]))] = row.line
        data[kind].append(entry)
    if problems:
        raise InputError(problems)
    return Document(name, {kind: entries for kind, entries in data.items() if entries}, lines, "")


def _keys_of(table: str) -> dict[str, Any]:
    fields: dict[str, Any] = {**TABLES, **LISTS}[table].__pydantic_fields__  # type: ignore[attr-defined]
    return {name: info.annotation for name, info in fields.items()}


# --- cells ---------------------------------------------------------------------------------------------

_TRUE, _FALSE = ("true", "yes", "1"), ("false", "no", "0")


def cell_value(cell: str, annotation: Any) -> Any:
    """A cell as the kind of value its key takes; as text when it cannot be that (the reader will say so)."""
    kind = str(annotation)
    if "tuple" in kind:
        pieces = [piece for piece in re.split(r"[\s|]+", cell) if piece]
        return [_number(piece) for piece in pieces] if "float" in kind or "int" in kind else pieces
    if "bool" in kind:
        word = cell.lower()
        return True if word in _TRUE else False if word in _FALSE else cell
    if "date" in kind:
        return _date(cell)
    if "float" in kind or "int" in kind:
        return _number(cell)
    return cell


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
