"""What the flags of `estimator record` say, as entries of the case: bills, own work, findings, readings, quotes."""

from __future__ import annotations

import argparse
import datetime
import re
from math import isnan
from typing import TYPE_CHECKING, Any

from estimator.commands.shell import figure
from estimator.problems import InputError, Problem

if TYPE_CHECKING:
    from estimator.catalogue.load import Catalogue
    from estimator.catalogue.records import Check

Entry = tuple[str, dict[str, Any]]
CONDITIONS = ("seen-sound", "seen-worn", "seen-spent")
RESULTS = ("present", "absent", "could-not-try", "refused")
ALLOWED = {
    "--invoice": "PART, kit:KIT or kit:KIT:DEPTH",
    "--done": "PART, kit:KIT or kit:KIT:DEPTH",
    "--finding": f"PART={'|'.join(CONDITIONS)}, or CHECK={'|'.join(RESULTS)} or CHECK=a number",
    "--quote": "PART:REMEDY:PRICE with a number for the price, and :job behind it where it covers the fitting too",
}


def paper_day(text: str) -> datetime.date | int:
    """A day as papers have it: 1998-06-11, or a bare year, which is kept as that."""
    try:
        return int(text) if re.fullmatch(r"[12]\d{3}", text) else datetime.date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"must be a day written as 1998-06-11, or a bare year; found {text[:40]!r}"
        ) from None


def entries_of(args: argparse.Namespace, catalogue: Catalogue) -> list[Entry]:
    """The entries the flags say. What the odometer showed stands with each piece of work; without one it is a reading
    of its own."""
    from estimator.clock import today
    from estimator.record import quote, reading

    date = args.date or today()
    out = _work(args, date)
    out += [_finding(word, args, date, catalogue) for word in args.finding]
    if args.odometer is not None and not any(table == "work" for table, _ in out):
        out.append(reading(args.date or args.bought or date, args.odometer, note=args.note))
    for word in args.quote:
        part, remedy, price, covers = _pieces(args.case, "--quote", word, most=4)
        sum_ = _number(args.case, "--quote", word, price)
        out.append(quote(part, remedy, sum_, covers=covers or "parts", date=date, note=args.note))
    return out


def _work(args: argparse.Namespace, date: Any) -> list[Entry]:
    """Bills and own work; one price for several of them is one bill's, several are one for each."""
    from estimator.record import done, invoice, one_bill

    common = {
        "odometer": args.odometer,
        "note": args.note,
        "fitted": args.fitted or "unknown",
        "what": "overhauled" if args.overhauled else "renewed",
    }
    out = [invoice(date, **_part_or_kit(args.case, "--invoice", word), **common) for word in args.invoice]
    out += [done(date, **_part_or_kit(args.case, "--done", word), **common) for word in args.done]
    if len(args.price) == 1:
        return one_bill(out, args.price[0])
    if not args.price:
        return out
    return [(table, {**entry, "price": sum_}) for (table, entry), sum_ in zip(out, args.price, strict=True)]


def _part_or_kit(case: str, option: str, word: str) -> dict[str, Any]:
    if not word.startswith("kit:"):
        return {"component": word}
    _, kit, depth = _pieces(case, option, word, most=3)
    return {"kit": kit, **({"depth": depth} if depth else {})}


def _finding(word: str, args: argparse.Namespace, date: Any, catalogue: Catalogue) -> Entry:
    """What a part was like when it was seen apart, or how a check came out, in the words of either."""
    from estimator.record import checked, seen

    what, _, said = (piece.strip() for piece in word.partition("="))
    check, answer = catalogue.checks.get(what), said.lower().replace(" ", "-")
    part_too = what in catalogue.components
    if answer in CONDITIONS and (check is None or part_too):
        return seen(date, what, answer.removeprefix("seen-"), odometer=args.odometer, note=args.note)
    if check is None and part_too:
        text = f"is a part: say how it was seen, {_either(f'{what}={one}' for one in CONDITIONS)}; found {word!r}"
        raise InputError(Problem(args.case, None, f"--finding {what}", text))
    if check is not None and check.reading is None:
        answer = _result(check, said) or answer
        if answer not in RESULTS:
            raise InputError(
                Problem(args.case, None, f"--finding {what}", _answers(check, word, part_too=part_too))
            )
    if check is not None and check.reading is not None and answer not in RESULTS[2:] and isnan(figure(said)):
        text = f"is a reading: say a number of {check.reading.unit}, could-not-try or refused; found {word!r}"
        raise InputError(Problem(args.case, None, f"--finding {what}", text))
    if answer in RESULTS:
        return checked(date, what, result=answer, note=args.note)
    return checked(date, what, value=_number(args.case, "--finding", word, said), note=args.note)


def _result(check: Check, said: str) -> str | None:
    """The result that a check calls so in its own words; None where it calls none so."""
    own = {check.present.casefold(): "present", check.absent.casefold(): "absent"}
    return own.get(said.casefold())


def _answers(check: Check, word: str, *, part_too: bool) -> str:
    own = f'present ("{check.present}"), absent ("{check.absent}")'
    apart = f"; of the part of that name: {_either(CONDITIONS)}" if part_too else ""
    return f"is a check: say {own}, could-not-try or refused{apart}; found {word!r}"


def _either(words: Any) -> str:
    every = list(words)
    return f"{', '.join(every[:-1])} or {every[-1]}"


def _pieces(case: str, option: str, word: str, *, most: int) -> list[str]:
    """What stands between the colons, empty where nothing does; more than `most` pieces are refused, not dropped."""
    pieces = word.split(":")
    if len(pieces) > most:
        raise InputError(Problem(case, None, option, f"found {word!r}; allowed: {ALLOWED[option]}"))
    return pieces + [""] * (most - len(pieces))


def _number(case: str, option: str, word: str, text: str) -> float:
    value = figure(text)
    if not abs(value) <= 1e12:
        raise InputError(Problem(case, None, option, f"found {word!r}; allowed: {ALLOWED[option]}"))
    return value
