"""What a plan of the first year says: frozen records, and its JSON."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, field
from typing import Any

from estimator.decide.budget import YearHolds
from estimator.decide.options import Option
from estimator.decide.while_apart import Apart
from estimator.distribution import Distribution
from estimator.pipeline import Prepared


@dataclass(frozen=True)
class PlannedJob:
    """One job as planned. month : 1 is the first; 0 where it does not fit. by : owner or workshop. hours in the
    trade; own_hours : the owner's, where he does it. cost : with its share of what jobs of a month share; None
    where it does not fit. components : ids, because they probably need it; neighbours : because it is apart.
    """

    id: str
    name: str
    month: int
    by: str
    need: str
    urgent: bool
    skill: int
    components: tuple[str, ...]
    neighbours: tuple[str, ...]
    steps: tuple[str, ...]
    hours: float
    own_hours: float
    wait_weeks: float
    delay_month: float
    cost: Distribution | None

    def as_dict(self) -> dict[str, Any]:
        plain = (
            "id", "name", "month", "by", "need", "urgent", "skill", "hours", "own_hours", "wait_weeks",
            "delay_month",
        )  # fmt: skip
        return {
            **{k: getattr(self, k) for k in plain},
            "components": [*self.components, *self.neighbours],
            "neighbours": list(self.neighbours),
            "steps": list(self.steps),
            "cost": None if self.cost is None else self.cost.as_dict(),
        }


@dataclass(frozen=True)
class PlanMonth:
    """One month: jobs by id, what they cost, what turns up besides, both added up since the first day, money there
    for it by then (None: no limit), chance that the car is on the road at its end, the owner's hours.
    """

    number: int
    start: datetime.date
    driving: bool
    jobs: tuple[str, ...]
    cost: Distribution
    turns_up: Distribution
    so_far: Distribution
    money: float | None
    on_the_road: float
    own_hours: float


@dataclass(frozen=True)
class OrderLine:
    """One line of the order list. amount : expected, tax included, its job's share; price : range of the first
    choice with tax, where there is one. quote : what to give the seller so that the right variant comes.
    """

    job: str
    month: int
    supplier: str
    kind: str
    item: str
    component: str
    quantity: int
    amount: float
    price: tuple[float, float, float] | None
    wait_weeks: tuple[float, float, float] | None
    quote: tuple[str, ...] = ()
    substitutes: tuple[str, ...] = ()
    note: str = ""

    def as_dict(self) -> dict[str, Any]:
        tuples = ("price", "wait_weeks", "quote", "substitutes")
        plain = {k: v for k, v in self.__dict__.items() if k not in tuples}
        return {**plain, **{k: None if (v := getattr(self, k)) is None else list(v) for k in tuples}}


@dataclass(frozen=True)
class Binding:
    """A limit that keeps jobs from fitting, and what would free it."""

    limit: str
    text: str
    amount: float | None = None


@dataclass(frozen=True)
class Plan:
    """The first year. status : optimal, within-gap (the gap says how far at most), left-out (some jobs do not fit),
    infeasible, nothing-probable. labour : mean by job, not in the order list. total : everything over the months
    planned, planned (jobs alone), turns_up besides; reserve : money to hold back at the start, beyond what the months
    bring, so that it never runs out in that share of draws; overrun : chance that it does without one (None: no limit
    named); budget : chance that the case's budget holds through the first year. estimate : the estimate's own first
    year, one round of work; year : the first twelve months of the plan, None where it has fewer.
    """

    case: str
    currency: str
    price_year: int
    draws: int
    seed: int
    status: str
    gap: float
    months: tuple[PlanMonth, ...]
    jobs: tuple[PlannedJob, ...]
    left_out: tuple[PlannedJob, ...]
    binds: tuple[Binding, ...]
    total: Distribution
    planned: Distribution
    turns_up: Distribution
    estimate: Distribution
    year: Distribution | None
    at_once: float
    expected: float
    level: float
    reserve: float
    overrun: float | None
    budget: YearHolds | None
    on_road_by: tuple[datetime.date, float] | None
    while_apart: tuple[Apart, ...]
    options: tuple[Option, ...]
    orders: tuple[OrderLine, ...]
    labour: dict[str, float]
    horizon_years: float
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    stops: tuple[tuple[str, str], ...]
    open_stops: tuple[str, ...]
    prepared: Prepared = field(repr=False, compare=False)

    def is_planned(self, job_id: str) -> bool:
        """Whether a job has its month; one that does not fit the limits has none."""
        return any(job.id == job_id for job in self.jobs)

    def job(self, job_id: str) -> PlannedJob:
        """A job by its id; KeyError naming those there are."""
        for job in (*self.jobs, *self.left_out):
            if job.id == job_id:
                return job
        raise KeyError(
            f"no job {job_id!r}; there are {', '.join(j.id for j in (*self.jobs, *self.left_out))}"
        )

    def as_dict(self) -> dict[str, Any]:
        """The JSON of `plan`, keys as in README."""
        by_id = {j.id: j.as_dict() for j in self.jobs}
        return {
            "format": 1,
            "case": self.case,
            "currency": self.currency,
            "price_year": self.price_year,
            "draws": self.draws,
            "seed": self.seed,
            "status": self.status,
            "gap": self.gap,
            "months": [
                {
                    "month": m.number,
                    "start": m.start.isoformat(),
                    "driving_season": m.driving,
                    "jobs": [by_id[j] for j in m.jobs],
                    "cost": m.cost.as_dict(),
                    "turns_up": m.turns_up.as_dict(),
                    "so_far": m.so_far.as_dict(),
                    "money": m.money,
                    "on_the_road": m.on_the_road,
                    "own_hours": m.own_hours,
                }
                for m in self.months
            ],
            "left_out": [j.as_dict() for j in self.left_out],
            "binds": [b.__dict__ for b in self.binds],
            "total": self.total.as_dict(),
            "planned": self.planned.as_dict(),
            "turns_up": self.turns_up.as_dict(),
            "first_year": {
                "plan": None if self.year is None else self.year.as_dict(),
                "estimate": self.estimate.as_dict(),
                "difference": None if self.year is None else self.year.mean - self.estimate.mean,
            },
            "expected": self.expected,
            "all_at_once": self.at_once,
            "reserve": {"level": self.level, "amount": self.reserve},
            "chance_of_overrun": self.overrun,
            "on_the_road": None
            if self.on_road_by is None
            else {"by": self.on_road_by[0].isoformat(), "chance": self.on_road_by[1]},
            "while_apart": [
                {**a.__dict__, "break_even": a.break_even if math.isfinite(a.break_even) else None}
                for a in self.while_apart
            ],
            "options": [{**o.__dict__, "total": o.total} for o in self.options],
            "orders": [line.as_dict() for line in self.orders],
            "labour": self.labour,
            "horizon_years": self.horizon_years,
            "notes": list(self.notes),
            "warnings": list(self.warnings),
            "stops": [{"check": c, "text": t} for c, t in self.stops],
            "open_stops": list(self.open_stops),
        }
