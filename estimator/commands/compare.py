"""Two or more cars side by side: price and first year of work against what each is worth."""

from __future__ import annotations

import argparse

from estimator.commands.reading import read_case
from estimator.commands.shell import (
    STDOUT,
    ProgressBar,
    add_catalogue,
    add_draws,
    add_json,
    check_target,
    write_json,
)

DRAWS, SEED, MOST = 20_000, 0, 500_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("cases", metavar="CASE", nargs="+", help="case files, two or more, in one currency")
    add_draws(parser, draws=DRAWS, seed=SEED, most=MOST)
    add_catalogue(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    check_target(args.json, inputs=tuple(args.cases))
    from estimator.catalogue.load import load_catalogue
    from estimator.decide.compare import compare
    from estimator.report.decision_text import compare_text

    catalogue = load_catalogue(args.catalogue)
    cases = [read_case(args, path, catalogue) for path in args.cases]
    with ProgressBar("working it out") as bar:
        found = compare(
            cases, catalogue, draws=args.draws, seed=args.seed, workers=args.workers, progress=bar
        )
    write_json(args.json, found.as_dict())
    if args.json != STDOUT:
        print(compare_text(found))
    return 0
