"""What was seen on this car, check by check, in words both sides may read: the bad signs and the good ones.

Only what speaks about the car's parts: nothing about who kept it, how it is shown, or what was asked. What rests on
pictures, on hearsay or on a look in passing says so.
"""

from __future__ import annotations

from dataclasses import dataclass

from estimator.assess import Result
from estimator.casefile.records import Finding
from estimator.catalogue.records import Check
from estimator.evidence.findings import OF_THE_CAR, belief_in

SURE = 0.75  # less sure than this is said
CLEARLY = (
    0.9  # a reading so surely on the good side of its limit is good; nearer to it only what was read is said
)
LOOKED_AT = {"seen-worn": "tired", "seen-spent": "needs doing"}
HOW = {"pictures": "on pictures", "reported": "as told, not seen"}


@dataclass(frozen=True)
class Sign:
    """One answer to a check. belief : chance that its bad sign is there, as reported."""

    check: Check
    finding: Finding
    belief: float

    @property
    def bad(self) -> bool:
        """Whether the bad sign is held to be there."""
        return self.belief >= 0.5

    @property
    def good(self) -> bool:
        """Whether it came out well beyond doubt: seen in person and looked at well, certain, clear of any limit."""
        finding = self.finding
        seen = finding.how == "in-person" and not finding.badly and finding.sure >= SURE
        return seen and self.belief <= (1 - CLEARLY if finding.value is not None else 1 - SURE)

    @property
    def told(self) -> str:
        """The check and how it came out."""
        check, finding = self.check, self.finding
        if finding.value is not None and check.reading is not None:
            came_out = f"{finding.value:g} {check.reading.unit}"
        else:
            came_out = check.present if self.bad else check.absent
        how = [HOW[finding.how]] if finding.how in HOW else []
        how += ["not looked at well"] if finding.badly else []
        how += ["not certain"] if finding.sure < SURE else []
        how += [finding.side] if finding.side != "both" else []
        return f"{plain(check.name)}: {came_out}" + (f" ({', '.join(how)})" if how else "")


def signs_of(result: Result) -> tuple[Sign, ...]:
    """The answers about the car's parts, oldest first; of several to one check the last of each side."""
    case, checks = result.prepared.car.case, result.prepared.car.catalogue.checks
    last: dict[tuple[str, str], Sign] = {}
    for finding in sorted(case.finding, key=lambda one: one.date or case.car.viewed):
        check = checks.get(finding.check)
        if check is None or not neutral(check) or check.kind not in OF_THE_CAR or not check.links:
            continue
        belief = belief_in(finding, check, first_used=case.car.built)
        if belief is None:
            continue
        if finding.side == "both":  # it says all that was said of either side before
            last = {key: sign for key, sign in last.items() if key[0] != finding.check}
        last[finding.check, finding.side] = Sign(check, finding, belief)
    return tuple(last.values())


def shown_by(result: Result, part: str, signs: tuple[Sign, ...], *, most: int = 2) -> str:
    """How it showed on this car that a part needs doing: the signs it can cause, those it causes oftenest first; what
    a paper of the day says of it; else that nobody saw it."""
    own = [
        (link.spent, sign.told)
        for sign in signs
        if sign.bad
        for link in sign.check.links
        if link.component == part
    ]
    told = [text for _, text in sorted(own, key=lambda one: -one[0])[:most]]
    case, car = result.prepared.car.case, result.prepared.car
    told += [
        f"looked at on {work.date.isoformat()}: {LOOKED_AT[work.what]}"
        for work in case.work
        if work.what in LOOKED_AT
        and work.date >= case.car.viewed
        and car.index.get(part) in car.worked_on(work)
    ]
    told += [
        f"named by the test of {test.date.isoformat()}"
        for test in case.test
        if part in test.components and test.date >= case.car.viewed
    ]
    return "; ".join(told) or "from what was told or is written of the car"


def good_signs(result: Result, signs: tuple[Sign, ...]) -> tuple[str, ...]:
    """What came out well beyond doubt, those that speak for most parts first; nothing that speaks for a part which
    needs doing all the same.
    """
    found = {part.id for part in result.assessment.components if part.found}
    well = [sign for sign in _not_bad(signs) if sign.good and not _speaks_for(sign, found)]
    well.sort(key=lambda sign: -len(sign.check.links))
    return tuple(sign.told for sign in well)


def open_signs(result: Result, signs: tuple[Sign, ...]) -> tuple[str, ...]:
    """What did not come out badly, but is not good beyond doubt: on pictures, as told, in passing, near a limit, or
    beside a part that needs doing all the same; what was seen in person first.
    """
    good = set(good_signs(result, signs))
    rest = [sign for sign in _not_bad(signs) if sign.told not in good]
    rest.sort(key=lambda sign: (sign.finding.how != "in-person", -len(sign.check.links)))
    return tuple(sign.told for sign in rest)


def _not_bad(signs: tuple[Sign, ...]) -> list[Sign]:
    bad = {sign.check.id for sign in signs if sign.bad}
    return [sign for sign in signs if sign.check.id not in bad]


def _speaks_for(sign: Sign, parts: set[str]) -> bool:
    return any(link.component in parts for link in sign.check.links)


def neutral(check: Check) -> bool:
    """Whether a check speaks about the car's parts only, not about who kept it or how it is shown."""
    return check.presentation is None and check.odometer is None and check.kind != "ask" and not check.stop


def plain(name: str) -> str:
    """A check's name without the mark at its end."""
    return name.rstrip("?:. ")
