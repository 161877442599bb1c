"""Jobs: parts that probably need doing, put together where the same strip-down reaches them."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.catalogue.records import AccessStep
from estimator.decide.costing import Chances, Costing
from estimator.pipeline import Prepared
from estimator.problems import InputError, Problem, listed, most_alike

Floats = NDArray[np.float64]
NEEDS = ("safety", "to-drive", "protects", "comfort")  # most pressing first
PROBABLE = 0.5
_SAME_STRIP_DOWN = 0.5  # share of the longer strip-down two parts must have in common to be one job
_LONGEST_NAME = 70  # letters
_IN_PLACE_H = 0.2  # less strip-down than this counts as none


@dataclass(frozen=True)
class Job:
    """One job. parts : positions of parts renewed because they probably need it; neighbours : because it is apart;
    steps : positions of access steps in the order in which they come off. need : its most pressing part's; urgent :
    the car stays off the road until it is done.
    """

    id: str
    name: str
    parts: tuple[int, ...]
    neighbours: tuple[int, ...]
    steps: tuple[int, ...]
    need: str
    urgent: bool
    skill: int

    @property
    def renewed(self) -> tuple[int, ...]:
        return (*self.parts, *self.neighbours)


def choose_parts(
    prepared: Prepared,
    chance: Chances,
    found: NDArray[np.bool_],
    *,
    threshold: float = PROBABLE,
    include: Collection[str] = (),
    leave: Collection[str] = (),
    comfort: bool = False,
) -> tuple[int, ...]:
    """Positions of the parts to plan for: found, or needing work within the year with at least this chance.

    include, leave : ids added and taken out whatever their chance. comfort : those of comfort and looks too.

    Raises
    ------
    InputError
        For an id that is no part of this car, or one both added and taken out.
    """
    car = prepared.car
    problems = [_unknown(prepared, cid) for cid in (*include, *leave) if cid not in car.index]
    problems += [
        Problem(car.case.name, None, cid, "is both to be done and to be left")
        for cid in include
        if cid in leave
    ]
    if problems:
        raise InputError(problems)
    wanted = (chance.need >= threshold) | found
    if not comfort:
        wanted &= ~car.comfort
    for cid in include:
        wanted[car.index[cid]] = True
    for cid in leave:
        wanted[car.index[cid]] = False
    return tuple(int(i) for i in np.flatnonzero(wanted))


def _unknown(prepared: Prepared, cid: str) -> Problem:
    close = most_alike(cid, {part.id: part.name for part in prepared.car.parts})
    hint = f' (did you mean "{close}"?)' if close else ""
    known = listed(sorted(prepared.car.index), most=6)
    return Problem(prepared.car.case.name, None, cid, f"is no part of this car{hint}; it has {known}")


def form_jobs(prepared: Prepared, chance: Chances, cost: Costing, chosen: Iterable[int]) -> tuple[Job, ...]:
    """Jobs of the chosen parts, most pressing first."""
    groups = [[i] for i in chosen]
    opened = [_opened(prepared, group) for group in groups]
    hours = cost.step_hours
    while True:
        pair = _closest(opened, hours)
        if pair is None:
            break
        a, b = pair
        groups[a] += groups.pop(b)
        opened[a] |= opened.pop(b)
    groups = _in_place_together(prepared, groups, opened, hours)
    jobs = [_job(prepared, chance, cost, sorted(group)) for group in groups]
    return tuple(sorted(jobs, key=lambda j: (not j.urgent, NEEDS.index(j.need), -len(j.parts), j.id)))


def _opened(prepared: Prepared, parts: Iterable[int]) -> set[int]:
    """Real strip-down the parts need: steps that open something."""
    access = prepared.book.access
    return {int(s) for c in parts for s in access.of(c) if access.opens[s]}


def _closest(opened: list[set[int]], hours: Floats) -> tuple[int, int] | None:
    """The two groups with most strip-down in common, if it is enough to make them one job."""
    best, pair = 0.0, None
    for a in range(len(opened)):
        for b in range(a + 1, len(opened)):
            shared = _hours(opened[a] & opened[b], hours)
            longest = max(_hours(opened[a], hours), _hours(opened[b], hours))
            if shared >= _IN_PLACE_H and shared >= _SAME_STRIP_DOWN * longest and shared > best:
                best, pair = shared, (a, b)
    return pair


def _hours(steps: set[int], hours: Floats) -> float:
    return float(hours[sorted(steps)].sum()) if steps else 0.0


def _in_place_together(
    prepared: Prepared, groups: list[list[int]], opened: list[set[int]], hours: Floats
) -> list[list[int]]:
    """Work that needs no strip-down worth the name: one job a system and kind of need."""
    parts = prepared.car.parts
    out: list[list[int]] = []
    by_kind: dict[tuple[str, bool, bool], list[int]] = {}
    for group, steps in zip(groups, opened, strict=True):
        if _hours(steps, hours) >= _IN_PLACE_H:
            out.append(group)
            continue
        for c in group:
            pressing = parts[c].need in ("safety", "to-drive")
            by_kind.setdefault((parts[c].system, pressing, parts[c].need == "comfort"), []).append(c)
    return [*out, *by_kind.values()]


def _job(prepared: Prepared, chance: Chances, cost: Costing, group: list[int]) -> Job:
    car = prepared.car
    lead = max(group, key=lambda c: (cost.bill[c], -c))
    need = min((car.parts[c].need for c in group), key=NEEDS.index)
    urgent = any(
        car.parts[c].need in ("safety", "to-drive") and chance.spent[c] >= chance.due[c] for c in group
    )
    steps = ordered_steps(prepared, group)
    return Job(
        id=car.parts[lead].id,
        name=job_name(car.parts[lead].name, len(group), main_step(prepared, steps, cost.step_hours)),
        parts=tuple(sorted(group, key=lambda c: -cost.bill[c])),
        neighbours=(),
        steps=steps,
        need=need,
        urgent=urgent,
        skill=job_skill(prepared, group, steps),
    )


def job_name(lead: str, count: int, step: str = "") -> str:
    """A job called by its dearest part, the step it lies behind where that fits, and how many more go with it."""
    if count == 1:
        return lead
    more = f" ({count - 1} more part{'s' if count > 2 else ''})"
    for text in (f"{lead}, with {step}", f"{lead}, with {step.split(', ')[0]}") if step else ():
        if len(text + more) <= _LONGEST_NAME:
            return text + more
    return lead + more


def main_step(prepared: Prepared, steps: Iterable[int], hours: Floats) -> str:
    """The name of the longest step that opens something; empty where none is worth the name."""
    access = prepared.book.access
    opening = [s for s in steps if access.opens[s] and hours[s] >= _IN_PLACE_H]
    return step_records(prepared)[max(opening, key=lambda s: hours[s])].name if opening else ""


def job_skill(prepared: Prepared, parts: Iterable[int], steps: Iterable[int]) -> int:
    """The skill its most demanding part or step asks for, 0 to 3."""
    car = prepared.car
    records = step_records(prepared)
    return max([0, *(car.parts[c].skill for c in parts), *(records[s].skill for s in steps)])


def step_records(prepared: Prepared) -> tuple[AccessStep, ...]:
    """The records of the car's access steps, in the order of its access plan."""
    return tuple(prepared.car.catalogue.steps[s] for s in prepared.book.access.steps)


def ordered_steps(prepared: Prepared, parts: Iterable[int]) -> tuple[int, ...]:
    """Steps the parts need, each after everything that must come off before it."""
    access, car = prepared.book.access, prepared.car
    wanted = {int(s) for c in parts for s in access.of(c)}
    number = {name: i for i, name in enumerate(access.steps)}
    records = step_records(prepared)
    out: list[int] = []

    def put(step: int, above: frozenset[int]) -> None:
        if step in out or step in above:
            return
        for use in records[step].after:
            before = number.get(use.step)
            if before is not None and before in wanted and car.chance(use.when) >= 0.5:
                put(before, above | {step})
        out.append(step)

    def turn(step: int) -> tuple[int, int]:
        """Getting the car up and made safe first, then what opens something, then filling and bleeding."""
        general = "general" in car.catalogue.home.get(f"step {access.steps[step]}", "")
        return (1 if access.opens[step] else 0 if general else 2), step

    for step in sorted(wanted, key=turn):
        put(step, frozenset())
    return tuple(out)
