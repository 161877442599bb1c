"""Lives from a club's or a workshop's records (CSV), parts still running included.

Columns: distance and / or years (life reached), failed (1 failed, 0 still running), optional entry_distance,
entry_years (age when watching began), count, component. Weibull by maximum likelihood, on two clocks where both are
there, with likelihood-ratio intervals. --prior blends in the catalogue's own figures for a part, --own two figures
of yours, worth --worth failures.
"""

from __future__ import annotations

import argparse

from estimator.commands.plan import share
from estimator.commands.shell import STDOUT, add_catalogue, add_json, amount, check_target, write_json
from estimator.problems import InputError, Problem


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("lives", metavar="LIVES", help="the file of lives (CSV)")
    parser.add_argument("--component", metavar="NAME", help="which, where the file holds several")
    parser.add_argument("--level", type=share, default=0.95, metavar="P", help="of the intervals (0.95)")
    parser.add_argument(
        "--prior", metavar="PART", help="blend with the catalogue's life of this part (km or years)"
    )
    parser.add_argument(
        "--own", nargs=2, type=amount, metavar=("B10", "B50"), help="blend with these figures"
    )
    parser.add_argument(
        "--worth", type=amount, default=5.0, metavar="N", help="failures the prior counts like (5)"
    )
    add_catalogue(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    check_target(args.json, inputs=(args.lives,))
    from estimator.lives import fit_life, read_lives
    from estimator.report.fit_text import fit_text

    frame = read_lives(args.lives)
    prior = _prior(args, years="years" in frame)
    found = fit_life(
        frame,
        component=args.component,
        level=args.level,
        prior=prior,
        prior_worth=args.worth,
        name=args.lives,
    )
    write_json(args.json, {"format": 1, "file": args.lives, **found.as_dict()})
    if args.json != STDOUT:
        print(fit_text(found))
    return 0


def _prior(args: argparse.Namespace, *, years: bool) -> tuple[float, float] | None:
    if args.own is not None and args.prior is not None:
        raise InputError(
            Problem(args.lives, None, "--own", "takes the place of --prior: give one of the two")
        )
    if args.own is not None:
        return (args.own[0], args.own[1])
    if args.prior is None:
        return None
    from estimator.casefile.against import unknown_id
    from estimator.catalogue.load import load_catalogue

    catalogue = load_catalogue(args.catalogue)
    part = catalogue.components.get(args.prior)
    if part is None:
        text = unknown_id(args.prior, catalogue.components, what="component")
        raise InputError(Problem(args.lives, None, "--prior", text))
    life = part.life_years if years else part.life_km
    if life is None:
        clock = "years" if years else "distance"
        raise InputError(Problem(args.lives, None, "--prior", f"{args.prior} has no life in {clock}"))
    return (life.b10, life.b50)
