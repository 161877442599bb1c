"""The inspection sheet on paper: an A4 leaf printed on both sides, with the checks that fit on it.

Stops first, then a few of every station, then in the order the sheet was made with; each station in walking order.
What needs a lift, a jack or tools that are not there has a short block of its own.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from estimator.report.sheet_choice import BEYOND, MOST_BEYOND, beyond_reach, in_time, ranked_items
from estimator.report.sheet_content import (
    LOCAL_RULES,
    TREAD,
    TYRE_AGE,
    WHEELS,
    Item,
    Sheet,
    brief,
)
from estimator.report.typesetting import pages_of, pdf_of

TEMPLATE = "sheet.typ"
SIDES = 2


def sheet_pdf(
    sheet: Sheet,
    *,
    worth: Mapping[str, float] | None = None,
    sides: int | None = SIDES,
    stations: Collection[str] = (),
    minutes: float | None = None,
) -> bytes:
    """The sheet as PDF.

    Parameters
    ----------
    worth : how telling each check is, by its id; those of most worth are kept where not all fit.
    sides : pages to fill; None takes every check, on as many pages as that needs, and prints every caution in full.
    stations : ids of the stations wanted; by default those one goes through at the car.
    minutes : time there is for the checks; None is no limit.
    """
    if sides is None:
        return pdf_of(TEMPLATE, _data(sheet, [i.id for i in sheet.items], in_full=True))
    told = worth or {}
    ranked = in_time(sheet, ranked_items(sheet, told, stations), minutes)
    beyond = beyond_reach(sheet, told, stations, most=min(MOST_BEYOND, sides * MOST_BEYOND // SIDES))
    low, high = 0, len(ranked)
    while low < high:  # the most checks that fit
        middle = (low + high + 1) // 2
        if pages_of(TEMPLATE, _data(sheet, [*ranked[:middle], *beyond])) <= sides:
            low = middle
        else:
            high = middle - 1
    return pdf_of(TEMPLATE, _data(sheet, [*ranked[:low], *beyond]))


def _data(sheet: Sheet, kept: list[str], *, in_full: bool = False) -> dict[str, Any]:
    """What the template sets: checks by station in walking order, then those beyond reach."""
    chosen, told = set(kept), set[str]()
    items = [one for one in sheet.items if one.id in chosen and one.id not in (TREAD, TYRE_AGE)]
    blocks = []
    for station in sheet.stations:
        own = [one for one in station.items if one in items and (in_full or not one.beyond)]
        blocks.append(_block(station.name, own, sheet, told))
    if not in_full:
        blocks.append(_block(BEYOND, [one for one in items if one.beyond], sheet, told))
    tyres = TREAD in {item.id for item in sheet.items}
    within = [one for one in items if not one.beyond]
    return {
        "car": sheet.car,
        "facts": list(sheet.facts),
        "bring": list(dict.fromkeys(tool for one in within for tool in one.brings)),
        "stations": [block for block in blocks if block["items"]],
        "wheels": [name for _, name in WHEELS] if tyres else [],
        "not_looked": [station.name for station in sheet.stations],
        "left_out": sorted({why for _, why in sheet.left_out}),
        "pictures": list(sheet.pictures),
        "rules": LOCAL_RULES,
        "full": list(sheet.cautions.values()) if in_full else [],
    }


def _block(name: str, items: list[Item], sheet: Sheet, told: set[str]) -> dict[str, Any]:
    """A station's rows, stops first, then the way one walks. A caution is written out where it comes first, named
    where it comes again.
    """
    walked = sorted(items, key=lambda one: (not one.stop, one.place))
    named = dict.fromkeys(one for item in walked for one in item.cautions if one in sheet.cautions)
    new = [one for one in named if one not in told]
    again = [one.replace("-", " ") for one in named if one in told]
    told.update(new)
    return {
        "name": name,
        "minutes": round(sum(one.minutes for one in items)),
        "cautions": [brief(sheet.cautions[one]) for one in new],
        "again": again,
        "items": [_row(one) for one in walked],
    }


def _row(item: Item) -> dict[str, Any]:
    measured = item.reading is not None and item.judged is None
    return {
        "name": item.name,
        "present": item.present,
        "absent": item.absent,
        "stop": item.stop,
        "note": _note(item),
        "unit": item.reading.unit if item.reading and measured else "",
        "limit": item.reading.limit if item.reading and measured else "",
    }


def _note(item: Item) -> str:
    """What stands small behind a check's name."""
    notes = [item.beyond] if item.beyond else ["with a helper"] if item.helper else []
    if item.judged and item.reading:
        bad, good = (f"{one:,.0f}" for one in item.judged)
        notes.append(f"enter at home {bad} or {good} {item.reading.unit}, or what a gauge read")
    return "; ".join(notes)
