"""What can be looked at now on this car, by whom, and in which order the world allows it.

Cold-only checks come before the engine has run, hot ones after a real drive; a car that does not run is not
started, one that is not legal to drive not driven; a car not yet seen has pictures and papers only; an auction
leaves a short look at a standing car. Paid inspections are bundles that compete with the rest.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import get_args

from estimator.car import Car
from estimator.case import Finding
from estimator.catalogue.records import STATIONS, Check, Condition
from estimator.decide.sales import at_auction, is_owned
from estimator.evidence.findings import applies

CONDITIONS: tuple[str, ...] = get_args(Condition)
PAID_PLACES = frozenset({"lift", "workshop", "laboratory"})
AWAY = ("before-you-go", "papers-and-questions")  # stations that need no car
AUCTION_LACKS = frozenset(CONDITIONS) - {"cold", "battery", "daylight", "papers", "pictures"}
AUCTION_MINUTES = 20.0
UNSEEN_HAS = frozenset({"seller", "papers", "pictures", "cold", "running", "battery", "daylight"})
ASKS_FOR = {"drives-me-lift-garage-my-choice": "lift"}  # question -> what its refusal takes away
SHOWN_AT = {
    "on-a-lift": "lift",
    "road-test": "drive",
}  # who refuses one look there refuses all (common practice)
NOT_ALLOWED = {"lift": "the seller allows no lift", "drive": "the seller allows no drive"}
LEAST_LIFT_MINUTES = 30.0  # a garage lets its lift by the half hour at least (common practice)
IN_THE_POCKET = ("tread depth gauge",)  # what a newcomer brings too
BEYOND_NEWCOMER = (
    "tester",
    "meter",
    "lever",
    "spanner",
    "jack",
    "gauge",
    "plug",
    "bar",
    "rod",
    "pliers",
    "caliper",
)
BEYOND_OWNER = (
    "dial gauge", "roller brake", "gas analyser", "leak-down", "borescope", "load tester", "hub puller",
    "preload gauge", "spring compressor", "inside gauge", "filter cutter", "dye set", "heat meter",
)  # fmt: skip


@dataclass(frozen=True)
class Option:
    """One check that can be made now.

    by : who makes it; how : in person or from pictures; share : what that leaves of the check's sensitivity.
    minutes of the buyer; price with tax, the case's currency; after : id of the check that opens the place.
    """

    check: Check
    by: str
    how: str
    share: float
    minutes: float
    price: float
    after: str = ""

    @property
    def id(self) -> str:
        return self.check.id


@dataclass(frozen=True)
class Scene:
    """options : checks that can be made now, in order; closed : (check id, why it cannot) of the others;
    made : ids of checks made already; requests : the car is judged from what the seller sends.
    """

    options: tuple[Option, ...]
    closed: tuple[tuple[str, str], ...]
    made: tuple[str, ...]
    requests: bool
    short_list: bool


def scene_of(
    car: Car,
    *,
    stations: Collection[str] = (),
    without: Collection[str] = (),
    price_factor: float = 1.0,
) -> Scene:
    """What can be done now.

    stations : only these (all when empty). without : conditions that are not there, of CONDITIONS.
    price_factor : from the catalogue's prices of checks to the case's currency with tax.
    """
    case = car.case
    lacking = missing(car)
    lacking.update({name: f"no {_words(name)} today" for name in without})
    made = {f.check for f in case.finding if f.result in ("present", "absent") or f.value is not None}
    refused = {f.check for f in case.finding if f.result == "refused"}
    unseen = case.car.sale == "unseen" and not _seen_in_person(car)
    open_by = openers(car.catalogue.checks.values())
    options, closed, done = [], [], []
    for check in car.catalogue.checks.values():
        if applies(check, car) <= 0 or (stations and check.station not in stations):
            continue
        if check.id in made:
            done.append(check.id)
            continue
        why = "the seller refuses it" if check.id in refused else _closed(check, car, lacking, unseen=unseen)
        if why:
            closed.append((check.id, why))
            continue
        by, how, share = who_judges(check, car, unseen=unseen)
        likely = (
            0.0
            if how == "pictures"
            else price_factor * (check.price[0] + 4 * check.price[1] + check.price[2]) / 6
        )
        options.append(Option(check, by, how, share, check.minutes, likely, open_by.get(check.id, "")))
    there = {o.id for o in options}
    kept = [o for o in options if not o.after or o.after in there or o.after in made]
    inside = {o.id for o in kept}
    closed += [(o.id, "what it looks at is not open") for o in options if o.id not in inside]
    ordered = sorted(kept, key=lambda o: place(o.check))
    return Scene(tuple(ordered), tuple(closed), tuple(done), unseen, at_auction(case))


def place(check: Check) -> tuple[int, int]:
    """Where a check stands in a viewing: everything on the cold, standing car first, then with the engine running."""
    station = STATIONS.index(check.station)
    needs = set(check.needs)
    if check.station in AWAY:
        phase = 0
    elif station >= STATIONS.index("one-wheel-at-a-time"):
        phase = 6
    elif "hot" in needs or check.station == "hot":
        phase = 5
    elif needs & {"drive"} or check.station == "road-test":
        phase = 4
    elif check.station == "cold-start" or "cold" in needs:
        phase = 2 if "running" in needs or check.station == "cold-start" else 1
    elif "running" in needs:
        phase = 3
    else:
        phase = 1
    warm = int("cold" not in needs and phase == 2)
    return (phase * 2 + warm, station)


def missing(car: Car) -> dict[str, str]:
    """Conditions that are not there, and why."""
    case = car.case
    lacking: dict[str, str] = {}
    if at_auction(case):
        lacking.update({name: "not at an auction" for name in AUCTION_LACKS})
    if is_owned(case):
        lacking["seller"] = "there is no seller to ask"
    if not case.car.runs:
        lacking.update({name: "it does not run" for name in ("running", "drive", "hot")})
    elif not case.car.road_legal or _drive_ended(car):
        lacking.update({name: "it is not to be driven" for name in ("drive", "legal-to-drive", "hot")})
    for name, why in refused_conditions(car).items():
        lacking.setdefault(name, why)
    if _has_run(car):
        lacking["cold"] = "the engine has run today"
    return lacking


def is_refusal(finding: Finding) -> bool:
    """Whether a finding says that the seller refused something: a look, or in answer to a question for it."""
    answered = finding.check in ASKS_FOR and finding.result == "present" and finding.sure >= 0.5
    return finding.result == "refused" or answered


def refused_conditions(car: Car) -> dict[str, str]:
    """Conditions that are not there because the seller refuses them, and how that is said.

    A refused lift is none for any check; a look refused there counts unless another was allowed. Once the car is
    owned nobody refuses anything.
    """
    case, checks = car.case, car.catalogue.checks
    if is_owned(case):
        return {}
    known = [f for f in case.finding if f.check in checks]
    made = {
        checks[f.check].station
        for f in known
        if f.how == "in-person" and (f.result in ("present", "absent") or f.value is not None)
    }
    gone = {ASKS_FOR[f.check] for f in known if f.check in ASKS_FOR and is_refusal(f)}
    gone |= {
        SHOWN_AT[checks[f.check].station]
        for f in known
        if f.result == "refused" and checks[f.check].station in SHOWN_AT.keys() - made
    }
    lacking = {name: NOT_ALLOWED[name] for name in sorted(gone)}
    if "drive" in lacking:
        lacking["hot"] = lacking["drive"]
    return lacking


def who_judges(check: Check, car: Car, *, unseen: bool = False) -> tuple[str, str, float]:
    """(by, how, share of the stated sensitivity reached) for a check made now."""
    viewer: str = car.case.car.viewer
    if unseen and check.station not in AWAY:
        return viewer, "pictures", float(getattr(check.who, viewer)) * check.photo
    if paid(check):
        viewer = "mechanic"  # who is paid for it makes it
    return viewer, "in-person", float(getattr(check.who, viewer))


def paid(check: Check) -> bool:
    """Whether somebody is paid to make this check, who then makes it with a mechanic's eye."""
    places = PAID_PLACES & set(check.needs)
    return bool(places - {"lift"}) or bool(places and check.price[2] > 0)


def openers(checks: Collection[Check]) -> dict[str, str]:
    """Check id -> id of the check that opens the place it looks at, as the catalogue says."""
    return {check.id: check.after for check in checks if check.after}


def bundles(options: Collection[Option]) -> dict[str, tuple[Option, ...]]:
    """Sets worth trying as a whole: every station's tour, the lift, and everything one opening lets be seen."""
    made: dict[str, tuple[Option, ...]] = {}
    for station in STATIONS:
        tour = tuple(o for o in options if o.check.station == station)
        if len(tour) > 1:
            made[station] = tour
    for head in {o.after for o in options if o.after}:
        family = tuple(o for o in options if head in (o.id, o.after))
        if any(o.id == head for o in family):
            made[head] = family
    return made


def cost(options: Collection[Option]) -> float:
    """Price of making these together: the lift is let by the half hour at least."""
    total = sum(o.price for o in options)
    lift = [o for o in options if o.check.station == "on-a-lift" and o.price > 0]
    minutes = sum(o.minutes for o in lift)
    if 0 < minutes < LEAST_LIFT_MINUTES:
        rate = sum(o.price for o in lift) / minutes
        total += rate * (LEAST_LIFT_MINUTES - minutes)
    return total


def _words(identifier: str) -> str:
    return identifier.replace("-", " ")


def _closed(check: Check, car: Car, lacking: dict[str, str], *, unseen: bool) -> str:
    """Why a check cannot be made now; empty if it can."""
    if unseen:
        if check.station in AWAY:
            short = [n for n in check.needs if n not in UNSEEN_HAS]
            return f"needs {_words(short[0])}" if short else ""
        if check.photo <= 0 or check.kind in ("feel", "listen"):
            return "cannot be judged from pictures"
        return ""
    if check.station == "before-you-go" and _seen_in_person(car):
        return "you have been there already"
    for name in check.needs:
        if name in lacking:
            return lacking[name]
    if not car.case.car.runs and not check.nonrunner:
        return "it does not run"
    if check.station in ("road-test", "hot") and ({"drive", "hot"} & set(lacking)):
        return lacking.get("drive", lacking.get("hot", ""))
    if paid(check):
        return ""
    tool = next((t for t in check.tools if not has_tool(car.case.car.viewer, t)), None)
    return "" if tool is None else f"needs a {tool}"


def has_tool(viewer: str, tool: str) -> bool:
    """Whether such a person has one of the tools that will do: "magnet in a cloth or paint gauge"."""
    return any(_usual(viewer, one) for one in tool.split(" or "))


def _usual(viewer: str, tool: str) -> bool:
    if viewer == "mechanic" or tool in IN_THE_POCKET:
        return True
    if any(word in tool for word in BEYOND_OWNER):
        return False
    return viewer == "handy" or not any(word in tool for word in BEYOND_NEWCOMER)


def _today(car: Car, needs: Collection[str]) -> bool:
    """Whether a check with one of these needs was made in person on the day of the viewing."""
    checks, case = car.catalogue.checks, car.case
    return any(
        f.how == "in-person"
        and (f.result in ("present", "absent") or f.value is not None)
        and (f.date or case.car.viewed) == case.today
        and checks[f.check].station not in AWAY
        and set(checks[f.check].needs) & set(needs)
        for f in case.finding
        if f.check in checks
    )


def _has_run(car: Car) -> bool:
    arrived_warm = any(
        f.check == "hand-radiator-rocker-cover-arrival" and f.result == "present" for f in car.case.finding
    )
    return arrived_warm or _today(car, ("running", "drive", "hot"))


def _seen_in_person(car: Car) -> bool:
    checks = car.catalogue.checks
    return any(
        f.how == "in-person" and f.result != "refused" and checks[f.check].station not in AWAY
        for f in car.case.finding
        if f.check in checks
    )


def _drive_ended(car: Car) -> bool:
    """Whether a check that stops the drive came out badly."""
    checks = car.catalogue.checks
    return any(
        f.result == "present"
        and f.sure >= 0.5
        and checks[f.check].stop
        and checks[f.check].station == "road-test"
        for f in car.case.finding
        if f.check in checks
    )


def price_factor(car: Car) -> float:
    """From the catalogue's prices of checks (a workshop's labour, before tax) to the case's currency with tax."""
    prices, money = car.catalogue.settings.prices, car.case.money
    currency = prices.currency[money.currency]
    tax = currency.tax if money.tax is None else money.tax
    return currency.labour_rate[1] / prices.currency[prices.base].labour_rate[1] * (1 + tax)
