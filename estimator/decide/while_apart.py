"""While it is apart: which neighbours to renew now, and what to do with each part in one's hands.

A neighbour is a part most of whose strip-down a job opens anyway. Renewing it now costs the part, its own labour
and what more must come off; putting it back costs, if it needs renewing within the horizon, all of that again with
the whole strip-down, carriage, a workshop's visit, time off the road and what it damages meanwhile:

    renew now:    bill + further steps (shared with other neighbours renewed) + q_new * later
    put it back:  q * later

The neighbours of one job are decided together, since they share further steps; the choice is a smallest cut and is
solved exactly. The break-even of a part is the chance q at which the best choice turns, all else being chosen best.
Labour is counted at the workshop's rate, the owner's own hours too; later money is not discounted.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from estimator.catalogue.running import Running
from estimator.decide.ahead import Ahead, new_part_need
from estimator.decide.costing import WEEKS_PER_MONTH, Chances, Costing, money_factor
from estimator.decide.jobs import Job, job_name, job_skill, main_step, ordered_steps
from estimator.money.ranges import pert_mean
from estimator.pipeline import Prepared

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
_MOSTLY_OPEN = 0.5  # share of a part's own strip-down that the job must open for it to be a neighbour
_LEAST_STRIP_DOWN_H = 0.2
_DAMAGE_YEARS = 6.0  # a spent part is not left to do damage longer than this


@dataclass(frozen=True)
class Neighbours:
    """Candidates behind one job. N of them, X further steps.

    now (N,) renewing each while it is apart, without further steps; further (N, X) steps it needs besides, their
    cost (X,); later (N,) what it costs if it has to be reached again; need, need_new (N,) chance of that within the
    horizon if put back, if renewed.
    """

    now: Floats
    further: Flags
    step_cost: Floats
    later: Floats
    need: Floats
    need_new: Floats


@dataclass(frozen=True)
class Apart:
    """What to do with one neighbour: see the module. break_even above 1: renewing it now never pays."""

    job: str
    component: str
    renew_now: bool
    break_even: float
    chance: float
    cost_now: float
    cost_later: float


def total_cost(found: Neighbours, renew: Flags) -> float:
    """Expected cost of one choice, as stated in the module."""
    steps = found.further[renew].any(axis=0) if renew.any() else np.zeros(found.step_cost.size, bool)
    now = found.now[renew].sum() + found.step_cost[steps].sum()
    again = np.where(renew, found.need_new, found.need) * found.later
    return float(now + again.sum())


def best_choice(found: Neighbours, *, held: dict[int, bool] | None = None) -> Flags:
    """The cheapest choice (N,) of what to renew now; `held` fixes some. Of equals, the fewer renewed."""
    n, x = found.further.shape
    if n == 0:
        return np.zeros(0, bool)
    gain = found.now + (found.need_new - found.need) * found.later
    objective = np.concatenate([gain + 1e-9, found.step_cost])
    rows = [(i, s) for i in range(n) for s in np.flatnonzero(found.further[i])]
    low, high = np.zeros(n + x), np.ones(n + x)
    for i, value in (held or {}).items():
        low[i] = high[i] = float(value)
    constraints = []
    if rows:
        matrix = np.zeros((len(rows), n + x))
        for r, (i, s) in enumerate(rows):
            matrix[r, i], matrix[r, n + s] = 1.0, -1.0
        constraints = [optimize.LinearConstraint(matrix, -np.inf, 0.0)]
    whole = np.concatenate([np.ones(n, np.intp), np.zeros(x, np.intp)])
    result = optimize.milp(
        objective, constraints=constraints, integrality=whole, bounds=optimize.Bounds(low, high)
    )
    if result.x is None:
        raise RuntimeError(f"The choice of neighbours was not solved: {result.message}")
    return np.asarray(result.x[:n] > 0.5)


def break_even(found: Neighbours, i: int) -> float:
    """The chance of need at which renewing candidate i now becomes the better choice, the others chosen best."""
    if found.later[i] <= 0:
        return float("inf")
    without = replace(found, need=np.where(np.arange(found.need.size) == i, 0.0, found.need))
    renewed = total_cost(without, best_choice(without, held={i: True}))
    left = total_cost(without, best_choice(without, held={i: False}))
    return (renewed - left) / float(found.later[i])


def with_neighbours(
    prepared: Prepared,
    jobs: tuple[Job, ...],
    *,
    chance: Chances,
    cost: Costing,
    ahead: Ahead,
    running: Running,
    horizon_years: float,
    comfort: bool = False,
    leave: frozenset[str] = frozenset(),
) -> tuple[tuple[Job, ...], tuple[Apart, ...]]:
    """The jobs with the neighbours that pay to renew now, and the verdict on every neighbour but those to `leave`."""
    taken = {c for job in jobs for c in job.parts}
    taken |= {c for c, part in enumerate(prepared.car.parts) if part.id in leave}
    need = ahead.need_by(prepared, horizon_years)
    new = new_need(prepared, ahead, horizon_years)
    later = cost_of_reaching_again(prepared, chance, cost, running)
    out, verdicts = [], []
    for job in jobs:
        candidates = neighbours_of(prepared, job, cost, taken=taken, comfort=comfort)
        found = _neighbours(prepared, job, candidates, cost=cost, later=later, need=need, need_new=new)
        renew = best_choice(found)
        for i, c in enumerate(candidates):
            verdicts.append(
                Apart(
                    job=job.id,
                    component=prepared.car.parts[c].id,
                    renew_now=bool(renew[i]),
                    break_even=break_even(found, i),
                    chance=float(need[c]),
                    cost_now=float(found.now[i] + found.step_cost[found.further[i]].sum()),
                    cost_later=float(later[c]),
                )
            )
        chosen = tuple(c for c, yes in zip(candidates, renew, strict=True) if yes)
        taken |= set(chosen)
        renewed = (*job.parts, *chosen)
        steps = ordered_steps(prepared, renewed)
        lead = next(part.name for part in prepared.car.parts if part.id == job.id)
        out.append(
            replace(
                job,
                name=job_name(lead, len(renewed), main_step(prepared, steps, cost.step_hours)),
                neighbours=chosen,
                steps=steps,
                skill=job_skill(prepared, renewed, steps),
            )
        )
    return tuple(out), tuple(verdicts)


def neighbours_of(
    prepared: Prepared, job: Job, cost: Costing, *, taken: set[int], comfort: bool = False
) -> tuple[int, ...]:
    """Parts of the car most of whose real strip-down the job opens anyway, in no job yet."""
    car, access, hours = prepared.car, prepared.book.access, cost.step_hours
    inside = set(job.steps)
    out = []
    for c, part in enumerate(car.parts):
        if c in taken or car.has[c] < 0.5 or (part.need == "comfort" and not comfort):
            continue
        mine = [int(s) for s in access.of(c) if access.opens[s]]
        whole = float(hours[mine].sum())
        if (
            whole >= _LEAST_STRIP_DOWN_H
            and hours[[s for s in mine if s in inside]].sum() >= _MOSTLY_OPEN * whole
        ):
            out.append(c)
    return tuple(out)


def new_need(prepared: Prepared, ahead: Ahead, horizon_years: float) -> Floats:
    """(C,) chance that the part as it would be renewed now needs it again within the horizon."""
    car = prepared.car
    return new_part_need(
        car.lives,
        horizon_years=horizon_years,
        km_rate=ahead.km_rate,
        years_rate=ahead.years_rate,
        life_share=np.array([ways[0].life for ways in prepared.book.ways]),
        log_sd=np.hypot(car.catalogue.settings.evidence.life.common_sd, car.own_sd),
    )


def cost_of_reaching_again(prepared: Prepared, chance: Chances, cost: Costing, running: Running) -> Floats:
    """(C,) what a part costs that is put back and then has to be renewed in a job of its own."""
    car, access = prepared.car, prepared.book.access
    whole = cost.bill + access.needs @ cost.step_cost + cost.visit
    whole = whole + cost.carriage * cost.supplier.sum(axis=1)
    month = pert_mean(np.array(running.waiting.off_road_month)) * money_factor(car)
    for c, part in enumerate(car.parts):
        if part.need in ("safety", "to-drive"):
            whole[c] += month * (1.0 + cost.wait_weeks[c, 1]) / WEEKS_PER_MONTH
        years = min(part.deferral_years, _DAMAGE_YEARS) / 2
        for damage in part.damages:
            other = car.index.get(damage.component)
            if other is not None:
                struck = -np.expm1(-damage.rate * years) * (1 - chance.spent[other])
                whole[c] += struck * prepared.book.typical[other]
    return np.asarray(whole)


def _neighbours(
    prepared: Prepared,
    job: Job,
    candidates: tuple[int, ...],
    *,
    cost: Costing,
    later: Floats,
    need: Floats,
    need_new: Floats,
) -> Neighbours:
    index = np.array(candidates, np.intp)
    needs = prepared.book.access.needs[index] > 0.5
    needs[:, list(job.steps)] = False
    used = needs.any(axis=0)
    return Neighbours(
        now=cost.bill[index],
        further=needs[:, used],
        step_cost=cost.step_cost[used],
        later=later[index],
        need=need[index],
        need_new=need_new[index],
    )
