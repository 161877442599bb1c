"""What was found at the car, as arrays: beliefs per check, sensitivities, and factors of the shared grid."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from estimator.car import Car
from estimator.casefile.records import Finding
from estimator.catalogue.records import Check, Reading
from estimator.catalogue.settings import Far

Floats = NDArray[np.float64]
SPENT, WORN, SOUND = 0, 1, 2
SENSES = ("look", "listen", "feel")
OF_THE_CAR = (*SENSES, "measure")  # kinds of check that ask the car, not a person or a paper
AWAY = "laboratory"  # nobody is told at the car to go there first
ONE_SIDE = 0.5  # a pair of which one side was looked at shows a fault there half the time
RENEWED_WAS_SPENT = 0.7  # chance that a part renewed after a sign was seen had needed it (elicited)


@dataclass(frozen=True)
class Evidence:
    """Findings of one viewing.

    checks : ids of the F checks in the network, in catalogue order; belief (F,) that each is present;
    sensitivity (V, F, C, 3), leak (V, F) by how the viewing went: [as it is, dressed up for sale] when looked at
    closely, then both again when looked at in passing (V = 4; V = 2 where no finding rests on a person's senses);
    closely (V / 2,) prior chance of those; care (3,), presentation (2,), odometer (2,) [true, tampered]: log
    likelihood of all findings that speak about those; stops : (check id, sentence) of failed ones; open_stops : ids
    of stops not yet cleared; harmless (F,) share of each leak that is nobody's work: the rest stands for parts
    renewed since the sign was seen.
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
    harmless: Floats


def belief_in(finding: Finding, check: Check, *, first_used: datetime.date) -> float | None:
    """Chance that the check's sign is truly there, as reported; None where nothing was learnt."""
    if finding.value is not None and check.reading is not None:
        return _past(finding.value, check.reading.limit_for(first_used), check.reading)
    if finding.result == "present":
        return finding.sure
    if finding.result == "absent":
        return 1 - finding.sure
    return None


def _past(value: float, limit: float, reading: Reading) -> float:
    """Chance that what was read as `value` truly lies past a limit."""
    beyond = limit - value if reading.worse == "below" else value - limit
    return float(ndtr(beyond / reading.error_sd))


def far_past(finding: Finding, check: Check) -> float:
    """Chance that a reading lies so far past its limit that mere wear or an error hardly reads so; 0 without one."""
    reading = check.reading
    if finding.value is None or reading is None or reading.far is None:
        return 0.0
    return _past(finding.value, reading.far, reading)


def _shares_far_past(finding: Finding, check: Check, far: Far) -> Floats:
    """(4,) what is left of the figures of spent, worn and sound parts and of the leak, for how far past its limit
    a reading lies. That it is not as far is not counted as evidence: a reading between the two counts as past.
    """
    share = far_past(finding, check)
    return np.asarray(1 - share + share * np.array([far.spent, far.worn, 1.0, far.leak]))


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
    catalogue = car.catalogue
    settings = catalogue.settings.evidence
    care, presentation, odometer = np.zeros(3), np.zeros(2), np.zeros(2)
    rows: dict[str, _Row] = {}
    stops: list[tuple[str, str]] = []
    cleared: set[str] = set()
    changed = _last_work(car)
    for _ in _refusals(car):
        care += np.log(settings.refused.care)
        presentation += np.log(settings.refused.presentation)
    for check_id, findings in _answers(car).items():
        check = catalogue.checks[check_id]
        beliefs = [(f, belief_in(f, check, first_used=car.case.car.built)) for f in findings]
        finding, belief = max(((f, b) for f, b in beliefs if b is not None), key=lambda pair: pair[1])
        if check.stop:
            cleared.add(check_id)
            if belief >= 0.5:
                stops.append((check_id, check.stop))
        reached = attention(finding, check, car)
        for factor, figures in (
            (care, care_figures(check, car)),
            (presentation, None if linked(check, car) else check.presentation),
            (odometer, check.odometer),
        ):
            if figures is not None:
                share = np.clip(reached * np.array(figures), 1e-6, 1 - 1e-6)
                factor += np.log(belief * share + (1 - belief) * (1 - share))
        if belief < 0.5 and len({f.side for f in findings}) == 1 and finding.side != "both":
            reached *= ONE_SIDE
        links, gone = _links(car, check, finding, changed)
        if links.any():
            quiet = float(np.prod(1 - gone * reached * RENEWED_WAS_SPENT)) if belief > 0 else 1.0
            leak = 1 - (1 - np.array(leak_by_presentation(check, reached))) * quiet
            far = _shares_far_past(finding, check, settings.far)
            rows[check_id] = _Row(
                check, finding, belief, links * reached * far[:3], leak * far[3], check.leak * far[3]
            )
    made = [rows[c] for c in catalogue.checks if c in rows]
    plain = np.array([row.links for row in made]).reshape(len(made), len(car.parts), 3)
    maskable = np.array([row.check.maskable if _for_sale(car, row.finding) else 1.0 for row in made])
    leak = np.array([row.leak for row in made]).reshape(len(made), 2).T
    closely, seen = _attention_levels(car, made)
    return Evidence(
        checks=tuple(row.check.id for row in made),
        belief=np.array([row.belief for row in made]),
        sensitivity=np.concatenate(
            [np.stack([plain, plain * maskable[:, None, None]]) * s[:, None, None] for s in seen]
        ),
        leak=(seen[:, None, :] * leak).reshape(2 * len(seen), len(made)),
        closely=closely,
        care=care,
        presentation=presentation,
        odometer=odometer,
        stops=tuple(stops),
        open_stops=tuple(
            c.id
            for c in catalogue.checks.values()
            if c.stop and c.id not in cleared and c.station != AWAY and applies(c, car) > 0.5
        ),
        harmless=np.array([row.harmless for row in made]) / np.maximum(leak[0], 1e-300),
    )


def care_figures(check: Check, car: Car) -> tuple[float, float, float] | None:
    """What a check says about care by itself: P(bad result | attentive, ordinary, neglectful), None for nothing.

    A sign that parts of this car can cause tells of care through those parts, whose chances depend on it; its own
    figures would count the same thing twice. Questions and papers tell of the person who answers as well.
    """
    if check.kind in OF_THE_CAR and linked(check, car):
        return None
    return check.care


def linked(check: Check, car: Car) -> bool:
    """Whether a part of this car can cause the check's sign."""
    return any(link.component in car.index for link in check.links)


def leak_by_presentation(check: Check, reached: float) -> tuple[float, float]:
    """Leak of a check on a car as it is, and on one dressed up for sale, which is one more way to such a sign.

    `check.presentation` states how often the sign is there on either car, whatever the cause, to who sees `reached` of
    it; a dressed-up car's leak is what raises the first figure to the second, the parts being as they are.
    """
    if check.presentation is None:
        return check.leak, check.leak
    as_it_is, dressed = (1 - reached * share for share in check.presentation)
    return check.leak, min(max(1 - (1 - check.leak) * dressed / max(as_it_is, 1e-6), 0.0), 1 - 1e-6)


@dataclass(frozen=True)
class _Row:
    """One check of the network: what was found, what it links to (C, 3), its leak (2,) by presentation, and how much
    of that is nobody's work.
    """

    check: Check
    finding: Finding
    belief: float
    links: Floats
    leak: Floats
    harmless: float


def _refusals(car: Car) -> set[str]:
    """Stations at which something harmless was refused: whoever refuses one look at the underside refuses all.

    Nobody is blamed for not letting a stranger take things apart, or take samples, before he has paid.
    """
    checks = car.catalogue.checks
    refused = {
        checks[f.check].station for f in car.case.finding if f.result == "refused" and f.check in checks
    }
    return refused - {"small-things-off", AWAY}


def _for_sale(car: Car, finding: Finding) -> bool:
    """Whether the car was still the seller's to dress up when this was found."""
    bought = car.case.bought
    return bought is None or _day(car, finding) <= bought.date


def _attention_levels(car: Car, made: list[_Row]) -> tuple[Floats, Floats]:
    """(A,) chances and (A, F) shares of every sign, harmless ones too, that reach somebody who looks so.

    The findings of one viewing share the person who made them: without this two hundred ticks would prove an old
    car perfect, where the likelier story is that nobody looked. Measurements, papers and what somebody else looked
    at (who is paid to look, looks closely) do not depend on it.
    """
    viewer, name = car.catalogue.settings.evidence.viewer, car.case.car.viewer
    by_senses = np.array(
        [r.check.kind in SENSES and (r.finding.by or name) == name for r in made], dtype=bool
    )
    if not by_senses.any():
        return np.ones(1), np.ones((1, len(made)))
    passing = getattr(viewer.passing, name)
    return np.array([1 - passing, passing]), np.stack(
        [np.ones(len(made)), np.where(by_senses, viewer.in_passing, 1.0)]
    )


def applies(check: Check, car: Car) -> float:
    """Chance that a check makes sense on this car: its build and year, and whether it came from abroad."""
    return 0.0 if check.imported and not car.case.imported else _fits(check, car)


def _fits(check: Check, car: Car) -> float:
    """Chance that a check fits this car's build and year."""
    if not check.suits(car.case.car.built):
        return 0.0
    return car.chance(check.when)


def _day(car: Car, finding: Finding) -> datetime.date:
    return finding.date or car.case.car.viewed


def _answers(car: Car) -> dict[str, list[Finding]]:
    """What stands of each check that fits this car: the latest answer of each side, none older than one for both.

    Somebody who could not try, or was not let, has not answered: an earlier answer stands.
    """
    checks = car.catalogue.checks
    latest: dict[str, dict[str, Finding]] = {}
    for finding in sorted(car.case.finding, key=lambda f: _day(car, f)):
        check = checks[finding.check]
        if belief_in(finding, check, first_used=car.case.car.built) is None or _fits(check, car) <= 0:
            continue
        sides = latest.setdefault(finding.check, {})
        if finding.side == "both":
            for side in [s for s, f in sides.items() if _day(car, f) < _day(car, finding)]:
                del sides[side]
        sides[finding.side] = finding
    return {check: list(sides.values()) for check, sides in latest.items()}


def _last_work(car: Car) -> dict[int, datetime.date]:
    """Last day on which each part was renewed, overhauled or adjusted."""
    last: dict[int, datetime.date] = {}
    for work in car.case.work:
        if not work.what.startswith("seen-"):
            for position in car.worked_on(work):
                last[position] = max(last.get(position, work.date), work.date)
    return last


def _links(
    car: Car, check: Check, finding: Finding, changed: dict[int, datetime.date]
) -> tuple[Floats, Floats]:
    """(C, 3) sensitivities, and those (N,) to spent parts that were worked on after the finding.

    A part worked on since is no longer what was looked at; but the sign may have been the old one's.
    """
    links = np.zeros((len(car.parts), 3))
    gone = []
    for link in check.links:
        position = car.index.get(link.component)
        if position is None:
            continue
        if changed.get(position, datetime.date.min) > _day(car, finding):
            gone.append(link.spent)
        else:
            links[position] = (link.spent, link.worn, 0.0)
    return links, np.array(gone)
