"""Strip-down on one car: which access steps each part needs, how long they take, what snags."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from estimator.car import Car
from estimator.casefile.words import years_between
from estimator.catalogue.expressions import both
from estimator.catalogue.records import AccessStep, Component, StepUse
from estimator.money.ranges import pert_mean, quantile_table

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Words = NDArray[np.uint64]
GROUND_YEARS = 20.0  # the catalogue states snags for what nobody has undone for so long


@dataclass(frozen=True)
class AccessPlan:
    """Access steps of one car as arrays.

    steps : ids (S). start (C + 1,), step (L,) : steps each part needs, prerequisites included (compressed rows).
    needs (C, S) : 1 where a part needs a step; words (W, C) : the same as bits of W 64-bit words. opens (S,) : real
    strip-down.
    hours (S, cells + 1), snag_chance (S,), snag_factor (S, cells + 1), disturbed (S, cells + 1) : tables.
    own_work (S,) : the owner could do it. visit_hours : expected hours of what is charged once, on the first visit.
    held_part, held_step, held_share (K,) : what a step makes one renew and a part that needs the step holds in its own
    price: share of the step's goods; ordered by part.
    """

    steps: tuple[str, ...]
    start: Ints
    step: Ints
    needs: NDArray[np.float32]
    words: Words
    opens: NDArray[np.bool_]
    hours: Floats
    snag_chance: Floats
    snag_factor: Floats
    disturbed: Floats
    own_work: NDArray[np.bool_]
    visit_hours: float
    mean_hours: Floats
    mean_disturbed: Floats
    held_part: Ints
    held_step: Ints
    held_share: Floats

    def of(self, part: int) -> Ints:
        """Steps one part needs."""
        return self.step[self.start[part] : self.start[part + 1]]

    def without(self, free: NDArray[np.bool_]) -> AccessPlan:
        """The same where a quote covers labour and access of some parts (C,)."""
        if not free.any():
            return self
        kept = [self.of(c) if not free[c] else self.of(c)[:0] for c in range(free.size)]
        needs = np.where(free[:, None], 0, self.needs).astype(np.float32)
        held = ~free[self.held_part]
        return replace(
            self,
            start=np.concatenate([[0], np.cumsum([k.size for k in kept])]).astype(np.intp),
            step=np.concatenate(kept).astype(np.intp),
            needs=needs,
            words=as_words(needs),
            held_part=self.held_part[held],
            held_step=self.held_step[held],
            held_share=self.held_share[held],
        )

    def expected_cost(self, *, rate: float) -> Floats:
        """(C,) expected cost, before tax, of reaching each part on its own, with what else it makes one renew."""
        cost = self.mean_hours * rate + self.mean_disturbed
        reached = np.array([cost[self.of(c)].sum() for c in range(self.start.size - 1)])
        np.subtract.at(reached, self.held_part, self.held_share * self.mean_disturbed[self.held_step])
        return reached


def as_words(needs: NDArray[np.float32]) -> Words:
    """(W, C) the steps of each part, (C, S) 1 where needed, as bits of 64-bit words, lowest first."""
    packed = np.packbits(needs > 0.5, axis=1, bitorder="little")
    whole = np.pad(packed, ((0, 0), (0, -packed.shape[1] % 8)))
    return np.ascontiguousarray(whole.view("<u8").T)


def as_flags(words: Words, steps: int) -> NDArray[np.bool_]:
    """(R, S) the reverse of `as_words`, words (W, R)."""
    octets = np.ascontiguousarray(words.T).view(np.uint8)
    return np.unpackbits(octets, axis=1, count=steps, bitorder="little").view(np.bool_)


VISIT_STEPS = ("diagnosis-before-strip-down", "road-test-recheck-retorque-after")


def access_plan(car: Car, *, money_factor: float) -> AccessPlan:
    """Resolve the access steps of every part of this car."""
    records = car.catalogue.steps
    needed = [_closure(car, part) for part in car.parts]
    visit = [s for s in VISIT_STEPS if s in records and car.chance(records[s].when) >= 0.5]
    ids = sorted({s for row in needed for s in row} - set(visit))
    number = {s: i for i, s in enumerate(ids)}
    rows = [sorted(number[s] for s in row if s not in visit) for row in needed]
    needs = np.zeros((len(rows), len(ids)), dtype=np.float32)
    for i, row in enumerate(rows):
        needs[i, row] = 1.0
    steps = [records[s] for s in ids]
    multiply = [car.multiply(s.variant) for s in steps]
    hours = np.array([[h * m.hours for h in s.hours] for s, m in zip(steps, multiply, strict=True)]).reshape(
        -1, 3
    )
    disturbed = np.array(
        [
            np.sum([d.price for d in s.disturbs], axis=0) * money_factor * m.price
            if s.disturbs
            else np.zeros(3)
            for s, m in zip(steps, multiply, strict=True)
        ]
    ).reshape(-1, 3)
    chance, factor = snags(car, steps, needs > 0.5)
    mean_disturbed = pert_mean(disturbed)
    held = [
        (
            car.index[one],
            s,
            float(pert_mean(np.array(d.price))) * money_factor * multiply[s].price / mean_disturbed[s],
        )
        for s, step in enumerate(steps)
        for d in step.disturbs
        for one in d.of
        if one in car.index and needs[car.index[one], s] and mean_disturbed[s] > 0
    ]
    held.sort()
    mean_hours = pert_mean(hours) * (1 + chance * (pert_mean(factor) - 1))
    return AccessPlan(
        steps=tuple(ids),
        start=np.concatenate([[0], np.cumsum([len(r) for r in rows])]).astype(np.intp),
        step=np.array([s for r in rows for s in r], dtype=np.intp),
        needs=needs,
        words=as_words(needs),
        opens=np.array([s.opens for s in steps], dtype=bool),
        hours=quantile_table(hours),
        snag_chance=chance,
        snag_factor=quantile_table(factor),
        disturbed=quantile_table(disturbed),
        own_work=np.array([s.skill <= car.case.money.own_skill for s in steps], dtype=bool),
        visit_hours=float(sum(pert_mean(np.array(records[s].hours)) for s in visit)),
        mean_hours=mean_hours,
        mean_disturbed=mean_disturbed,
        held_part=np.array([h[0] for h in held], dtype=np.intp),
        held_step=np.array([h[1] for h in held], dtype=np.intp),
        held_share=np.array([h[2] for h in held]),
    )


def _closure(car: Car, part: Component) -> set[str]:
    """Steps named for this build and everything that must come off before them.

    Where the build is open, as it probably is on the cars that have the part at all.
    """
    found: set[str] = set()
    waiting = _probable(car, part.access, part)
    while waiting:
        step = waiting.pop()
        if step not in found:
            found.add(step)
            waiting += _probable(car, car.catalogue.steps[step].after, part)
    return found


def _probable(car: Car, uses: tuple[StepUse, ...], part: Component) -> list[str]:
    """Steps that more likely than not are needed; where only one of several is, but none in half the cars, the
    likeliest.
    """
    records = car.catalogue.steps
    chance = {
        u.step: car.chance_given(both((u.expression, records[u.step].expression)), part.expression)
        for u in uses
        if u.step in records
    }
    chosen = [step for step, p in chance.items() if p >= 0.5]
    if not chosen and sum(chance.values()) >= 0.5:
        chosen = [max(chance, key=lambda step: chance[step])]
    return chosen


def snags(car: Car, steps: list[AccessStep], needs: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """(S,) chance that a step fights back on this car, and (S, 3) what it then takes in times its hours.

    The chance grows evenly to the catalogue's over the first GROUND_YEARS since it was last taken apart, as far as
    the papers can be believed, and by the catalogue's rate per decade from then on.
    """
    rust = car.catalogue.settings.exposure.rate(
        "corrosion", storage=car.case.car.storage, climate=car.case.car.climate, use="unknown", layup=1.0
    )
    believed, years = _last_apart(car, needs)
    chance = np.zeros(len(steps))
    factor = np.ones((len(steps), 3))
    for i, step in enumerate(steps):
        if step.snag is not None:
            grown, fresh = (
                step.snag.chance * min(y / GROUND_YEARS, 1.0)
                + step.snag.per_decade * max(y - GROUND_YEARS, 0.0) / 10 * rust
                for y in (car.age_years, float(years[i]))
            )
            chance[i] = min(believed[i] * fresh + (1 - believed[i]) * grown, 0.95)
            factor[i] = step.snag.factor
    return chance, factor


def _last_apart(car: Car, needs: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """(S,) how far the papers' latest work behind each step can be believed, and years since it; needs (C, S)."""
    believed, years = np.zeros(needs.shape[1]), np.full(needs.shape[1], car.age_years)
    for work in sorted(car.case.work, key=lambda w: w.date):
        if work.what in ("renewed", "overhauled"):
            credibility = car.catalogue.settings.evidence.credibility[work.evidence]
            opened = needs[car.worked_on(work)].any(axis=0) & (
                credibility >= believed
            )  # hearsay undoes no bill
            believed[opened] = credibility
            years[opened] = max(years_between(work.date, car.case.today), 0.0)
    return believed, years
