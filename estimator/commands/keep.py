"""What keeping the car costs over the years: repairs, service, fuel, tyres, insurance, tax, storage, value.

Nominal (money of the day) and present value, per year and per distance, with bands and a split that adds up; and
selling now against keeping it. Running costs come from running.toml; your own go into a folder given by --catalogue.
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

DRAWS, SEED, MOST = 6_000, 0, 2_000_000


def rate(text: str) -> float:
    """A yearly rate, such as 0.03 or 3%."""
    plain = text.strip()
    try:
        value = float(plain.removesuffix("%")) / (100 if plain.endswith("%") else 1)
    except ValueError:
        value = float("nan")
    if not -0.5 < value < 1.0:
        raise argparse.ArgumentTypeError(
            f"must be a yearly rate above -50 % and below 100 %, such as 0.03 or 3%; found {text[:40]!r}"
        )
    return value


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_case(parser)
    parser.add_argument(
        "--years", type=whole(1, 40), default=5, metavar="N", help="1 to 40 years (default 5)"
    )
    parser.add_argument(
        "--discount", type=rate, metavar="RATE", help="real discount rate a year (running.toml)"
    )
    parser.add_argument("--inflation", type=rate, metavar="RATE", help="inflation a year (running.toml)")
    parser.add_argument("--plan", action="store_true", help="the first year as `estimator plan` plans it")
    parser.add_argument("--comfort", action="store_true", help="comfort and looks too")
    parser.add_argument("--all", action="store_true", help="every warning")
    add_draws(parser, draws=DRAWS, seed=SEED, most=MOST)
    add_catalogue(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    check_target(args.json, inputs=(args.case,))
    from estimator.assess import assess_fully
    from estimator.catalogue.load import load_catalogue
    from estimator.decide.keep import keep
    from estimator.report.keep_text import keep_text

    catalogue = load_catalogue(args.catalogue)
    case = read_case(args, args.case, catalogue)
    with ProgressBar("working it out") as bar:
        result = assess_fully(
            case, catalogue, draws=args.draws, seed=args.seed, workers=args.workers, progress=bar
        )
        plan = None
        if args.plan:
            from estimator.decide.plan import plan_year

            plan = plan_year(case, catalogue, seed=args.seed, comfort=args.comfort, result=result)
        found = keep(
            case,
            catalogue,
            years=args.years,
            discount=args.discount,
            inflation=args.inflation,
            plan=plan,
            comfort=args.comfort,
            seed=args.seed,
            result=result,
        )
    write_json(args.json, found.as_dict())
    if args.json != STDOUT:
        print(keep_text(found, catalogue, everything=args.all))
    return 0
