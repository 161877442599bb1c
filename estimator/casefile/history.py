"""What a case says about distance and days, in kilometres and dates: pure functions of the records."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from estimator.casefile.records import Bought, CaseForm, OdometerReplaced
from estimator.casefile.words import km
from estimator.toml_lines import KeyPath


@dataclass(frozen=True, slots=True)
class DatedReading:
    """One dated odometer reading, in kilometres.

    shown_km: what stood on the dial; km: the same with earlier, replaced odometers added (not with
    turn-overs: nobody wrote those down); source: the key it comes from.
    """

    date: datetime.date
    shown_km: float
    km: float
    source: KeyPath


def shown_values(form: CaseForm) -> Iterator[tuple[KeyPath, datetime.date, float, str]]:
    """(key, day, what stood on the dial, its unit) of every reading, in the file's order; the viewing comes last."""
    tables: tuple[tuple[str, Iterable], ...] = (
        ("reading", form.reading),
        ("test", form.test),
        ("work", form.work),
    )
    for table, entries in tables:
        for index, entry in enumerate(entries):
            if entry.odometer is not None:
                yield (table, index, "odometer"), entry.date, entry.odometer, entry.unit or form.car.unit
    yield ("car", "odometer"), form.car.viewed, form.car.odometer, form.car.unit


def dated_readings(form: CaseForm) -> tuple[DatedReading, ...]:
    """Every reading in order of date, distances of replaced odometers added.

    On the day an odometer was replaced a reading counts as the old one's. Where the old one's last reading is not
    known, no more is added than was read before that day: a case by itself knows no usual distance.
    """
    raw = sorted(shown_values(form), key=lambda one: one[1])
    swaps = sorted(form.odometer_replaced, key=lambda one: one.date)
    made: list[DatedReading] = []
    offset = 0.0
    position = 0
    for source, date, value, unit in raw:
        shown = km(value, unit)
        while position < len(swaps) and swaps[position].date < date:
            old, new = swapped_km(swaps[position], form.car.unit)
            offset = offset_after(old, new, offset_km=offset, last_km=made[-1].km if made else 0.0)
            position += 1
        made.append(DatedReading(date, shown, shown + offset, source))
    return tuple(made)


def swapped_km(swap: OdometerReplaced, unit: str) -> tuple[float | None, float]:
    """(last shown by the old odometer or None, what the new one started at), km."""
    used = swap.unit or unit
    return (None if swap.old is None else km(swap.old, used)), km(swap.new, used)


def offset_after(
    old_km: float | None, new_km: float, *, offset_km: float, last_km: float, gone_km: float = 0.0
) -> float:
    """What is added to every reading of a new odometer, km.

    Parameters
    ----------
    old_km : last shown by the one it replaced, None where nobody knows; new_km : what it started at.
    offset_km : what was added to the old one's readings.
    last_km : distance at the last reading before the day; gone_km : driven since, where only that can be guessed.
    """
    then = last_km + max(gone_km, 0.0) if old_km is None else old_km + offset_km
    return max(then, last_km) - new_km


def latest_recorded(form: CaseForm) -> datetime.date | None:
    """The latest day anything was read, tested, done, found or quoted; None when nothing is dated."""
    days = [day for _, day in recorded_days(form)]
    return max(days) if days else None


def recorded_days(form: CaseForm) -> Iterator[tuple[KeyPath, datetime.date]]:
    """Days of things that happened, with their keys: no plans, no guarantees."""
    tables: tuple[tuple[str, Iterable], ...] = (
        ("reading", form.reading),
        ("odometer_replaced", form.odometer_replaced),
        ("test", form.test),
        ("work", form.work),
        ("finding", form.finding),
        ("quote", form.quote),
    )
    for table, entries in tables:
        for index, entry in enumerate(entries):
            if entry.date is not None:
                yield (table, index, "date"), entry.date


def reference_days(form: CaseForm) -> Iterator[tuple[KeyPath, datetime.date]]:
    """Days of the viewing and of the purchase, and the one everything is said to be computed as of, with their keys."""
    yield ("car", "viewed"), form.car.viewed
    if form.bought is not None:
        yield ("bought", "date"), form.bought.date
        if form.bought.as_of is not None:
            yield ("bought", "as_of"), form.bought.as_of


def today(form: CaseForm) -> datetime.date:
    """The day everything is computed as of: the viewing; once bought, `as_of` (default: the latest
    recorded day, at least the day of purchase and of viewing)."""
    bought: Bought | None = form.bought
    if bought is None:
        return form.car.viewed
    if bought.as_of is not None:
        return bought.as_of
    return max(filter(None, (form.car.viewed, bought.date, latest_recorded(form))))
