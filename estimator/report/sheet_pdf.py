"""The inspection sheet on paper: an A4 leaf printed on both sides, with the most telling checks that fit on it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from estimator.report.sheet_content import (
    LOCAL_RULES,
    TREAD,
    TYRE_AGE,
    WHEELS,
    Item,
    Sheet,
    brief,
    still_open,
)
from estimator.report.typesetting import pages_of, pdf_of

TEMPLATE = "sheet.typ"
SIDES = 2
ELSEWHERE = ("before-you-go", "small-things-off", "laboratory")  # not made while standing at the car
LEAST = 4  # checks of every station, before the most telling of all


def sheet_pdf(
    sheet: Sheet,
    *,
    worth: Mapping[str, float] | None = None,
    sides: int | None = SIDES,
    stations: Collection[str] = (),
) -> bytes:
    """The sheet as PDF.

    Parameters
    ----------
    worth : how telling each check is, by its id; those of most worth are kept where not all fit.
    sides : pages to fill; None takes every check, on as many pages as that needs, and prints every caution in full.
    stations : ids of the stations wanted; by default those one goes through at the car.
    """
    if sides is None:
        return pdf_of(TEMPLATE, _data(sheet, [i.id for i in sheet.items], in_full=True))
    ranked = ranked_items(sheet, worth or {}, stations)
    low, high = 0, len(ranked)
    while low < high:  # the most checks that fit
        middle = (low + high + 1) // 2
        if pages_of(TEMPLATE, _data(sheet, ranked[:middle])) <= sides:
            low = middle
        else:
            high = middle - 1
    return pdf_of(TEMPLATE, _data(sheet, ranked[:low]))


def ranked_items(sheet: Sheet, worth: Mapping[str, float], stations: Collection[str] = ()) -> list[str]:
    """Ids of the checks for paper: what can end the deal, a few of every station, then the most telling."""
    places = [s for s in sheet.stations if (s.id in stations if stations else s.id not in ELSEWHERE)]
    open_items = [
        item for station in places for item in still_open(station.items) if item.id not in (TREAD, TYRE_AGE)
    ]
    stops = [item.id for item in open_items if item.stop]
    first = [item.id for s in places for item in [i for i in still_open(s.items) if not i.stop][:LEAST]]
    rest = sorted((item.id for item in open_items), key=lambda one: -worth.get(one, 0.0))
    kept = dict.fromkeys([*stops, *first, *rest])
    return [one for one in kept if one not in (TREAD, TYRE_AGE)]


def _data(sheet: Sheet, kept: list[str], *, in_full: bool = False) -> dict[str, Any]:
    """What the template sets: checks by station in walking order, readings apart."""
    chosen = set(kept)
    stations, readings = [], []
    for station in sheet.stations:
        items = [item for item in station.items if item.id in chosen and item.id not in (TREAD, TYRE_AGE)]
        looks = [item for item in items if item.reading is None]
        readings += [_reading(item) for item in items if item.reading is not None]
        named = dict.fromkeys(one for item in items for one in item.cautions if one in sheet.cautions)
        if looks:
            cautions = [_short(sheet.cautions[one]) for one in named]
            stations.append(
                {"name": station.name, "cautions": cautions, "items": [_row(item) for item in looks]}
            )
    tyres = TREAD in {item.id for item in sheet.items}
    return {
        "car": sheet.car,
        "facts": list(sheet.facts),
        "stations": stations,
        "readings": readings,
        "wheels": [name for _, name in WHEELS] if tyres else [],
        "not_looked": [station.name for station in sheet.stations],
        "left_out": sorted({why for _, why in sheet.left_out}),
        "pictures": list(sheet.pictures),
        "rules": LOCAL_RULES,
        "full": list(sheet.cautions.values()) if in_full else [],
    }


def _short(text: str) -> str:
    return brief(text)


def _row(item: Item) -> dict[str, str]:
    return {
        "name": item.name,
        "present": item.present,
        "absent": item.absent,
        "stop": item.stop,
        "unit": item.reading.unit if item.reading else "",
        "limit": item.reading.limit if item.reading else "",
    }


def _reading(item: Item) -> dict[str, str]:
    assert item.reading is not None
    return {"name": item.name, "unit": item.reading.unit, "limit": item.reading.limit}
