"""What was found at the car, as arrays: beliefs per check, sensitivities, and factors of the shared grid."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from estimator.car import Car
from estimator.casefile.records import Finding
from estimator.catalogue.records import Check

Floats = NDArray[np.float64]
SPENT, WORN, SOUND = 0, 1, 2
SENSES = ("look", "listen", "feel")


@dataclass(frozen=True)
class Evidence:
    """Findings of one viewing.

    checks : ids of the F checks in the network, in catalogue order; belief (F,) that each is present;
    sensitivity (V, F, C, 3), leak (V, F) by how the viewing went: [as it is, dressed up for sale] when looked at
    closely, then both again when looked at in passing (V = 4; V = 2 where no finding rests on a person's senses);
    closely (V / 2,) prior chance of those; care (3,), presentation (2,), odometer (2,) [true, tampered]: log
    likelihood of all findings that speak about those; stops : (check id, sentence) of failed ones; open_stops : ids
    of stops not yet cleared.
    """

    checks: tuple[str, ...]
    belief: Floats
    sensitivity: Floats
    leak: Floats
    closely: Floats
    care: Floats
    presentation: Floats
    odometer: Floats
    stops: tuple[tuple[str, str], ...]
    open_stops: tuple[str, ...]


def belief_in(finding: Finding, check: Check, *, year_built: int) -> float | None:
    """Chance that the check's sign is truly there, as reported; None where nothing was learnt."""
    if finding.value is not None and check.reading is not None:
        reading = check.reading
        beyond = reading.limit_for(year_built) - finding.value
        return float(ndtr((beyond if reading.worse == "below" else -beyond) / reading.error_sd))
    if finding.result == "present":
        return finding.sure
    if finding.result == "absent":
        return 1 - finding.sure
    return None


def attention(finding: Finding, check: Check, car: Car) -> float:
    """Share of the check's stated sensitivity that this person reached in this way."""
    viewer = car.catalogue.settings.evidence.viewer
    share = float(getattr(check.who, finding.by or car.case.car.viewer))
    if finding.how == "pictures":
        share *= check.photo
    elif finding.how == "reported":
        share *= viewer.reported
    return share * (viewer.badly if finding.badly else 1.0)


def read_findings(car: Car) -> Evidence:
    """The case's findings against the catalogue's checks."""
    catalogue, year = car.catalogue, car.year_built
    settings = catalogue.settings.evidence
    care, presentation, odometer = np.zeros(3), np.zeros(2), np.zeros(2)
    rows: dict[str, tuple[float, Floats]] = {}
    stops: list[tuple[str, str]] = []
    cleared: set[str] = set()
    changed = _last_work(car)
    for check_id, findings in _by_check(car.case.finding).items():
        check = catalogue.checks[check_id]
        for finding in findings:
            if finding.result == "refused":
                care += np.log(settings.refused.care)
                presentation += np.log(settings.refused.presentation)
        beliefs = [(f, b) for f in findings if (b := belief_in(f, check, year_built=year)) is not None]
        if not beliefs:
            continue
        finding, belief = max(beliefs, key=lambda pair: pair[1])
        if check.stop:
            cleared.add(check_id)
            if belief >= 0.5:
                stops.append((check_id, check.stop))
        for factor, figures in (
            (care, check.care),
            (presentation, check.presentation),
            (odometer, check.odometer),
        ):
            if figures is not None:
                share = np.clip(np.array(figures), 1e-6, 1 - 1e-6)
                factor += np.log(belief * share + (1 - belief) * (1 - share))
        links = _links(car, check, finding, changed)
        if links.any():
            rows[check_id] = (belief, links * attention(finding, check, car))
    order = [c for c in catalogue.checks if c in rows]
    plain = np.array([rows[c][1] for c in order]).reshape(len(order), len(car.parts), 3)
    masked = plain * np.array([catalogue.checks[c].maskable for c in order])[:, None, None]
    leak = np.array([catalogue.checks[c].leak for c in order])
    closely, share = _attention_levels(car, [catalogue.checks[c] for c in order])
    return Evidence(
        checks=tuple(order),
        belief=np.array([rows[c][0] for c in order]),
        sensitivity=np.concatenate([np.stack([plain, masked]) * s[:, None, None] for s in share]),
        leak=np.repeat(share * leak, 2, axis=0),
        closely=closely,
        care=care,
        presentation=presentation,
        odometer=odometer,
        stops=tuple(stops),
        open_stops=tuple(
            c.id
            for c in catalogue.checks.values()
            if c.stop and c.id not in cleared and applies(c, car) > 0.5
        ),
    )


def _attention_levels(car: Car, checks: list[Check]) -> tuple[Floats, Floats]:
    """(A,) chances and (A, F) shares of every sign, harmless ones too, that reach somebody who looks so.

    The findings of one viewing share the person who made them: without this two hundred ticks would prove an old
    car perfect, where the likelier story is that nobody looked. Measurements and papers do not depend on it.
    """
    viewer = car.catalogue.settings.evidence.viewer
    by_senses = np.array([check.kind in SENSES for check in checks], dtype=bool)
    if not by_senses.any():
        return np.ones(1), np.ones((1, len(checks)))
    passing = getattr(viewer.passing, car.case.car.viewer)
    return np.array([1 - passing, passing]), np.stack(
        [np.ones(len(checks)), np.where(by_senses, viewer.in_passing, 1.0)]
    )


def applies(check: Check, car: Car) -> float:
    """Chance that a check makes sense on this car: its build and year."""
    if check.built and not check.built[0] <= car.year_built <= check.built[1]:
        return 0.0
    return car.chance(check.when)


def _by_check(findings: Iterable[Finding]) -> dict[str, list[Finding]]:
    """The latest finding of each check and side, grouped by check."""
    latest: dict[tuple[str, str], Finding] = {}
    for finding in findings:
        key = (finding.check, finding.side)
        before = latest.get(key)
        if before is None or (finding.date or datetime.date.max) >= (before.date or datetime.date.max):
            latest[key] = finding
    grouped: dict[str, list[Finding]] = {}
    for finding in latest.values():
        grouped.setdefault(finding.check, []).append(finding)
    return grouped


def _last_work(car: Car) -> dict[str, datetime.date]:
    """Last day on which each part was renewed, overhauled or adjusted."""
    last: dict[str, datetime.date] = {}
    for work in car.case.work:
        if work.what.startswith("seen-"):
            continue
        ids = [work.component] if work.component else []
        if work.kit is not None and work.kit in car.catalogue.kits:
            kit = car.catalogue.kits[work.kit]
            ids = list(kit.depths.get(work.depth or "", next(iter(kit.depths.values()))))
        for cid in ids:
            last[cid] = max(last.get(cid, work.date), work.date)
    return last


def _links(car: Car, check: Check, finding: Finding, changed: dict[str, datetime.date]) -> Floats:
    """(C, 3) sensitivities; a part worked on after the finding is no longer what was looked at."""
    links = np.zeros((len(car.parts), 3))
    seen = finding.date or car.case.car.viewed
    for link in check.links:
        position = car.index.get(link.component)
        if position is not None and not changed.get(link.component, datetime.date.min) > seen:
            links[position] = (link.spent, link.worn, 0.0)
    return links
