"""What was recorded and how the forecast moved, as text for a terminal."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any

from estimator.case import Case
from estimator.casefile.words import result_words
from estimator.catalogue.load import Catalogue
from estimator.distribution import Distribution
from estimator.look_back import ENOUGH, LookBack, Tally
from estimator.record import Recorded
from estimator.report.blocks import bullets, joined, wrapped
from estimator.report.plain_words import money
from estimator.views.looking_back import not_counted
from estimator.views.words import CHOICES, SURE, day, distance, percent, plural


def record_text(
    found: Recorded,
    catalogue: Catalogue,
    *,
    before: Distribution | None,
    after: Distribution | None,
    back: LookBack | None,
) -> str:
    """What `estimator record` prints: entries, notes, the forecast before and after, looking back."""
    currency = found.case.money.currency
    count = len(found.added)
    said_count = "nothing new" if count == 0 else "1 entry" if count == 1 else f"{count} entries"
    rows = wrapped(f"Recorded in {found.case.name}: {said_count}", rest="    ")
    rows += bullets([*(said(entry, found.case, catalogue) for entry in found.added), *found.notes])
    forecast: list[str] = []
    if before is not None and after is not None:
        forecast = wrapped(
            f"Twelve months ahead: likely {money(before.p50, currency)} before, {money(after.p50, currency)} now; one "
            f"time in five more than {money(after.p80, currency)}.",
            rest="    ",
        )
    told = (
        []
        if back is None
        else [row for line in look_back_rows(back, currency) for row in wrapped(line, rest="    ")]
    )
    return joined([rows, forecast, told])


def said(entry: Mapping[str, Any], case: Case, catalogue: Catalogue) -> str:
    """One entry in a line, in the words of the screen and of the check; the name it has in the file in brackets."""
    table = str(entry["table"])
    name, identifier = _named(entry, catalogue)
    told = [_value(key, value, entry, case, catalogue) for key, value in entry.items() if key not in _NAMING]
    head = f"{TABLES.get(table, table)}: {name} ({identifier})" if identifier else TABLES.get(table, table)
    return ": ".join(filter(None, (head, ", ".join(told))))


TABLES = {"work": "work", "finding": "found", "quote": "quote", "reading": "odometer", "bought": "bought"}
_NAMING = ("table", "component", "kit", "check")


def _named(entry: Mapping[str, Any], catalogue: Catalogue) -> tuple[str, str]:
    """What an entry is about: its name, and its id; empty for an entry about the car."""
    for key, known in (
        ("component", catalogue.components),
        ("kit", catalogue.kits),
        ("check", catalogue.checks),
    ):
        if key in entry:
            record: Any = known.get(entry[key])
            return str(getattr(record, "name", entry[key])), str(entry[key])
    return "", ""


def _value(key: str, value: Any, entry: Mapping[str, Any], case: Case, catalogue: Catalogue) -> str:
    check = catalogue.checks.get(str(entry.get("check")))
    unit = str(entry.get("unit") or case.car.unit)
    if key == "result" and check is not None:
        return result_words(str(value), check)
    if key == "value" and check is not None and check.reading is not None:
        return f"{value:g} {check.reading.unit}"
    if key == "price":
        return money(float(value), case.money.currency)
    if key in ("odometer", "old", "new"):
        return f"odometer {distance(float(value), unit)}"
    if key == "sure":
        return SURE.get(value, f"sure {value}")
    if key == "date":
        return day(value) if isinstance(value, datetime.date) else str(value)
    if isinstance(value, bool):
        return key.replace("_", " ") if value else f"not {key.replace('_', ' ')}"
    if isinstance(value, list | tuple):
        return ", ".join(map(str, value))
    words = CHOICES.get("test_result" if entry["table"] == "test" and key == "result" else key, {})
    told = words.get(str(value))
    return told if told is not None and key in _ALONE else f"{key.replace('_', ' ')} {told or value}"


_ALONE = ("what", "evidence", "result")  # their words say what they are about


def look_back_rows(back: LookBack, currency: str) -> Sequence[str]:
    """What happened since the purchase against what was expected on the day of it, a line each."""
    return (
        f"Since {back.since}: {money(back.spent, currency)} in {plural(back.bills_recorded, 'bill')}; on that day the "
        f"whole first year, of which {percent(back.share_of_year)} has gone by, was expected at "
        f"{money(back.expected['p10'], currency)} to {money(back.expected['p90'], currency)} (eight times in ten).",
        "Bills inside the range of eight in ten of their parts: " + _tally(back.bills),
        "Parts seen apart that were spent: " + _tally(back.conditions),
        *not_counted(back),
    )


def _tally(t: Tally) -> str:
    if t.n == 0:
        return "none yet."
    low, high = t.interval
    text = (
        f"{t.k} of {t.n} ({t.expected:.1f} expected; true share {100 * low:.0f} to {100 * high:.0f} in 100): "
    )
    return text + (t.verdict + "." if t.verdict else f"too few to say anything, {ENOUGH} are needed.")
