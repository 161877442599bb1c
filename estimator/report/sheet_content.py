"""What stands on an inspection sheet: the checks of one car in walking order, its stops, readings, pictures, cautions.

The sheet is read over the buyer's shoulder. Nothing on it is a sum, a chance or a judgement of anybody:
`fit_to_show` leaves out the sentences of a check's instructions that are meant for the buyer alone.
"""

from __future__ import annotations

import datetime
import hashlib
import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from estimator import viewing
from estimator.case import Case, Finding
from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import Check
from estimator.report.plain_words import clean, commonest_first
from estimator.report.sheet_reach import lacking, not_here
from estimator.views import words

ANSWERS = ("present", "absent", "could-not-try", "refused")
TREAD, TYRE_AGE = "tyre-tread-three-points-each-wheel", "tyre-date-codes-all-five"
WHEELS = (
    ("front-left", "Front left"),
    ("front-right", "Front right"),
    ("rear-left", "Rear left"),
    ("rear-right", "Rear right"),
    ("spare", "Spare"),
)
WHY_NOT = (
    "no time", "not allowed", "no lift or jack", "no tool for it", "bad light or weather", "engine was warm",
    "engine would not run", "not to be driven", "covered or loaded", "not on this car",
)  # fmt: skip
PICTURES = (
    "Each side, front and back, square on, whole car",
    "Both sills, along their length",
    "All four wheel arches, inside edge",
    "Door bottoms and shut edges, each door",
    "Chassis number on the body, and its plate",
    "Engine number, where it can be read",
    "Odometer and panel with the ignition on",
    "Panel again with the engine running, hot",
    "Engine compartment from above, left and right",
    "Every tyre wall with its date code",
    "Floors with the carpets up, boot floor, spare wheel well",
    "Ground under the car before and after the drive",
    "Underside: front, gearbox, shaft, axle, rear",
    "Every paper, both sides, readable",
    "Everything you answered with the left-hand word",
)
LOCAL_RULES = (
    "This sheet reminds; it does not teach the work. Local rules, the maker's instructions and competent or licensed "
    "people come first. What you may do at this car is for its owner to say."
)

# Words that make a sentence one for the buyer alone: sums, chances, doubts about people.
_ALONE = re.compile(
    r"[£€$]|\b(?:prices?|costs?|money|cheap|dear|dearer|dearest|pay|pays|paid|worth|bargain\w*|haggl\w*|expensive|"
    r"chances?|odds|suspect\w*|suspici\w*|hides?|hiding|trader posing|refusal counts|each refusal|good sign|"
    r"honest\w*|for sale|disabled|prove[sn]? nothing|story|trouble|tells little|knows little|says little)\b",
    re.IGNORECASE,
)
# In a check's name or its two answers only these keep it off the sheet: the rest of the words above is harmless there.
_SUM = re.compile(r"[£€$]|\b(?:prices?|costs?|money|cheap|dear|dearer|worth|story)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class ReadingBox:
    """What is read off on a check: unit, what can be read at all, and the limit in words."""

    unit: str
    low: float
    high: float
    limit: str


@dataclass(frozen=True, slots=True)
class Item:
    """One check on the sheet. stop: what follows if it turns out badly; made: the answer the case holds already.

    place: its place in the catalogue, which goes the way one walks; minutes it takes; brings: the tools it takes;
    helper: whether it takes a second person; beyond: what it needs that is not there ("" where it can be made).
    judged: readings for its bad and its good word, where it can be told without measuring.
    """

    id: str
    name: str
    do: str
    present: str
    absent: str
    facts: tuple[str, ...]
    cautions: tuple[str, ...]
    stop: str
    reading: ReadingBox | None
    made: str
    place: int
    minutes: float
    brings: tuple[str, ...]
    helper: bool
    beyond: str
    judged: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Station:
    """One station with its checks: those that can be made, then those beyond reach; in both what can end the deal
    first, then the most telling.
    """

    id: str
    name: str
    items: tuple[Item, ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """Ids of the cautions of its checks, those of most checks first."""
        return tuple(commonest_first(one for item in self.items for one in item.cautions))


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything an inspection sheet says. key: stays the same when the sheet of a car is made again.

    left_out: (name of a check, why it cannot be made on this car as it stands); cautions: text by id.
    """

    key: str
    car: str
    facts: tuple[str, ...]
    viewed: datetime.date
    stations: tuple[Station, ...]
    left_out: tuple[tuple[str, str], ...]
    cautions: Mapping[str, str]
    pictures: tuple[str, ...] = PICTURES

    @property
    def items(self) -> tuple[Item, ...]:
        """All checks, in order."""
        return tuple(item for station in self.stations for item in station.items)


def sheet_of(
    case: Case,
    catalogue: Catalogue,
    *,
    worth: Mapping[str, float] | None = None,
    stations: Collection[str] = (),
    having: Collection[str] = (),
) -> Sheet:
    """The sheet of a car.

    Parameters
    ----------
    worth : how telling each check is, by its id; the more, the nearer the top of its station. Without it the
        catalogue's order stands.
    stations : ids of the stations wanted; all of them when empty. What these need counts as there.
    having : what is there beside what such a viewer brings, of `sheet_reach.HAVING`.
    """
    kept, left_out = [], []
    places = {one: number for number, one in enumerate(catalogue.checks)}
    viewer = case.car.viewer
    for place in viewing.stations(case, catalogue):
        if stations and place.station not in stations:
            continue
        reachable = []
        for check in place.checks:
            reason = not_here(check, case)
            if reason:
                left_out.append((check.name, reason))
            elif fit_to_show(check):
                reachable.append(check)
        if reachable:
            told = worth or {}
            items = [
                _item(
                    check,
                    case,
                    place=places[check.id],
                    beyond="" if stations else lacking(check, viewer, having),
                )
                for check in reachable
            ]
            items.sort(
                key=lambda one: (bool(one.beyond), not one.stop, 0.0 if one.stop else -told.get(one.id, 0.0))
            )
            kept.append(Station(place.station, words.STATIONS[place.station], tuple(items)))
    named = dict.fromkeys(c for station in kept for c in station.cautions)
    car = case.car
    return Sheet(
        key=car_key(case),
        car=clean(case.name),
        facts=(f"built {car.built.year}", f"{car.odometer:,.0f} {car.unit}"),
        viewed=car.viewed,
        stations=tuple(kept),
        left_out=tuple(left_out),
        cautions={one: catalogue.cautions[one].text for one in named if one in catalogue.cautions},
    )


def car_key(case: Case) -> str:
    """A short mark of this car and viewing, under which a phone keeps what is ticked."""
    car = case.car
    said = f"{car.name}|{car.built}|{car.viewed}|{car.odometer:g}|{car.unit}"
    return hashlib.sha256(said.encode()).hexdigest()[:12]


def fit_to_show(check: Check) -> bool:
    """Whether a check's name and words can be read by anybody: without a sum, a chance or a doubt about people."""
    return not any(_SUM.search(text) for text in (check.name, check.present, check.absent))


def for_all_eyes(text: str) -> str:
    """Instructions without the sentences that are for the buyer alone."""
    return " ".join(one for one in sentences(text) if not _ALONE.search(one))


def sentences(text: str) -> list[str]:
    """A text cut after full stops, question and exclamation marks that end a sentence."""
    return [one for one in re.split(r"(?<=[.?!])\s+(?=[A-Z\"“'])", text.strip()) if one]


def brief(text: str) -> str:
    """The first sentence of a caution."""
    return sentences(text)[0]


def _item(check: Check, case: Case, *, place: int, beyond: str) -> Item:
    entry = viewing.latest(case.finding, check.id)
    needs = [words.CHECK_NEEDS[need] for need in check.needs]
    tools = [tool for tool in check.tools if tool not in needs]
    return Item(
        id=check.id,
        name=check.name,
        do=for_all_eyes(check.do),
        present=check.present,
        absent=check.absent,
        facts=tuple(dict.fromkeys([f"{check.minutes:g} min", *needs, *tools])),
        cautions=check.cautions,
        stop=check.stop,
        reading=_reading(check, case.car.built),
        made="" if entry is None else answer_words(entry[1], check),
        place=place,
        minutes=check.minutes,
        brings=check.tools,
        helper="helper" in check.needs,
        beyond=beyond,
        judged=_judged(check, case.car.built),
    )


def _judged(check: Check, first_used: datetime.date) -> tuple[float, float] | None:
    """(reading for the bad word, for the good word) of a check that a tool without a scale can answer: the limit and
    twice the error of a reading on either side of it.
    """
    reading = check.reading
    if reading is None or not any("magnet" in tool for tool in check.tools):
        return None
    limit, wide = reading.limit_for(first_used), 2 * reading.error_sd
    above, below = min(limit + wide, reading.high), max(limit - wide, reading.low)
    return (below, above) if reading.worse == "below" else (above, below)


def _reading(check: Check, first_used: datetime.date) -> ReadingBox | None:
    if check.reading is None:
        return None
    side = "at least" if check.reading.worse == "below" else "at most"
    limit = f"{side} {check.reading.limit_for(first_used):g}"
    return ReadingBox(check.reading.unit, check.reading.low, check.reading.high, limit)


def answer_words(finding: Finding, check: Check) -> str:
    """What a finding says, in the check's own words."""
    if finding.value is not None:
        return f"{finding.value:g} {check.reading.unit if check.reading else ''}".strip()
    own = {"present": check.present, "absent": check.absent, **words.CHOICES["answer"]}
    return own.get(finding.result or "", "")


def still_open(items: Iterable[Item]) -> tuple[Item, ...]:
    """Checks without an answer, or that could not be made last time."""
    again = ("", words.CHOICES["answer"]["could-not-try"], words.CHOICES["answer"]["refused"])
    return tuple(item for item in items if item.made in again)
