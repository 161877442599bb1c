"""Which flags of `estimator record` go together: what is given is recorded or refused, never dropped.

One table says what each flag needs beside it. A sheet and a table of papers go alone, so that it is clear what came
from where.
"""

from __future__ import annotations

import argparse
from typing import Any

from estimator.problems import InputError, Problem

WORK = ("invoice", "done")
ENTRIES = (*WORK, "finding", "quote", "odometer")
NEEDS = {  # flag -> it belongs to any of these
    "date": (*ENTRIES, "sheet"),
    "price": WORK,
    "fitted": WORK,
    "overhauled": WORK,
    "note": ENTRIES,
    "history": (*WORK, "finding"),
    "paid": ("bought",),
    "currency": (*WORK, "quote", "paid", "csv"),
    "any_car": ("sheet",),
}
GOES_WITH = {"sheet": ("date", "any_car"), "csv": ("currency",)}  # the only flags of NEEDS these take


def given(args: argparse.Namespace) -> set[str]:
    """Names of the flags about entries that were given."""
    names = {*ENTRIES, *NEEDS, *GOES_WITH, "bought"}
    return {name for name in names if not _absent(getattr(args, name))}


def _absent(value: object) -> bool:
    return value is None or value is False or value == "" or value == []


class Once(argparse.Action):
    """A flag that says one thing: given twice it is refused, so that neither is dropped."""

    def __call__(
        self, parser: argparse.ArgumentParser, args: argparse.Namespace, values: Any, *_: Any
    ) -> None:
        seen = vars(args).setdefault("given_once", set())
        if self.dest in seen:
            parser.error(f"argument {_flag(self.dest)}: stands twice; give it once")
        seen.add(self.dest)
        setattr(args, self.dest, values)


def check_flags(args: argparse.Namespace) -> None:
    """Refuse flags that say nothing beside the others, before anything is read.

    Raises
    ------
    InputError
        Naming each of them, and what it goes with.
    """
    said = given(args)
    faults = []
    for alone, takes in GOES_WITH.items():
        extra = said - {alone, *takes}
        if alone in said and extra:
            text = f"goes alone, so that it is clear what came from where; found {_listed(extra)} beside it"
            faults.append(Problem(args.case, None, _flag(alone), text))
    if not faults:
        faults = [
            Problem(
                args.case, None, _flag(name), f"goes with {_listed(NEEDS[name], ' or ')}; found none of them"
            )
            for name in NEEDS
            if name in said and not said & set(NEEDS[name])
        ]
    if not faults and (text := _prices_do_not_fit(args)):
        faults.append(Problem(args.case, None, "--price", text))
    if faults:
        raise InputError(faults)


def _prices_do_not_fit(args: argparse.Namespace) -> str:
    """Why the prices cannot be laid to the work given; empty where they can."""
    works, prices = len(args.invoice) + len(args.done), len(args.price)
    if prices < 2 and not (prices and args.invoice and args.done):
        return ""
    if args.invoice and args.done:
        return "is of one bill, or of your own work: record what --invoice and --done say one after the other"
    if prices == works:
        return ""
    return (
        f"give one for all (one bill), or one for each in the same order; found {prices} for {works} of them"
    )


def _flag(name: str) -> str:
    return "--" + name.replace("_", "-")


def _listed(names: set[str] | tuple[str, ...], between: str = ", ") -> str:
    return between.join(_flag(name) for name in (sorted(names) if isinstance(names, set) else names))
