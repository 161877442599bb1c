"""What to check or ask next: ranked by what it is worth, in an order the world allows, and when to stop.

The checks proposed are those worth their price and minutes together; the first of them stand in the order to make
them. --json writes every check that can be made now with what each result would do to the most to pay.
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
    amount,
    check_target,
    write_json,
)

DRAWS, SEED, MOST = 20_000, 0, 200_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_case(parser)
    parser.add_argument("--minutes", type=amount, metavar="M", help="minutes there are (default: no limit)")
    parser.add_argument("--money", type=amount, metavar="X", help="to spend on checks (default: no limit)")
    parser.add_argument(
        "--station", metavar="NAME", action="append", default=[],
        help="only this station (walk-round, on-a-lift ...); may be given several times",
    )  # fmt: skip
    parser.add_argument(
        "--without", metavar="WHAT", action="append", default=[],
        help="what is not there today (lift, helper, jack, daylight, permission ...); may be given several times",
    )  # fmt: skip
    parser.add_argument("--all", action="store_true", help="every check that can be made now")
    add_draws(parser, draws=DRAWS, seed=SEED, most=MOST)
    add_catalogue(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    check_target(args.json, inputs=(args.case,))
    from estimator.catalogue.load import load_catalogue
    from estimator.decide.next_checks import next_checks
    from estimator.report.decision_text import next_text

    catalogue = load_catalogue(args.catalogue)
    case = read_case(args, args.case, catalogue)
    with ProgressBar("working it out") as bar:
        found = next_checks(
            case, catalogue, minutes=args.minutes, money=args.money, stations=args.station, without=args.without,
            draws=args.draws, seed=args.seed, workers=args.workers, progress=bar,
        )  # fmt: skip
    write_json(args.json, found.as_dict())
    if args.json != STDOUT:
        print(next_text(found, catalogue, everything=args.all))
    return 0
