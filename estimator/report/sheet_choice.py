"""Which checks of a sheet come first: the same for the two sides of paper and the short list of a phone.

Stops first, then a few of every station, then the others in the order of their worth, which only orders and is never
shown. What needs a lift, a jack or tools that are not there is for a block of its own.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from estimator.report.sheet_content import TREAD, TYRE_AGE, Item, Sheet, Station, still_open

ELSEWHERE = ("before-you-go", "small-things-off", "laboratory")  # not made while standing at the car
LEAST = 3  # checks of every station, turn by turn, before the most telling of all
MOST_BEYOND = 6  # checks in the block for who has a lift, a jack or tools; half of it on one side of paper
SHORT = 75  # checks of a phone's short list: about what two sides of paper hold
BEYOND = "With a lift, jack or tools: for a workshop, or who is used to them"


def ranked_items(sheet: Sheet, worth: Mapping[str, float], stations: Collection[str] = ()) -> list[str]:
    """Ids of the checks that can be made, as they are taken: stops, a few of every station, the most telling."""
    places = [[one for one in _open(station) if not one.beyond] for station in _wanted(sheet, stations)]
    stops = [one.id for items in places for one in items if one.stop]
    others = [[one for one in items if not one.stop] for items in places]
    first = [items[turn].id for turn in range(LEAST) for items in others if turn < len(items)]
    rest = sorted((one.id for items in places for one in items), key=lambda one: -worth.get(one, 0.0))
    return list(dict.fromkeys([*stops, *first, *rest]))


def beyond_reach(
    sheet: Sheet, worth: Mapping[str, float], stations: Collection[str] = (), *, most: int = MOST_BEYOND
) -> list[str]:
    """Ids of the few checks for who has a lift, a jack or tools: stops, then the most telling."""
    items = [one for station in _wanted(sheet, stations) for one in _open(station) if one.beyond]
    items.sort(key=lambda one: (not one.stop, -worth.get(one.id, 0.0)))
    return [one.id for one in items[:most]]


def in_time(sheet: Sheet, ranked: Iterable[str], minutes: float | None) -> list[str]:
    """Of the ranked checks those that fit into the time one after another; what can end the deal stays in any case."""
    if minutes is None:
        return list(ranked)
    items, left, kept = {item.id: item for item in sheet.items}, minutes, []
    for one in ranked:
        if items[one].stop or items[one].minutes <= left:
            kept.append(one)
            left -= items[one].minutes
    return kept


def short_list(sheet: Sheet, worth: Mapping[str, float]) -> frozenset[str]:
    """Ids of a phone's short list; empty where nothing is known of the checks' worth. Tyres are always on it."""
    if not worth:
        return frozenset()
    tyres = {one.id for one in sheet.items} & {TREAD, TYRE_AGE}
    return frozenset([*ranked_items(sheet, worth)[:SHORT], *tyres])


def _wanted(sheet: Sheet, stations: Collection[str]) -> list[Station]:
    return [s for s in sheet.stations if (s.id in stations if stations else s.id not in ELSEWHERE)]


def _open(station: Station) -> list[Item]:
    """What still has to be looked at; tread and date codes have a table of their own."""
    return [item for item in still_open(station.items) if item.id not in (TREAD, TYRE_AGE)]
