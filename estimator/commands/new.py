"""Write a commented case file to start from: every key explained, and it can be assessed as it stands."""

from __future__ import annotations

import argparse
import datetime
import re
from pathlib import Path

from estimator.commands.shell import STDOUT, add_json, check_target, write_json, write_text
from estimator.problems import InputError, Problem
from estimator.starter import starter_text

DEFAULT = "my-car.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file",
        metavar="FILE",
        nargs="?",
        default=DEFAULT,
        help=f"where to write it, or - for the terminal (default {DEFAULT}); no file is overwritten",
    )
    parser.add_argument(
        "--viewed", metavar="DATE", type=_day, help="the day the car was seen, as 1998-06-11 (default today)"
    )
    add_json(parser)


def _day(text: str) -> datetime.date:
    try:
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
            return datetime.date.fromisoformat(text)
    except ValueError:
        pass
    raise argparse.ArgumentTypeError(f"must be a day written as 1998-06-11; found {text[:40]!r}")


def run(args: argparse.Namespace) -> int:
    text = starter_text(args.viewed)
    if args.file == STDOUT:
        if args.json == STDOUT:
            raise InputError(Problem("--json", None, "", "the case file is going to the terminal already"))
        check_target(args.json)
        print(text, end="")
    else:
        check_target(args.file)
        if args.json not in (None, STDOUT) and Path(args.json) == Path(args.file):
            raise InputError(Problem(args.json, None, "", "cannot be the case file and the result at once"))
        check_target(args.json)
        _write_new(args.file, text)
        if args.json != STDOUT:
            print(f"{args.file} is written. Fill it in, then: estimator assess {args.file}")
    write_json(args.json, {"format": 1, "file": None if args.file == STDOUT else args.file})
    return 0


def _write_new(target: str, text: str) -> None:
    if Path(target).exists() or Path(target).is_symlink():
        raise InputError(
            Problem(target, None, "", "exists already and is left as it is; give another name for a new one")
        )
    write_text(target, text)
