"""What really happened, added to the case file: bills, quotes, what was seen when apart, work done, the purchase.

The file's text is edited, its comments stay, and before anything is returned the new text is read back: every entry
that was there must still be there. Nothing is written here; a duplicate, a wrong currency or an entry that belongs
to the time before the purchase is refused with a message.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from estimator.case import Case, edit_case_text, parse_case
from estimator.casefile.records import LISTS, Work
from estimator.casefile.words import result_words
from estimator.catalogue.load import Catalogue
from estimator.problems import InputError, Problem

Entry = tuple[str, dict[str, Any]]
_RENEWING = ("renewed", "overhauled")


@dataclass(frozen=True)
class Recorded:
    """The new text of the file, the case it says, what was added (as tables) and what else was changed."""

    text: str
    case: Case
    added: tuple[dict[str, Any], ...]
    notes: tuple[str, ...]


def invoice(
    date: datetime.date,
    *,
    component: str | None = None,
    kit: str | None = None,
    depth: str | None = None,
    price: float | None = None,
    what: str = "renewed",
    fitted: str = "unknown",
    odometer: float | None = None,
    side: str = "both",
    note: str = "",
    by: str = "workshop",
    evidence: str = "invoice",
) -> Entry:
    """A bill for work: an entry of [[work]] with an invoice as its proof."""
    given = {
        "date": date, "odometer": odometer, "component": component, "kit": kit, "depth": depth, "what": what,
        "fitted": None if fitted == "unknown" else fitted, "by": by, "evidence": evidence,
        "side": None if side == "both" else side, "price": price, "note": note or None,
    }  # fmt: skip
    return "work", {key: value for key, value in given.items() if value is not None}


def done(date: datetime.date, component: str | None = None, **more: Any) -> Entry:
    """A finished job of the owner's: the part, or the kit, renewed, with the receipt for it as proof."""
    return invoice(date, component=component, **{"by": "owner", "evidence": "receipt", **more})


def seen(date: datetime.date, component: str, condition: str, *, by: str = "owner", **more: Any) -> Entry:
    """What a part was like when it was apart: sound, worn or spent."""
    return invoice(
        date, component=component, **{"what": f"seen-{condition}", "by": by, "evidence": "strip-down", **more}
    )


def reading(date: datetime.date, odometer: float, *, note: str = "") -> Entry:
    """What the odometer showed on a day, in the unit of the case."""
    return "reading", {"date": date, "odometer": odometer, **({"note": note} if note else {})}


def checked(
    date: datetime.date, check: str, *, result: str | None = None, value: float | None = None, note: str = ""
) -> Entry:
    """The result of a check made after the viewing."""
    given = {"check": check, "result": result, "value": value, "date": date, "note": note or None}
    return "finding", {key: v for key, v in given.items() if v is not None}


def one_bill(entries: Sequence[Entry], price: float | None) -> list[Entry]:
    """Entries of work on one bill: its sum stands with the first of them, whose note says so (see
    `estimator.look_back.bills_of`, which reads it so)."""
    made = [(table, dict(entry)) for table, entry in entries]
    if price is not None and made:
        first = made[0][1]
        first["price"] = price
        if len(made) > 1:
            said = f"the bill is for all {len(made)} entries of this day"
            first["note"] = "; ".join(filter(None, (first.get("note"), said)))
    return made


def quote(
    component: str,
    remedy: str,
    price: float,
    *,
    date: datetime.date | None = None,
    covers: str = "parts",
    before_tax: bool = False,
    note: str = "",
) -> Entry:
    """A price quoted for one way to put a part right."""
    given = {
        "component": component, "remedy": remedy, "price": price, "before_tax": before_tax or None,
        "covers": None if covers == "parts" else covers, "date": date, "note": note or None,
    }  # fmt: skip
    return "quote", {key: value for key, value in given.items() if value is not None}


def record(
    text: str,
    entries: Sequence[Entry],
    *,
    name: str = "case",
    catalogue: Catalogue | None = None,
    bought: datetime.date | None = None,
    paid: float | None = None,
    currency: str | None = None,
    history: bool = False,
) -> Recorded:
    """The case file's text with entries added.

    Parameters
    ----------
    text, name : the file's text, and what messages call it.
    bought, paid : the purchase, if the file does not have it yet.
    currency : what the sums are in; must be the case's.
    history : the entries are papers of the time before the purchase.

    Raises
    ------
    InputError
        For anything refused; the file as it stands is untouched by that.
    """
    case = parse_case(text, name, catalogue)
    problems: list[Problem] = []
    if not entries and bought is None:
        problems.append(Problem(name, None, "", "there is nothing to record"))
    problems += wrong_currency(case, currency, name=name)
    made, notes = text, []
    if bought is not None:
        if case.bought is not None:
            text_ = f"the purchase is recorded already ({case.bought.date}); change it in the file by hand"
            problems.append(Problem(name, None, "bought", text_))
        else:
            made = _purchase(made, bought, paid)
    if problems:
        raise InputError(problems)
    date_bought = bought or (case.bought.date if case.bought is not None else None)
    problems = _refusals(case, entries, name=name, bought=date_bought, history=history, catalogue=catalogue)
    if problems:
        raise InputError(problems)
    made, moved = as_of_moved(made, case, entries)
    notes += moved
    for table, entry in entries:
        made = edit_case_text(made, {(table, "+"): entry})
    try:
        after = parse_case(made, name, catalogue)
    except InputError as error:
        raise InputError([_of_entry(problem, case, entries) for problem in error.problems]) from None
    nothing_lost(text, made, case, after, changed=bool(moved))
    notes += new_doubts(case, after)
    added = tuple({"table": table, **entry} for table, entry in entries)
    if bought is not None:
        added = ({"table": "bought", "date": bought, **({} if paid is None else {"price": paid})}, *added)
    return Recorded(made, after, added, tuple(notes))


def _of_entry(problem: Problem, case: Case, entries: Sequence[Entry]) -> Problem:
    """The same problem by what was to be recorded: the file has no such line, and will not have it."""
    table, index = (*problem.path, None, None)[:2]
    if table not in LISTS or not isinstance(index, int) or index < len(getattr(case, str(table))):
        return problem
    entry = [given for of, given in entries if of == table][index - len(getattr(case, str(table)))]
    key = ", ".join([_called(entry), *(str(one) for one in problem.path[2:])])
    return dataclasses.replace(problem, line=None, key=key)


def wrong_currency(case: Case, currency: str | None, *, name: str) -> list[Problem]:
    """What is wrong with sums said to be in a currency, as problems of a case: none, or one."""
    own = case.money.currency
    if currency is None or currency.upper() == own:
        return []
    said = (
        f"the case is in {own}, the sums are in {currency.upper()}: put them into {own} at the rate you paid"
    )
    return [Problem(name, None, "currency", said)]


def _purchase(text: str, bought: datetime.date, paid: float | None) -> str:
    return edit_case_text(
        text, {("bought", "date"): bought, **({} if paid is None else {("bought", "price"): paid})}
    )


def as_of_moved(text: str, case: Case, entries: Sequence[Entry]) -> tuple[str, list[str]]:
    """The text with `bought.as_of` moved on to the latest of the entries, where the file names one, and what is said
    of it."""
    moved, notes = moved_on(case, [_day(entry) for _, entry in entries])
    if moved.bought is None or not notes:
        return text, []
    return edit_case_text(text, {("bought", "as_of"): moved.bought.as_of}), notes


def moved_on(case: Case, days: Iterable[datetime.date | None]) -> tuple[Case, list[str]]:
    """After the purchase the day everything is computed as of moves on with what is recorded: the case as of the
    latest of these days where it names an earlier one, and what is said of it."""
    latest = max((day for day in days if day is not None), default=None)
    if case.bought is None or case.bought.as_of is None or latest is None or latest <= case.bought.as_of:
        return case, []
    note = f"bought.as_of moved from {case.bought.as_of} to {latest}, the latest day recorded"
    return dataclasses.replace(case, bought=dataclasses.replace(case.bought, as_of=latest)), [note]


def new_doubts(before: Case, after: Case) -> list[str]:
    """What is odd about the case since it was written to, such as an odometer that falls: taken all the same."""
    known = {doubt.text for doubt in before.warnings}
    return [f"{doubt.key}: {doubt.text}" for doubt in after.warnings if doubt.text not in known]


def _refusals(
    case: Case,
    entries: Sequence[Entry],
    *,
    name: str,
    bought: datetime.date | None,
    history: bool,
    catalogue: Catalogue | None,
) -> list[Problem]:
    problems = []
    known = [("work", _work_data(w)) for w in case.work]
    known += [("quote", _plain(q, ("component", "remedy", "price", "date"))) for q in case.quote]
    known += [("reading", _plain(r, ("date", "odometer"))) for r in case.reading]
    known += [("finding", _plain(f, ("check", "result", "value", "date", "side"))) for f in case.finding]
    for place, (table, entry) in enumerate(entries):
        what = _called(entry)
        if table == "work" and bought is not None and not history and _before(entry, bought):
            problems.append(
                Problem(name, None, what, f"is dated {entry['date']}, before the purchase on {bought}: if it is a "
                        "paper of that time, say so and record it as history (on the command line --history); "
                        "otherwise mend the date")
            )  # fmt: skip
        again = _same(table, entry, known, catalogue)
        if again is not None:
            problems.append(
                Problem(name, None, what, f"is recorded already ({_said(again, catalogue)}); nothing was added. If it "
                        "was really done twice, give the second its own date or side")
            )  # fmt: skip
            continue
        twice = _same(table, entry, list(entries[:place]), catalogue)
        if twice is not None:
            problems.append(
                Problem(
                    name, None, what, f"stands twice in what is to be recorded ({_said(twice, catalogue)})"
                )
            )
    return problems


def _day(entry: dict[str, Any]) -> datetime.date | None:
    """The day of an entry; of a bare year its middle, as the file is read; None where none is given, or no day."""
    day = entry.get("date")
    if isinstance(day, int) and datetime.MINYEAR <= day <= datetime.MAXYEAR:
        return datetime.date(day, 7, 1)
    return day if isinstance(day, datetime.date) else None


def _before(entry: dict[str, Any], bought: datetime.date) -> bool:
    """Whether an entry is certainly of the time before the purchase."""
    day = _day(entry)
    if day is None:
        return False
    return day.year < bought.year if isinstance(entry["date"], int) else day < bought


def _work_data(work: Work) -> dict[str, Any]:
    return _plain(work, ("date", "component", "kit", "depth", "what", "side"))


def _plain(entry: Any, keys: Sequence[str]) -> dict[str, Any]:
    return {key: getattr(entry, key) for key in keys}


def _called(entry: dict[str, Any]) -> str:
    return str(entry.get("component") or entry.get("kit") or entry.get("check") or "odometer")


def _said(entry: dict[str, Any], catalogue: Catalogue | None) -> str:
    check = None if catalogue is None else catalogue.checks.get(str(entry.get("check")))
    told = {**entry, "result": result_words(str(entry["result"]), check)} if entry.get("result") else entry
    keys = ("date", "what", "remedy", "price", "result", "value", "odometer")
    return ", ".join([_called(entry), *(str(told[k]) for k in keys if told.get(k) is not None)])


def _same(
    table: str, entry: dict[str, Any], others: Sequence[Entry], catalogue: Catalogue | None
) -> dict[str, Any] | None:
    """An entry that says the same thing, among others; None if there is none."""
    for other_table, other in others:
        if other_table != table:
            continue
        if table == "work":
            same_day = _day(entry) == _day(other)
            kind, other_kind = entry.get("what", "renewed"), other.get("what", "renewed")
            alike = kind == other_kind or {kind, other_kind} <= set(_RENEWING)
            sides = entry.get("side", "both") == other.get("side", "both")
            if same_day and alike and sides and _parts(entry, catalogue) & _parts(other, catalogue):
                return other
        elif table == "reading":
            if all(entry.get(k) == other.get(k) for k in ("date", "odometer")):
                return other
        elif table == "quote":
            if all(entry.get(k) == other.get(k) for k in ("component", "remedy", "price", "date")):
                return other
        elif all(entry.get(k) == other.get(k) for k in ("check", "date")) and (
            entry.get("side", "both") == other.get("side", "both")
        ):
            return other
    return None


def _parts(entry: dict[str, Any], catalogue: Catalogue | None) -> set[str]:
    """Parts an entry of work speaks of; a kit counts for all it covers."""
    if entry.get("component") is not None:
        return {str(entry["component"])}
    kit = None if catalogue is None else catalogue.kits.get(str(entry.get("kit")))
    if kit is None:
        return {f"kit {entry.get('kit')}"}
    depth = entry.get("depth")
    return set(kit.depths[depth if depth in kit.depths else next(iter(kit.depths))])


def entries_kept(before: Case, after: Case, *, answered: Collection[str] = ()) -> None:
    """Every entry of a case is still there after it was written to, findings of the `answered` checks aside.

    Raises
    ------
    RuntimeError
        If not: a fault of this program, found before anything is written.
    """
    for table in LISTS:
        kept = getattr(after, table)
        for entry in getattr(before, table):
            if entry not in kept and not (table == "finding" and entry.check in answered):
                raise RuntimeError(f"an entry of [[{table}]] would have been lost; nothing was written")


def nothing_lost(old: str, new: str, before: Case, after: Case, *, changed: bool) -> None:
    """Every entry and every comment of the old text is in the new one.

    Raises
    ------
    RuntimeError
        If not: a fault of this program, found before anything is written.
    """
    entries_kept(before, after)
    if before.car != after.car or before.money != after.money:
        raise RuntimeError("[car] or [money] would have changed; nothing was written")
    lines = {line.strip() for line in new.splitlines()}
    lost = [line for line in old.splitlines() if line.strip() and line.strip() not in lines]
    if [line for line in lost if not (changed and line.strip().startswith("as_of"))]:
        raise RuntimeError(f"a line would have been lost ({lost[0].strip()[:60]}); nothing was written")
