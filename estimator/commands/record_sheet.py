"""`estimator record CASE --sheet FILE`: what a phone handed back, put into the case file.

The file's text is edited, its comments stay. A finding of the same check, side, day, viewer and manner takes the
place of the one that is there, whose answer its note then keeps; the same sheet read in twice changes nothing.
"""

from __future__ import annotations

import argparse
import dataclasses
import datetime
import sys
from typing import TYPE_CHECKING, Any

from estimator.problems import InputError, Problem

if TYPE_CHECKING:
    from estimator.case import Case
    from estimator.catalogue.load import Catalogue
    from estimator.record import Recorded
    from estimator.report.sheet_reading import SheetReading

STDIN = "-"
MOST_BYTES = 4_000_000


def recorded_sheet(text: str, args: argparse.Namespace, catalogue: Catalogue) -> Recorded:
    """The case file's text with a sheet's findings in it, and what was added and changed.

    Raises
    ------
    InputError
        For a sheet that cannot be read (with its line), one that was made for another car, and findings the case
        cannot hold. Nothing is written then.
    """
    from estimator.case import edit_case_text, parse_case
    from estimator.record import Recorded, new_doubts
    from estimator.report.sheet_reading import joined_case, read_sheet

    name, pasted = _sheet_text(args.sheet, args.case)
    case = parse_case(text, args.case, catalogue)
    read = read_sheet(pasted, catalogue, name=name)
    if args.date is not None:
        day = args.date if isinstance(args.date, datetime.date) else datetime.date(args.date, 7, 1)
        read = _dated(read, day)
    joined = joined_case(case, read, catalogue, name=name)
    if joined.other_car and not args.any_car:
        said = f"was made for {joined.other_car!r}, this case is {case.name!r}; nothing was read in"
        raise InputError(Problem(name, None, "", f"{said}. --any-car reads it in all the same"))
    new = edit_case_text(text, joined.case) if joined.case != case else text
    after = parse_case(new, args.case, catalogue)
    _nothing_lost(case, after, joined.changed)
    by_check = {f.check: f for f in read.findings}
    added = tuple(_entry(by_check[check]) for check in (*joined.added, *joined.changed))
    notes = [*joined.notes]
    notes += [
        f"{catalogue.checks[check].name} ({check}): answered otherwise before; the note keeps what stood there"
        for check in joined.changed
    ]
    if joined.same:
        notes.append(f"{len(joined.same)} findings are in the case already")
    if read.remark and joined.case.car.note != case.car.note:
        notes.append("the sheet's notes stand under car.note")
    notes += new_doubts(case, after)
    return Recorded(new, after, added, tuple(notes))


def _sheet_text(source: str, case: str) -> tuple[str, str]:
    """(what messages call it, its text): a file, or what is pasted into standard input."""
    from pathlib import Path

    from estimator.files import decode_text, read_bytes

    if source == STDIN:
        name = "the pasted text"
        raw = sys.stdin.buffer.read(MOST_BYTES)
        return name, decode_text(raw, name)
    raw = read_bytes(source, max_bytes=MOST_BYTES)
    if Path(case).exists() and Path(source).samefile(case):
        raise InputError(
            Problem(source, None, "--sheet", "is the case file itself; the sheet's own file is wanted")
        )
    if raw.lstrip()[:15].lower().startswith((b"<!doctype", b"<html")):
        text = "is the sheet's page; the file is wanted that it saves (Hand back, Save as a file)"
        raise InputError(Problem(source, None, "--sheet", text))
    return source, decode_text(raw, source)


def _dated(read: SheetReading, day: datetime.date) -> SheetReading:
    """Findings that name no day were made on the day said."""
    findings = tuple(f if f.date is not None else dataclasses.replace(f, date=day) for f in read.findings)
    return dataclasses.replace(read, findings=findings)


def _entry(finding: Any) -> dict[str, Any]:
    """A finding as a table: what it says beyond the usual."""
    usual = {f.name: f.default for f in dataclasses.fields(finding)}
    said = {k: getattr(finding, k) for k in usual}
    return {"table": "finding", **{k: v for k, v in said.items() if v is not None and v != usual[k]}}


def _nothing_lost(before: Case, after: Case, changed: tuple[str, ...]) -> None:
    """Every entry of the case is still there; findings answered anew aside.

    Raises
    ------
    RuntimeError
        If not: a fault of this program, found before anything is written.
    """
    from estimator.record import entries_kept

    entries_kept(before, after, answered=changed)
    if before.money != after.money or before.car.note not in after.car.note:
        raise RuntimeError("[money] or a note would have changed; nothing was written")
