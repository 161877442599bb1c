"""Many cars at once: a list as CSV in, a row for each out, as CSV (or with --json as JSON lines).

The list has the keys of [car] and [money] as columns, and `folder` for a car with a case.toml of its own. A car that
cannot be reckoned gets a row that says why; the others go on.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import io
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TextIO

from estimator.commands.shell import STDOUT, add_catalogue, add_draws, add_json, check_apart, check_target

DRAWS, SEED, MOST = 4_000, 0, 200_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("list", metavar="LIST.csv", help="the list of cars")
    parser.add_argument(
        "--out", metavar="FILE", default=STDOUT, help="where the CSV goes (default: the terminal)"
    )
    processes = "processes, 1 to 64; the result does not depend on it (default: the machine's cores)"
    add_draws(parser, draws=DRAWS, seed=SEED, most=MOST, of=" of each car", workers=processes)
    add_catalogue(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    check_target(args.json, inputs=(args.list,))
    check_target(args.out, inputs=(args.list,))
    check_apart({"--out": args.out, "--json": args.json})
    from estimator.catalogue.load import load_catalogue
    from estimator.decide.screening import COLUMNS, screened
    from estimator.report.strict_json import plain

    catalogue = load_catalogue(args.catalogue)
    rows = screened(args.list, catalogue, draws=args.draws, seed=args.seed, workers=args.workers)
    first = next(rows, None)  # a list that cannot be read is refused before any file is touched
    with contextlib.ExitStack() as open_files:
        table = (
            None if args.json == STDOUT and args.out == STDOUT else open_files.enter_context(_sink(args.out))
        )
        lines = None if args.json is None else open_files.enter_context(_sink(args.json))
        if table is not None:
            table.write(_cells(COLUMNS))
        for row in _all(first, rows):
            if table is not None:
                table.write(_cells([_cell(row[c]) for c in COLUMNS]))
                table.flush()
            if lines is not None:
                lines.write(json.dumps(plain(row), allow_nan=False) + "\n")
                lines.flush()
    return 0


def _all(first: dict[str, Any] | None, rest: Iterator[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    if first is not None:
        yield first
    yield from rest


@contextlib.contextmanager
def _sink(target: str) -> Iterator[TextIO]:
    """The terminal or a file, row by row: what is done is kept even if the rest is stopped."""
    if target == STDOUT:
        yield sys.stdout
        return
    with Path(target).open("w", encoding="utf-8", newline="") as stream:
        yield stream


def _cell(value: Any) -> Any:
    """Sums to the hundredth; nothing where there is none."""
    return "" if value is None else round(value, 2) if isinstance(value, float) else value


def _cells(values: Any) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(values)
    return out.getvalue()
