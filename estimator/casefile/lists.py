"""Many cars, or one car's history, as CSV or as a frame: the keys of a case file as columns, a row for each.

A list of cars has the keys of [car] and [money] as columns; a history has the keys of [[work]],
[[reading]], [[test]] and the other lists, and a column `kind` that says which a row is (work where it says
nothing). Empty cells are keys left out. Several values in a cell are separated by spaces. Columns of CSV are
separated by commas or semicolons. A frame is a pandas DataFrame, a mapping of columns or a list of mappings.
"""

from __future__ import annotations

import csv
import dataclasses
import io
import os
import re
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from typing import Any

from estimator.casefile.cells import cell_value, key_kind
from estimator.casefile.joined import Cells, OneRow
from estimator.casefile.records import FILE_KEYS, LISTS, TABLES
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
KINDS = ("work", "reading", "test", *(name for name in LISTS if name not in ("work", "reading", "test")))


@dataclasses.dataclass(frozen=True, slots=True)
class Row:
    """One row of a CSV file: the line it starts on and its filled cells."""

    line: int
    cells: dict[str, str]


def read_rows(path: str | os.PathLike[str], *, allowed: frozenset[str]) -> Iterator[Row]:
    """Filled rows of a CSV file with a header.

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
    plain = [re.sub(r"[\s-]+", "_", cell.lower()) for cell in header]  # "Date" and "own work" are meant
    header = [one if one in allowed else cell for one, cell in zip(plain, header, strict=True)]
    refuse_columns(header, name=name, line=line, allowed=allowed)
    return header


def refuse_columns(
    header: Sequence[str], *, name: str, line: int | None, allowed: Collection[str], what: str = "column"
) -> None:
    """InputError for every column (or key) that is not allowed or stands twice."""
    problems = []
    for index, column in enumerate(header):
        if column not in allowed:
            close = nearest(column, allowed)
            hint = f' (did you mean "{close}"?)' if close else ""
            text = f'unknown {what} "{column}"{hint}; allowed: {listed(sorted(allowed), most=60)}'
            problems.append(Problem(name, line, "", text))
        elif column in header[:index]:
            problems.append(Problem(name, line, "", f'the {what} "{column}" is there twice'))
    if problems:
        raise InputError(problems)


def _cell(key: str, cell: str, annotation: Any) -> Any:
    """A cell as its key's kind of value; "100.000", in half the world a hundred thousand, stays text and is refused.
    A reading of a check is taken: some are to three decimals."""
    unclear = key != "value" and re.fullmatch(r"[1-9]\d{0,2}(\.\d{3})+", cell)
    return cell if unclear and key_kind(annotation)[0] in (int, float) else cell_value(cell, annotation)


def keys_of(table: str) -> dict[str, Any]:
    """Keys of a table of the case file, as written there, with the type each takes."""
    fields: dict[str, Any] = {**TABLES, **LISTS}[table].__pydantic_fields__  # type: ignore[attr-defined]
    return {FILE_KEYS.get(name, name): info.annotation for name, info in fields.items()}


# --- many cars -----------------------------------------------------------------------------------------


def scalar_keys() -> dict[str, tuple[str, Any]]:
    """Keys of [car] and [money] -> (table, type): the columns of a list of cars."""
    return {name: (table, kind) for table in ("car", "money") for name, kind in keys_of(table).items()}


def with_folder(data: dict[str, Any], folder: Path) -> dict[str, Any]:
    """What a car's own folder says in its case.toml under `data`, which goes before it. Raises InputError."""
    more = read_toml(folder / CASE_IN_FOLDER).data
    both = {
        table: {**found, **data[table]} if isinstance(found := more.get(table, {}), dict) else found
        for table in ("car", "money")
    }
    return {**data, **more, **both}


def case_documents(path: str | os.PathLike[str]) -> Iterator[Document]:
    """A document for every row of a list of cars, ready to be read as a case; its lines are the row's.

    A cell `folder` names a folder (as seen from the list) with a file case.toml that says more about the
    car; what the row says goes before it. Raises InputError as `read_rows`; for a wrong `folder` too.
    """
    columns, name = scalar_keys(), os.fspath(path)
    for row in read_rows(path, allowed=frozenset(columns) | {"folder", "format"}):
        data: dict[str, Any] = {"format": 1, "car": {}, "money": {}}
        for column, cell in row.cells.items():
            if column in columns:
                table, annotation = columns[column]
                data[table][column] = _cell(column, cell, annotation)
        if "folder" in row.cells:
            data = with_folder(data, Path(name).parent / row.cells["folder"])
        yield Cells(name, data, OneRow(row.line), "")


# --- a history -----------------------------------------------------------------------------------------


def history_document(path: str | os.PathLike[str]) -> Document:
    """The rows of a CSV history as the [[work]], [[reading]], [[test]] ... of a case file.

    Raises InputError as `read_rows`, and for a row whose `kind` is none of KINDS.
    """
    name = os.fspath(path)
    keys = {kind: keys_of(kind) for kind in KINDS}
    data: dict[str, list[dict[str, Any]]] = {}
    lines: dict[KeyPath, int] = {}
    problems = []
    for row in read_rows(path, allowed=history_columns()):
        kind = row.cells.get("kind", "work")
        if kind not in KINDS:
            problems.append(Problem(name, row.line, "kind", f"found {kind}; allowed: {listed(KINDS)}"))
            continue
        entries = data.setdefault(kind, [])
        lines[(kind, len(entries))] = row.line
        entries.append({k: _cell(k, c, keys[kind].get(k)) for k, c in row.cells.items() if k != "kind"})
    if problems:
        raise InputError(problems)
    return Cells(name, data, lines, "")


def history_columns() -> frozenset[str]:
    """Columns a history may have."""
    return frozenset(key for kind in KINDS for key in keys_of(kind)) | {"kind"}
