"""Reading the case files of a verb, and naming them: messages speak of files and flags, the engines of cars."""

from __future__ import annotations

import argparse
import dataclasses
import sys
from typing import TYPE_CHECKING

from estimator.problems import InputError, Problem

if TYPE_CHECKING:
    from estimator.case import Case
    from estimator.catalogue.load import Catalogue

_READ = "files_read"  # of the arguments: what a car is called -> the file it came from, None where that is not one


def read_case(args: argparse.Namespace, path: str, catalogue: Catalogue) -> Case:
    """The case of a file; days in it that have not come yet are doubted on stderr, and a later message about the car
    names the file. Raises InputError."""
    from estimator.case import load_case

    case = load_case(path, catalogue)
    files = vars(args).setdefault(_READ, {})
    files[case.name] = (
        path if files.get(case.name, path) == path else None
    )  # of two cars of one name neither is named
    doubt_days_ahead(case, path)
    return case


def doubt_days_ahead(case: Case, path: str, *, of: Case | None = None) -> None:
    """Say on stderr which days of a case have not come yet; of : not those that this case has, too.

    On stderr only: what goes to a file is the same whatever day it is written on.
    """
    from estimator.clock import today

    known = set() if of is None else set(of.not_come_yet(today(), file=path))
    for doubt in case.not_come_yet(today(), file=path):
        if doubt not in known:
            print(doubt, file=sys.stderr)


def in_files_and_flags(error: InputError, args: argparse.Namespace) -> InputError:
    """The same message with the file in place of the car's name, and the flag where the fault is in a flag."""
    return InputError([_renamed(problem, args) for problem in error.problems])


def _renamed(problem: Problem, args: argparse.Namespace) -> Problem:
    file = getattr(args, _READ, {}).get(problem.file)
    if file is None:
        return problem
    return dataclasses.replace(problem, file=file, key=_flag_of(problem, args) or problem.key)


def _flag_of(problem: Problem, args: argparse.Namespace) -> str:
    """The flag a fault is in: one of that name, or one that was given such a part; empty where it is a key's."""
    given = {name: value for name, value in vars(args).items() if value not in (None, [], False)}
    if problem.path or not problem.key:
        return ""
    if problem.key in given:
        return f"--{problem.key.replace('_', '-')}"
    return next(
        (f"--{name} {problem.key}" for name in ("do", "leave") if problem.key in given.get(name, [])), ""
    )
