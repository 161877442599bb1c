"""What to offer: fair price, opening, target, and where to walk away, with a sentence each.

--sheet writes the sheet for the table: what is good, what was found and costs, what was not looked at. It holds
nothing of your side (no budget, value, chance or limit) and can be handed over. Ending in .html it is a page to
print, otherwise plain text.
"""

from __future__ import annotations

import argparse

from estimator.commands.reading import read_case
from estimator.commands.shell import (
    STDOUT,
    ProgressBar,
    add_case,
    add_catalogue,
    add_draws,
    add_json,
    check_apart,
    check_target,
    write_json,
    write_text,
)
from estimator.problems import InputError, Problem

DRAWS, SEED, MOST = 20_000, 0, 2_000_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_case(parser)
    parser.add_argument(
        "--sheet",
        metavar="FILE",
        help="write the sheet for the table here (.html or text); whoever gets it sees the name, too",
    )
    add_draws(parser, draws=DRAWS, seed=SEED, most=MOST)
    add_catalogue(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    check_target(args.json, inputs=(args.case,))
    check_target(args.sheet, inputs=(args.case,))
    check_apart({"--sheet": args.sheet, "--json": args.json})
    if args.sheet == args.json == STDOUT:
        raise InputError(Problem(args.sheet, None, "", "cannot be the sheet and the result at once"))
    from estimator.assess import assess_fully
    from estimator.catalogue.load import load_catalogue
    from estimator.decide.offer import offer
    from estimator.decide.stakes import need
    from estimator.report.decision_text import offer_text
    from estimator.report.table_sheet import table_html, table_sheet, table_text

    catalogue = load_catalogue(args.catalogue)
    case = read_case(args, args.case, catalogue)
    need(case)
    with ProgressBar("working it out") as bar:
        result = assess_fully(
            case, catalogue, draws=args.draws, seed=args.seed, workers=args.workers, progress=bar
        )
        found = offer(case, catalogue, result=result)
    if args.sheet is not None:
        sheet = table_sheet(result)
        page = args.sheet.lower().endswith((".html", ".htm"))
        text = table_html(sheet) if page else table_text(sheet) + "\n"
        if args.sheet == STDOUT:
            print(text, end="")
        else:
            write_text(args.sheet, text)
    write_json(args.json, found.as_dict())
    if STDOUT not in (args.json, args.sheet):
        print(offer_text(found))
    return 0
