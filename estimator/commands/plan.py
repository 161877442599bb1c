"""The first year: which jobs, in which month, by whom, what that costs, what to order, a card a job.

Jobs are what was found and what probably needs doing, with what pays to renew while it is apart. They are placed
under your monthly money, hours and skill (from the case, or given here), workshop bookings, waits for parts and your
driving season; then the year is simulated. --orders writes the order list (.csv or .xlsx), --cards the job cards
(.html to print, otherwise text).
"""

from __future__ import annotations

import argparse
import datetime

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
    whole,
    write_bytes,
    write_json,
    write_text,
)
from estimator.problems import InputError, Problem

DRAWS, SEED, MOST = 8_000, 0, 2_000_000


def share(text: str) -> float:
    """A chance inside 0 to 1."""
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not 0 < value < 1:
        raise argparse.ArgumentTypeError(
            f"must be a number between 0 and 1, such as 0.8; found {text[:40]!r}"
        )
    return value


def day(text: str) -> datetime.date:
    """A day as 1998-06-11."""
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"must be a day written as 1998-06-11; found {text[:40]!r}"
        ) from None


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_case(parser)
    parser.add_argument(
        "--months", type=whole(1, 36), default=12, metavar="N", help="months planned, 1 to 36 (12)"
    )
    parser.add_argument("--monthly", type=amount, metavar="SUM", help="money a month for work")
    parser.add_argument("--in-hand", type=amount, metavar="SUM", help="money there on the first day")
    parser.add_argument("--own-hours", type=amount, metavar="H", help="your own hours a month")
    parser.add_argument("--own-skill", type=whole(0, 3), metavar="N", help="0 none to 3 rebuilds gearboxes")
    parser.add_argument(
        "--bookings", type=whole(0, 100), metavar="N", help="jobs a workshop takes in a month"
    )
    parser.add_argument("--level", type=share, metavar="P", help="how often the reserve must do (0.8)")
    parser.add_argument("--by", type=day, metavar="DATE", help="a day the car should be on the road by")
    parser.add_argument(
        "--threshold", type=share, default=0.5, metavar="P", help="plan parts this likely to need it (0.5)"
    )
    parser.add_argument(
        "--do", action="append", default=[], metavar="PART", help="plan this part too (may be repeated)"
    )
    parser.add_argument("--leave", action="append", default=[], metavar="PART", help="leave this part out")
    parser.add_argument("--comfort", action="store_true", help="plan comfort and looks too")
    parser.add_argument("--orders", metavar="FILE", help="write the order list here (.csv or .xlsx)")
    parser.add_argument("--cards", metavar="FILE", help="write the job cards here (.html or text)")
    parser.add_argument("--all", action="store_true", help="every neighbour, order line and warning")
    add_draws(parser, draws=DRAWS, seed=SEED, most=MOST)
    add_catalogue(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    targets = [t for t in (args.json, args.orders, args.cards) if t is not None]
    for target in targets:
        check_target(target, inputs=(args.case,))
    if len(set(targets)) < len(targets):
        raise InputError(Problem(targets[0], None, "", "cannot be two results at once"))
    if args.orders is not None and not args.orders.lower().endswith((".csv", ".xlsx")):
        raise InputError(Problem(args.orders, None, "", "the order list is written as .csv or .xlsx"))
    if args.cards is not None and args.cards.lower().endswith((".pdf", ".docx", ".xlsx", ".csv")):
        text = (
            "job cards are written as .html (print it, or save it as PDF, from a browser) or as text (.txt)"
        )
        raise InputError(Problem(args.cards, None, "", text))
    from estimator.catalogue.load import load_catalogue
    from estimator.decide.plan import plan_year
    from estimator.report.plan_text import plan_text

    catalogue = load_catalogue(args.catalogue)
    case = read_case(args, args.case, catalogue)
    with ProgressBar("working it out") as bar:
        plan = plan_year(
            case,
            catalogue,
            months=args.months,
            monthly=args.monthly,
            in_hand=args.in_hand,
            own_hours=args.own_hours,
            own_skill=args.own_skill,
            bookings=args.bookings,
            level=args.level,
            by=args.by,
            threshold=args.threshold,
            include=args.do,
            leave=args.leave,
            comfort=args.comfort,
            draws=args.draws,
            seed=args.seed,
            workers=args.workers,
            progress=bar,
        )
    if args.orders is not None:
        from estimator.report.orders import orders_csv, orders_workbook

        if args.orders.lower().endswith(".csv"):
            write_text(args.orders, orders_csv(plan))
        else:
            write_bytes(args.orders, orders_workbook(plan))
    if args.cards is not None:
        from estimator.report.job_card_pages import cards_html, cards_text
        from estimator.report.job_cards import job_cards

        cards = job_cards(plan, catalogue)
        page = args.cards.lower().endswith((".html", ".htm"))
        text = cards_html(cards, title=plan.case) if page else cards_text(cards) + "\n"
        if args.cards == STDOUT:
            print(text, end="")
        else:
            write_text(args.cards, text)
    write_json(args.json, plan.as_dict())
    if STDOUT not in (args.json, args.cards):
        print(plan_text(plan, catalogue, everything=args.all))
    return 0
