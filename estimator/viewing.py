"""The checks that can be made on one car: those that fit its build and tell something about it, in walking order."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from estimator.case import Case, Finding
from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import STATIONS, Check


@dataclass(frozen=True)
class Stop:
    """One station with its checks, in the order of the catalogue's file."""

    station: str
    checks: tuple[Check, ...]


def stations(case: Case, catalogue: Catalogue) -> tuple[Stop, ...]:
    """Stations in walking order, each with the checks that fit this car; stations without any are left out."""
    found: dict[str, list[Check]] = {station: [] for station in STATIONS}
    for check in catalogue.checks.values():
        if fits(check, case, catalogue):
            found[check.station].append(check)
    return tuple(Stop(station, tuple(checks)) for station, checks in found.items() if checks)


def fits(check: Check, case: Case, catalogue: Catalogue) -> bool:
    """Whether a check makes sense on this car: its year, its build, and at least one thing it can tell."""
    year, traits = case.car.built.year, frozenset(case.car.traits)
    if not check.suits(case.car.built):
        return False
    if check.imported and not case.imported:
        return False
    if catalogue.has_expression(check.expression, traits, year=year) <= 0:
        return False
    shared = (check.care, check.presentation, check.odometer, check.entry)
    if check.stop or any(one is not None for one in shared):
        return True
    return any(
        catalogue.has(link.component, traits, year) > 0
        for link in check.links
        if link.component in catalogue.components
    )


def out_of_reach(check: Check, case: Case) -> str | None:
    """Why a check cannot be made on this car as it stands; None when it can."""
    if not case.car.runs and not check.nonrunner:
        return "the engine does not run"
    if not case.car.road_legal and "legal-to-drive" in check.needs:
        return "it may not be driven on the road"
    return None


def latest(findings: Iterable[Finding], check: str) -> tuple[int, Finding] | None:
    """The last entry about a check among a case's findings, with its place in the list."""
    found = None
    for index, finding in enumerate(findings):
        if finding.check == check:
            found = (index, finding)
    return found


def looked_at(case: Case, checks: Iterable[Check]) -> int:
    """How many of these checks have an entry, whatever came of it."""
    made = {finding.check for finding in case.finding}
    return sum(check.id in made for check in checks)
