"""What a car is likely to need and cost, part by part, with reasons.

Prints what stops the deal, one sentence, the totals, a small picture, the dearest parts and why, and what is
apart from the total. --json writes all of it, every part included.
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
    check_target,
    whole,
    write_json,
)

DRAWS, SEED, MOST = 20_000, 0, 2_000_000  # as in estimator.assess, which is not imported to print help


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_case(parser)
    add_draws(parser, draws=DRAWS, seed=SEED, most=MOST)
    add_catalogue(parser)
    parser.add_argument(
        "--top", type=whole(0, 1000), default=10, metavar="N", help="parts in the breakdown (default 10)"
    )
    parser.add_argument("--all", action="store_true", help="every part and every warning")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    check_target(args.json, inputs=(args.case,))
    from estimator.assess import assess
    from estimator.catalogue.load import load_catalogue
    from estimator.report.text import assessment_text
    from estimator.views.sentences import rests_on

    catalogue = load_catalogue(args.catalogue)
    case = read_case(args, args.case, catalogue)
    with ProgressBar("working it out") as bar:
        result = assess(case, catalogue, draws=args.draws, seed=args.seed, workers=args.workers, progress=bar)
    write_json(args.json, result.as_dict())
    if args.json != STDOUT:
        takes = rests_on(result, case)
        print(assessment_text(result, catalogue, takes=takes, top=args.top, everything=args.all))
    return 0
