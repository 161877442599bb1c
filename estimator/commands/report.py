"""A printable report (PDF, and HTML that any browser prints) and a workbook (XLSX) of what a car will cost.

Without --pdf, --html and --xlsx all three are written beside you, named after the case file. They hold your budget
and every doubt: they are for you. What you show the seller is `estimator offer`.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from estimator.commands.reading import read_case
from estimator.commands.shell import (
    STDOUT,
    ProgressBar,
    add_case,
    add_catalogue,
    add_draws,
    add_json,
    check_target,
    write_bytes,
    write_json,
    write_text,
)
from estimator.problems import InputError, Problem

DRAWS, SEED, MOST = 20_000, 0, 2_000_000
KINDS = {"pdf": "to print", "html": "to read in a browser", "xlsx": "every figure, as a workbook"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_case(parser)
    for kind, what in KINDS.items():
        parser.add_argument(
            f"--{kind}", metavar="FILE", help=f"write the report here as {kind.upper()}, {what}"
        )
    add_draws(parser, draws=DRAWS, seed=SEED, most=MOST)
    add_catalogue(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    targets = _targets(args)
    for target in (*targets.values(), args.json):
        check_target(target, inputs=(args.case,))
    from estimator.assess import assess_fully
    from estimator.catalogue.load import load_catalogue
    from estimator.decide.budget import budget_room
    from estimator.report.dots_svg import NARROW, dots_svg
    from estimator.report.report_content import report_of

    catalogue = load_catalogue(args.catalogue)
    case = read_case(args, args.case, catalogue)
    with ProgressBar("working it out") as bar:
        whole = assess_fully(
            case, catalogue, draws=args.draws, seed=args.seed, workers=args.workers, progress=bar
        )
    result, left = whole.assessment, budget_room(whole)
    report = report_of(result, case, catalogue, room=left)
    room = None if left is None else left.reach
    if "pdf" in targets:
        from estimator.report.report_pdf import report_pdf

        write_bytes(targets["pdf"], report_pdf(report, dots_svg(result, room=room)))
    if "html" in targets:
        from estimator.report.report_html import report_html

        write_text(
            targets["html"], report_html(report, dots_svg(result, room=room, font="inherit", width=NARROW))
        )
    if "xlsx" in targets:
        from estimator.report.workbook import workbook

        write_bytes(targets["xlsx"], workbook(result, case, catalogue, report))
    write_json(args.json, {**result.as_dict(), "files": targets})
    if args.json != STDOUT:
        for kind, target in targets.items():
            print(f"{target}: {KINDS[kind]}")
    return 0


def _targets(args: argparse.Namespace) -> dict[str, str]:
    """What is written where: "pdf", "html", "xlsx" -> file name."""
    asked = {kind: getattr(args, kind) for kind in KINDS}
    wanted = {kind: target for kind, target in asked.items() if target is not None}
    if not wanted:
        stem = Path(args.case).stem or "car"
        wanted = {kind: f"{stem}-report.{kind}" for kind in KINDS}
    seen: set[Path] = set()
    for kind, target in wanted.items():
        if target == STDOUT:
            raise InputError(Problem(f"--{kind}", None, "", "wants a file name; the terminal cannot show it"))
        if Path(target).resolve() in seen:
            raise InputError(Problem(f"--{kind}", None, "", f"cannot be the same file as another: {target}"))
        seen.add(Path(target).resolve())
    return wanted
