"""An inspection sheet to take along: on paper (PDF) and as one HTML file for a phone without network.

Without --pdf and --html both are written beside you, named after the case file. The paper sheet holds the stops, what
every careful buyer looks at and the most telling checks that fit on both sides of a leaf; what needs a lift, a jack or
tools that are not there (--with) stands in a short block of its own. The phone's holds every check of this car in the
same order, keeps what is ticked and hands it back as a file or text, which `estimator record CASE --sheet FILE` and
the Inspection page read. Nothing on either is a price or a chance: they can be read over your shoulder.
"""

from __future__ import annotations

import argparse
from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING

from estimator.commands.shell import (
    STDOUT,
    ProgressBar,
    add_case,
    add_catalogue,
    add_draws,
    add_json,
    check_target,
    whole,
    write_bytes,
    write_json,
    write_text,
)
from estimator.problems import InputError, Problem, nearest, shown

if TYPE_CHECKING:
    from estimator.report.sheet_content import Sheet

DRAWS, SEED, MOST = 5_000, 0, 2_000_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_case(parser)
    parser.add_argument("--pdf", metavar="FILE", help="write the paper sheet here")
    parser.add_argument("--html", metavar="FILE", help="write the sheet for a phone here")
    parser.add_argument(
        "--station",
        metavar="NAME",
        action="append",
        default=[],
        help="only this station, such as walk-round or on-a-lift; may be given several times",
    )
    parser.add_argument(
        "--sides",
        type=whole(1, 40),
        default=2,
        metavar="N",
        help="sides of paper to fill, 1 to 40 (default 2)",
    )
    parser.add_argument(
        "--minutes",
        type=whole(1, 1440),
        metavar="M",
        help="on paper only what fits into this time, the most telling first; what can end the deal stays",
    )
    parser.add_argument(
        "--with",
        dest="having",
        metavar="WHAT",
        action="append",
        default=[],
        help="what will be there for you: jack, lift, workshop or tools; may be given several times",
    )
    parser.add_argument("--all", action="store_true", help="on paper every check and every caution in full")
    add_draws(parser, draws=DRAWS, seed=SEED, most=MOST)
    add_catalogue(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    targets = _targets(args)
    _known(args.station)
    _there(args.having)
    for target in (*targets.values(), args.json):
        check_target(target, inputs=(args.case,))
    from estimator.assess import assess_fully
    from estimator.case import load_case
    from estimator.catalogue.load import load_catalogue
    from estimator.report.sheet_content import sheet_of
    from estimator.report.sheet_order import worth_of_checks

    catalogue = load_catalogue(args.catalogue)
    case = load_case(args.case, catalogue)
    with ProgressBar("putting the checks in order") as bar:
        result = assess_fully(
            case,
            catalogue,
            draws=args.draws,
            seed=args.seed,
            workers=args.workers,
            progress=lambda x: bar(x / 2),
        )
        worth = worth_of_checks(result, catalogue, having=args.having)
    sheet = sheet_of(case, catalogue, worth=worth, stations=args.station, having=args.having)
    if not sheet.items:
        raise InputError(Problem(args.case, None, "--station", "this car has no checks there"))
    if "html" in targets:
        from estimator.report.sheet_html import sheet_html

        write_text(targets["html"], sheet_html(sheet, worth=worth))
    if "pdf" in targets:
        from estimator.report.sheet_pdf import sheet_pdf

        sides = None if args.all else args.sides
        paper = sheet_pdf(sheet, worth=worth, sides=sides, stations=args.station, minutes=args.minutes)
        write_bytes(targets["pdf"], paper)
    write_json(args.json, _json(sheet, targets))
    if args.json != STDOUT:
        _say(sheet, targets)
    return 0


def _one_of(given: list[str], allowed: Collection[str], *, flag: str, fault: str, lead: str) -> None:
    """Refuse what is none of the words allowed; fault : what is wrong with {}, the word given."""
    for name in given:
        if name not in allowed:
            close = nearest(name, allowed)
            meant = f"; did you mean {close}?" if close else "."
            text = f"{fault.format(shown(name))}{meant} {lead} {', '.join(allowed)}"
            raise InputError(Problem(flag, None, "", text))


def _known(stations: list[str]) -> None:
    from estimator.catalogue.records import STATIONS

    _one_of(stations, STATIONS, flag="--station", fault="there is no station {}", lead="Stations are")


def _there(having: list[str]) -> None:
    from estimator.report.sheet_reach import HAVING

    _one_of(having, HAVING, flag="--with", fault="there is no {} to be had", lead="Allowed are")


def _targets(args: argparse.Namespace) -> dict[str, str]:
    """What is written where: "pdf", "html" -> file name."""
    asked = {"pdf": args.pdf, "html": args.html}
    wanted = {kind: target for kind, target in asked.items() if target is not None}
    if not wanted:
        stem = Path(args.case).stem or "car"
        wanted = {kind: f"{stem}-sheet.{kind}" for kind in asked}
    for kind, target in wanted.items():
        if target == STDOUT:
            raise InputError(Problem(f"--{kind}", None, "", "wants a file name; the terminal cannot show it"))
    if len({Path(target).resolve() for target in wanted.values()}) < len(wanted):
        raise InputError(Problem("--html", None, "", "cannot be the same file as --pdf"))
    return wanted


def _json(sheet: Sheet, targets: dict[str, str]) -> dict[str, object]:
    stations = [{"id": s.id, "checks": [item.id for item in s.items]} for s in sheet.stations]
    left_out = [{"name": name, "why": why} for name, why in sheet.left_out]
    return {"format": 1, "case": sheet.car, "files": targets, "stations": stations, "left_out": left_out}


def _say(sheet: Sheet, targets: dict[str, str]) -> None:
    if "pdf" in targets:
        print(f"{targets['pdf']}: the paper sheet, A4; print it on both sides.")
    if "html" in targets:
        print(
            f"{targets['html']}: {len(sheet.items)} checks for a phone. Send it to the phone, open it in a browser "
            "there (a preview keeps nothing), tick, hand back."
        )
