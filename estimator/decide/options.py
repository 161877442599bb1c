"""A part in one's hands: put it back as it is, or renew it in one of the ways there are, or wait for a price.

Each option is priced over the same horizon: what it costs now (the strip-down is paid either way) and what it is
expected to cost later, when what was done does not last.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.decide.ahead import Ahead, new_part_need
from estimator.decide.costing import WEEKS_PER_MONTH, Costing
from estimator.decide.jobs import Job
from estimator.money.book import Way
from estimator.money.ranges import pert_mean, quantile_table
from estimator.pipeline import Prepared

Floats = NDArray[np.float64]
PUT_BACK, WAIT = "put it back as it is", "wait for a quote"


@dataclass(frozen=True)
class Option:
    """One option for one part of a job. now, later, total : expected cost with tax; chance : that it is needed
    again within the horizon; months : until it can be done; note : what it rests on.
    """

    job: str
    component: str
    kind: str
    name: str
    now: float
    later: float
    chance: float
    months: float
    best: bool
    note: str = ""

    @property
    def total(self) -> float:
        return self.now + self.later


def options_of(
    prepared: Prepared,
    jobs: tuple[Job, ...],
    *,
    cost: Costing,
    ahead: Ahead,
    need: Floats,
    later: Floats,
    delay: dict[str, float],
    horizon_years: float,
) -> tuple[Option, ...]:
    """Options of every part the jobs renew, cheapest marked.

    need, later (C,) : chance of need within the horizon if put back; cost of reaching it again.
    delay : cost of a month's wait, by job.
    """
    out: list[Option] = []
    for job in jobs:
        for c in job.renewed:
            out += _of_part(
                prepared, job, c, cost=cost, ahead=ahead, need=float(need[c]), later=float(later[c]),
                delay=delay[job.id], horizon_years=horizon_years,
            )  # fmt: skip
    return tuple(out)


def way_cost(prepared: Prepared, cost: Costing, c: int, way: Way) -> float:
    """Expected cost of one way with its own labour, tax included, the part being reached already."""
    book = prepared.book
    goods = float(pert_mean(np.array(way.parts)) + pert_mean(np.array(way.specialist)))
    goods += way.surcharge * book.surcharge_chance
    small = 0.0 if way.free_access else float(cost.goods[c, 3])
    return goods * (1 + book.tax) + small + float(pert_mean(np.array(way.hours))) * cost.rate


def _of_part(
    prepared: Prepared,
    job: Job,
    c: int,
    *,
    cost: Costing,
    ahead: Ahead,
    need: float,
    later: float,
    delay: float,
    horizon_years: float,
) -> list[Option]:
    car, part = prepared.car, prepared.car.parts[c]
    rows: list[tuple[str, str, float, float, float, float, str]] = []
    rows.append((PUT_BACK, PUT_BACK, 0.0, need * later, need, 0.0, "the strip-down is paid either way"))
    ways = prepared.book.ways[c]
    lasts = [
        float(
            new_part_need(
                car.lives.take(np.array([c])),
                horizon_years=horizon_years,
                km_rate=ahead.km_rate[c],
                years_rate=ahead.years_rate[c],
                life_share=way.life,
                log_sd=float(np.hypot(car.catalogue.settings.evidence.life.common_sd, car.own_sd[c])),
            )[0]
        )
        for way in ways
    ]
    for way, again in zip(ways, lasts, strict=True):
        months = way.wait_weeks[1] / WEEKS_PER_MONTH
        note = "" if way.availability >= 1 else f"to be had in about {10 * way.availability:.0f} cases of 10"
        rows.append(
            (way.kind, way.name, way_cost(prepared, cost, c, way), again * later, again, months, note)
        )
    waiting = _wait_for_quote(prepared, cost, c, ways, lasts, later, delay)
    if waiting is not None:
        rows.append(waiting)
    best = min(range(len(rows)), key=lambda i: rows[i][2] + rows[i][3])
    return [
        Option(job.id, part.id, kind, name, now, after, chance, months, i == best, note)
        for i, (kind, name, now, after, chance, months, note) in enumerate(rows)
    ]


def _wait_for_quote(
    prepared: Prepared,
    cost: Costing,
    c: int,
    ways: tuple[Way, ...],
    lasts: list[float],
    later: float,
    delay: float,
) -> tuple[str, str, float, float, float, float, str] | None:
    """Ask what the two best ways really cost before choosing, the job standing half a month for it.

    Prices are drawn apart from each other (PERT); what is saved is the mean of the smaller against the smaller mean.
    """
    if len(ways) < 2 or any(w.fixed for w in ways):
        return None
    mean = np.array([way_cost(prepared, cost, c, w) for w in ways])
    total = mean + np.array(lasts) * later
    first, second = np.argsort(total, kind="stable")[:2]
    taxed = 1 + prepared.book.tax
    steps = 64
    draws = []
    for r in (first, second):
        ranges = np.array([ways[r].parts, ways[r].specialist])
        table = quantile_table(ranges).sum(axis=0)[:: 1024 // steps] * taxed
        middle = (table[:-1] + table[1:]) / 2
        draws.append(total[r] + middle - middle.mean())
    better = np.minimum(draws[0][:, None], draws[1][None, :]).mean()
    saved = float(total[first] - better)
    months = 0.5
    again = lasts[int(first)]
    now = float(mean[first]) - saved + months * delay
    return (
        WAIT,
        f"{ways[first].name} or {ways[second].name}",
        now,
        again * later,
        again,
        months,
        (f"asking both saves {saved:.0f} on average, waiting costs {months * delay:.0f}"),
    )
