"""Add what really happened to the case file: bills, quotes, what was seen when apart, work done, the purchase.

  estimator record CASE --bought 2026-12-05 --paid 16900
  estimator record CASE --date 2027-01-20 --invoice water-pump --price 310
  estimator record CASE --date 2027-01-20 --invoice water-pump --invoice radiator --price 510   (one bill for both)
  estimator record CASE --date 2027-02-02 --finding centre-bearing=seen-worn
  estimator record CASE --date 2027-02-02 --finding oil-pressure-hot=1.9      (a check: present, absent or a reading)
  estimator record CASE --done brake-fluid --done brake-hoses-flexible-set
  estimator record CASE --quote universal-joint-front:rebuilt:240
  estimator record CASE --sheet saloon-findings.toml   (what the phone sheet handed back; - for pasted text)
  estimator record CASE --csv papers.csv               (a table of papers: kind, date, component, odometer ...)

Comments and everything else in the file stay; duplicates are refused. Then the forecast is made again, before and
after, and what was expected on the day of purchase is held against what happened.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from estimator.commands.plan import day
from estimator.commands.reading import doubt_days_ahead
from estimator.commands.record_entries import entries_of, paper_day
from estimator.commands.record_flags import Once, check_flags
from estimator.commands.record_sheet import recorded_sheet
from estimator.commands.shell import (
    STDOUT,
    ProgressBar,
    add_case,
    add_catalogue,
    add_draws,
    add_json,
    amount,
    check_target,
    write_bytes,
    write_json,
)
from estimator.problems import InputError, Problem

if TYPE_CHECKING:
    from estimator.catalogue.load import Catalogue
    from estimator.record import Recorded

DRAWS, SEED, MOST = 4_000, 0, 2_000_000
BOM = "\ufeff".encode()  # what some editors put in front of a text, and look for
STALE_S = 60.0  # a lock older than that was left by a run that died
FITTED = ("new", "pattern", "used", "old-stock", "rebuilt", "repaired")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_case(parser)
    parser.add_argument(
        "--date",
        action=Once,
        type=paper_day,
        help="the day of all entries given (or a bare year; default today; with --sheet the day the car was viewed)",
    )
    for name, what in (
        ("--invoice", "a bill: the part, or kit:KIT or kit:KIT:DEPTH"),
        ("--done", "a part renewed by yourself, or kit:KIT or kit:KIT:DEPTH"),
        ("--finding", "PART=seen-sound|seen-worn|seen-spent, or CHECK=present|absent|a reading"),
        (
            "--quote",
            "PART:REMEDY:PRICE, such as universal-joint-front:rebuilt:240; :job behind it: fitting too",
        ),
    ):
        parser.add_argument(
            name, action="append", default=[], metavar="WHAT", help=f"{what} (may be repeated)"
        )
    parser.add_argument(
        "--sheet",
        action=Once,
        metavar="FILE",
        help="the file an inspection sheet saved, or - for its text, pasted",
    )
    parser.add_argument(
        "--csv",
        action=Once,
        metavar="FILE",
        help="a table of papers: a column kind (work, reading, test ...) and the keys of those lists as columns; rows "
        "that are in the case already are passed over",
    )
    parser.add_argument(
        "--any-car", action="store_true", help="read a sheet in that was made for another car all the same"
    )
    parser.add_argument(
        "--price",
        type=amount,
        action="append",
        default=[],
        metavar="SUM",
        help="of the bill or the work, tax included: one for all that is given (one bill), or one for each in the same "
        "order",
    )
    parser.add_argument(
        "--currency", action=Once, metavar="XXX", help="what the sums are in, if you want it checked"
    )
    parser.add_argument(
        "--odometer",
        action=Once,
        type=amount,
        metavar="N",
        help="what it showed, in the case's unit: kept with the work; without any, a reading of the day said by "
        "--date or --bought",
    )
    parser.add_argument(
        "--fitted", action=Once, choices=FITTED, help="what was fitted, by --invoice and --done"
    )
    parser.add_argument("--overhauled", action="store_true", help="overhauled, not renewed")
    parser.add_argument("--note", action=Once, default="", help="free text kept with the entries")
    parser.add_argument("--bought", action=Once, type=day, metavar="DATE", help="the day you bought it")
    parser.add_argument("--paid", action=Once, type=amount, metavar="SUM", help="what you paid for the car")
    parser.add_argument("--history", action="store_true", help="the entries are from before the purchase")
    parser.add_argument(
        "--to", action=Once, metavar="FILE", help="write the case here instead of into the same file"
    )
    parser.add_argument("--no-forecast", action="store_true", help="only write the file")
    add_draws(parser, draws=DRAWS, seed=SEED, most=MOST)
    add_catalogue(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    papers = tuple(name for name in (args.sheet, args.csv) if name not in (None, "-"))
    check_target(args.json, inputs=(args.case, *papers))
    target = args.to or args.case
    check_target(target, inputs=papers if args.to else ())
    if target != args.case and Path(target).exists() and not Path(target).samefile(args.case):
        raise InputError(
            Problem(target, None, "--to", "is there already, and nothing is overwritten; name a new file")
        )
    if args.json is not None and args.json in (target, args.to):
        raise InputError(Problem(args.json, None, "", "cannot be the case file and the result at once"))
    check_flags(args)
    from estimator.case import parse_case
    from estimator.catalogue.load import load_catalogue
    from estimator.files import decode_text, read_bytes
    from estimator.report.record_text import record_text

    catalogue = load_catalogue(args.catalogue)
    with _alone_at(args.case):
        raw = read_bytes(args.case)
        text = decode_text(raw, args.case)
        old = parse_case(text, args.case, catalogue)
        found = _recorded(text, args, catalogue)
        if found.text != text or target != args.case:
            write_bytes(target, raw[: 3 * raw.startswith(BOM)] + _rows_ended_as(text, found.text).encode())
    doubt_days_ahead(found.case, target, of=old)
    before = after = back = None
    if not args.no_forecast:
        from estimator.assess import assess
        from estimator.look_back import look_back

        with ProgressBar("working it out again") as bar:
            options: dict[str, Any] = {"draws": args.draws, "seed": args.seed, "workers": args.workers}
            before = assess(old, catalogue, **options).total.plan_year
            bar(0.4)
            after = assess(found.case, catalogue, **options).total.plan_year
            bar(0.8)
            if found.case.bought is not None:
                back = look_back(found.case, catalogue, draws=args.draws, seed=args.seed)
    write_json(
        args.json,
        {
            "format": 1,
            "case": found.case.name,
            "file": target,
            "added": [{k: _plain(v) for k, v in entry.items()} for entry in found.added],
            "notes": list(found.notes),
            "outlay": None if after is None else after.as_dict(),
            "outlay_before": None if before is None else before.as_dict(),
            "look_back": None if back is None else back.as_dict(),
        },
    )
    if args.json != STDOUT:
        print(record_text(found, catalogue, before=before, after=after, back=back))
    return 0


@contextlib.contextmanager
def _alone_at(case: str) -> Iterator[None]:
    """Two runs at one file record one after the other; where no lock can stand beside it there is none."""
    from estimator.locks import alone

    path = Path(case).resolve()
    with contextlib.ExitStack() as held:
        with contextlib.suppress(OSError):
            held.enter_context(alone(path.with_name(f".{path.name}.recording"), stale_s=STALE_S))
        yield


def _recorded(text: str, args: argparse.Namespace, catalogue: Catalogue) -> Recorded:
    """The case file's text with what the flags say in it."""
    from estimator.record import record
    from estimator.record_papers import record_papers

    if args.sheet is not None:
        return recorded_sheet(text, args, catalogue)
    if args.csv is not None:
        return record_papers(text, args.csv, name=args.case, catalogue=catalogue, currency=args.currency)
    return record(
        text,
        entries_of(args, catalogue),
        name=args.case,
        catalogue=catalogue,
        bought=args.bought,
        paid=args.paid,
        currency=args.currency,
        history=args.history,
    )


def _rows_ended_as(old: str, new: str) -> str:
    """The new text with the line ends of the old one."""
    return new.replace("\r\n", "\n").replace("\n", "\r\n") if "\r\n" in old else new


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, datetime.date) else value
