"""The first year: which jobs, together or apart, in which month, by whom, and what that will cost.

    plan = plan_year(case)
    plan.status, plan.reserve, plan.months[0].jobs

Jobs are what probably needs doing, and what pays to renew while it is apart; they are placed under the owner's
limits (`schedule`), then the plan is simulated (`plan_draws`).
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from estimator.assess import SEED, Result, assess_fully
from estimator.case import Case
from estimator.catalogue.load import Catalogue, load_catalogue
from estimator.catalogue.running import Running, running_settings
from estimator.decide.ahead import ahead as years_ahead
from estimator.decide.budget import year_holds
from estimator.decide.costing import WEEKS_PER_MONTH, Chances, Costing, chances, costing, money_factor
from estimator.decide.jobs import PROBABLE, Job, choose_parts, form_jobs
from estimator.decide.options import Option, options_of
from estimator.decide.order_lines import job_lines, mode_word
from estimator.decide.plan_draws import PlanDraws, draw_plan
from estimator.decide.plan_records import Binding, OrderLine, Plan, PlanMonth, PlannedJob
from estimator.decide.plan_settings import (
    MONTHS,
    PlanSettings,
    driving_months,
    month_starts,
    plan_settings,
    tool_prices,
    workload,
)
from estimator.decide.schedule import Schedule, fits, least_more, solve
from estimator.decide.while_apart import Apart, cost_of_reaching_again, with_neighbours
from estimator.decide.workload import LIMITS, OWN, SHOP, Workload, spending
from estimator.distribution import Distribution, summarise
from estimator.money.ranges import pert_mean
from estimator.pipeline import Prepared
from estimator.problems import InputError, Problem

Floats = NDArray[np.float64]
DRAWS = 8_000


def plan_year(
    case: Case,
    catalogue: Catalogue | None = None,
    *,
    months: int = MONTHS,
    monthly: float | None = None,
    in_hand: float | None = None,
    own_hours: float | None = None,
    own_skill: int | None = None,
    bookings: int | None = None,
    level: float | None = None,
    horizon_years: float | None = None,
    by: datetime.date | None = None,
    threshold: float = PROBABLE,
    include: Collection[str] = (),
    leave: Collection[str] = (),
    comfort: bool = False,
    draws: int = DRAWS,
    seed: int = SEED,
    workers: int | None = None,
    time_limit_s: float = 2.0,
    progress: Callable[[float], None] | None = None,
    result: Result | None = None,
) -> Plan:
    """Plan the work of the first year.

    Parameters
    ----------
    months, monthly, in_hand, own_hours, own_skill, bookings, level, horizon_years : see PlanSettings; None: as the
        case says.
    by : a day the car should be on the road by, within the months planned; its chance is reported.
    threshold : parts that need work within the year with at least this chance are planned, besides those found.
    include, leave : ids of parts to plan for, or not, whatever their chance. comfort : also comfort and looks.
    draws, seed, workers : of the assessment, see `assess`; the plan is simulated on its draws, from the same seed.
    progress : called with the share done, 0 to 1, while the car is assessed.
    time_limit_s : of the scheduler; the gap it leaves is reported.
    result : an assessment of this case with its draws, if there is one already; draws is then not used.

    Raises
    ------
    InputError
        Naming the setting or part and what is allowed.
    """
    catalogue = catalogue or load_catalogue()
    running = running_settings(catalogue)
    settings = plan_settings(
        case, running, months=months, monthly=monthly, in_hand=in_hand, own_hours=own_hours,
        own_skill=own_skill, bookings=bookings, level=level, horizon_years=horizon_years,
    )  # fmt: skip
    _check(case, settings, threshold=threshold, by=by, time_limit_s=time_limit_s)
    if result is None:
        result = assess_fully(case, catalogue, draws=draws, seed=seed, workers=workers, progress=progress)
    work = _Work.of(
        result, running, settings, threshold=threshold, include=include, leave=leave, comfort=comfort
    )
    schedule = solve(work.load, time_limit_s=time_limit_s)
    return _plan(result, work, settings, schedule, by=by, seed=seed, comfort=comfort)


def _check(
    case: Case, settings: PlanSettings, *, threshold: float, by: datetime.date | None, time_limit_s: float
) -> None:
    problems = []
    if not 0 < threshold <= 1:
        problems.append(
            Problem(case.name, None, "threshold", f"must be above 0, at most 1; found {threshold:g}")
        )
    if not time_limit_s > 0:
        text = f"must be above 0 seconds; found {time_limit_s:g}"
        problems.append(Problem(case.name, None, "time_limit_s", text))
    if by is not None:
        first, last = case.today, _end(case.today, settings.months)
        if not first <= by <= last:
            text = f"must lie within the months planned, {first} to {last}; found {by}"
            problems.append(Problem(case.name, None, "by", text))
    if problems:
        raise InputError(problems)


def _end(today: datetime.date, months: int) -> datetime.date:
    return month_starts(today, months + 1)[-1]


@dataclass(frozen=True)
class _Work:
    """Everything decided before months are: jobs, verdicts on neighbours, options, and the scheduler's numbers."""

    chance: Chances
    cost: Costing
    jobs: tuple[Job, ...]
    apart: tuple[Apart, ...]
    options: tuple[Option, ...]
    delay: dict[str, float]
    load: Workload
    tools: tuple[str, ...]

    @classmethod
    def of(
        cls,
        result: Result,
        running: Running,
        settings: PlanSettings,
        *,
        threshold: float,
        include: Collection[str],
        leave: Collection[str],
        comfort: bool,
    ) -> _Work:
        prepared = result.prepared
        chance, cost = chances(prepared), costing(prepared.book, prepared.car)
        chosen = choose_parts(
            prepared, chance, result.found, threshold=threshold, include=include, leave=leave, comfort=comfort
        )
        jobs = form_jobs(prepared, chance, cost, chosen)
        horizon = settings.horizon_years
        ahead = years_ahead(prepared, horizon)
        jobs, apart = with_neighbours(
            prepared, jobs, chance=chance, cost=cost, ahead=ahead, running=running, horizon_years=horizon,
            comfort=comfort, leave=frozenset(leave),
        )  # fmt: skip
        delay = {job.id: cost_of_a_month(prepared, job, chance, running) for job in jobs}
        options = options_of(
            prepared, jobs, cost=cost, ahead=ahead, need=ahead.need_by(prepared, horizon),
            later=cost_of_reaching_again(prepared, chance, cost, running), delay=delay, horizon_years=horizon,
        )  # fmt: skip
        load = workload(prepared, jobs, settings, cost=cost, running=running, delay=delay)
        return cls(chance, cost, jobs, apart, options, delay, load, tool_prices(prepared, jobs)[0])


def cost_of_a_month(prepared: Prepared, job: Job, chance: Chances, running: Running) -> float:
    """What putting a job off by a month is counted at: damage to parts outside it, breakdowns, and that it nags."""
    car = prepared.car
    nags = running.waiting.put_off_urgent if job.urgent else running.waiting.put_off
    total = nags * money_factor(car)
    breakdown = float(pert_mean(np.array(running.waiting.breakdown))) * money_factor(car)
    for c in job.renewed:
        part = car.parts[c]
        for damage in part.damages:
            other = car.index.get(damage.component)
            if other is not None and other not in job.renewed:
                struck = damage.rate / 12 * (1 - chance.spent[other])
                total += chance.spent[c] * struck * prepared.book.typical[other]
        if part.need in ("safety", "to-drive"):
            total += chance.due[c] / 12 * breakdown
    return float(total)


def _plan(
    result: Result,
    work: _Work,
    settings: PlanSettings,
    schedule: Schedule,
    *,
    by: datetime.date | None,
    seed: int,
    comfort: bool,
) -> Plan:
    placed = np.flatnonzero(schedule.month >= 0)
    jobs = tuple(work.jobs[j] for j in placed)
    month, mode = schedule.month[placed], schedule.mode[placed]
    load = _only(work.load, placed)
    drawn = draw_plan(
        result, jobs, load, month=month, mode=mode, bought=schedule.bought, cost=work.cost,
        months=settings.months, seed=seed, comfort=comfort,
    )  # fmt: skip
    if any(job.urgent for j, job in enumerate(work.jobs) if schedule.month[j] < 0):
        drawn = replace(drawn, off_road=np.ones_like(drawn.off_road))  # what has to come first does not fit
    planned = _by_month(drawn, month, settings.months)
    money = settings.money()
    so_far = np.cumsum(planned + drawn.rest, axis=1)
    short = (so_far - settings.money() if settings.has_money_limit else so_far).max(axis=1)
    total = so_far[:, -1]
    rows = [
        _planned_job(result, work, j, schedule, None if k is None else summarise(drawn.job[:, k]))
        for j in range(len(work.jobs))
        for k in [int(np.flatnonzero(placed == j)[0]) if j in placed else None]
    ]
    done = tuple(sorted((r for r in rows if r.month), key=lambda r: (r.month, not r.urgent, r.id)))
    left = tuple(r for r in rows if not r.month)
    status = schedule.status if work.jobs else "nothing-probable"
    a = result.assessment
    return Plan(
        case=a.case,
        currency=a.currency,
        price_year=a.price_year,
        draws=a.draws,
        seed=seed,
        status=status,
        gap=schedule.gap,
        months=_months(result, settings, planned, drawn, so_far, money, done),
        jobs=done,
        left_out=left,
        binds=binding_limits(work.load, settings, [j.name for j in work.jobs]) if left else (),
        total=summarise(total),
        planned=summarise(planned.sum(axis=1)),
        turns_up=summarise(drawn.rest.sum(axis=1)),
        estimate=a.total.plan_year,
        year=summarise(so_far[:, MONTHS - 1]) if settings.months >= MONTHS else None,
        at_once=everything_at_once(work.load),
        expected=float(spending(work.load, schedule.month, schedule.mode, schedule.bought).sum()),
        level=settings.level,
        reserve=max(float(np.quantile(short, settings.level)), 0.0),
        overrun=float((short > 1e-9).mean()) if settings.has_money_limit else None,
        budget=year_holds(result, so_far[:, MONTHS - 1]) if settings.months >= MONTHS else None,
        on_road_by=_on_road_by(by, drawn, result, settings, urgent=any(j.urgent for j in work.jobs)),
        while_apart=work.apart,
        options=work.options,
        orders=_orders(result, work, jobs, month, mode, schedule, drawn),
        labour={job.id: float(x) for job, x in zip(jobs, drawn.labour, strict=True)},
        horizon_years=settings.horizon_years,
        notes=_notes(result, settings, work, done, left),
        warnings=a.warnings,
        stops=a.stops,
        open_stops=a.open_stops,
        prepared=result.prepared,
    )


def _only(load: Workload, placed: NDArray[np.intp]) -> Workload:
    """The workload of some of the jobs."""
    fields = ("cost", "hours", "first", "barred", "uses", "orders", "tools", "delay", "urgent")
    return replace(load, before=(), **{f: getattr(load, f)[placed] for f in fields})


def _by_month(drawn: PlanDraws, month: NDArray[np.intp], months: int) -> Floats:
    """(n, M) outlay of the planned jobs by the month they are done in."""
    where = np.zeros((month.size, months))
    where[np.arange(month.size), month] = 1.0
    return np.asarray(drawn.job @ where)


def _planned_job(
    result: Result, work: _Work, j: int, schedule: Schedule, cost: Distribution | None
) -> PlannedJob:
    prepared, job, costs = result.prepared, work.jobs[j], work.cost
    parts, steps = list(job.renewed), list(job.steps)
    hours = float(costs.hours[parts].sum() + costs.step_hours[steps].sum())
    own = bool(schedule.mode[j] == OWN) and schedule.month[j] >= 0
    return PlannedJob(
        id=job.id,
        name=job.name,
        month=int(schedule.month[j]) + 1,
        by=mode_word(int(schedule.mode[j])),
        need=job.need,
        urgent=job.urgent,
        skill=job.skill,
        components=tuple(prepared.car.parts[c].id for c in job.parts),
        neighbours=tuple(prepared.car.parts[c].id for c in job.neighbours),
        steps=tuple(prepared.book.access.steps[s] for s in job.steps),
        hours=hours,
        own_hours=hours * costs.handy if own else 0.0,
        wait_weeks=float(costs.wait_weeks[parts, 1].max()),
        delay_month=work.delay[job.id],
        cost=cost,
    )


def _months(
    result: Result,
    settings: PlanSettings,
    planned: Floats,
    drawn: PlanDraws,
    so_far: Floats,
    money: Floats,
    done: Sequence[PlannedJob],
) -> tuple[PlanMonth, ...]:
    today = result.prepared.car.case.today
    driving, starts = driving_months(settings, today), month_starts(today, settings.months)
    return tuple(
        PlanMonth(
            number=m + 1,
            start=starts[m],
            driving=bool(driving[m]),
            jobs=tuple(j.id for j in done if j.month == m + 1),
            cost=summarise(planned[:, m]),
            turns_up=summarise(drawn.rest[:, m]),
            so_far=summarise(so_far[:, m]),
            money=float(money[m]) if settings.has_money_limit else None,
            on_the_road=float(1 - drawn.off_road[:, m].mean()),
            own_hours=float(sum(j.own_hours for j in done if j.month == m + 1)),
        )
        for m in range(settings.months)
    )


def _on_road_by(
    by: datetime.date | None, drawn: PlanDraws, result: Result, settings: PlanSettings, *, urgent: bool
) -> tuple[datetime.date, float] | None:
    """Chance that the car is on the road by a day: at the end of the last month that ends by it, as work of a month
    counts as done at its end. Inside the first month: none with urgent work to do, else that nothing stops it.
    """
    if by is None:
        return None
    ends = month_starts(result.prepared.car.case.today, settings.months + 1)[1:]
    whole = sum(end <= by for end in ends)
    if whole == 0 and urgent:
        return by, 0.0
    return by, float(1 - drawn.off_road[:, max(whole, 1) - 1].mean())


def _orders(
    result: Result,
    work: _Work,
    jobs: Sequence[Job],
    month: NDArray[np.intp],
    mode: NDArray[np.intp],
    schedule: Schedule,
    drawn: PlanDraws,
) -> tuple[OrderLine, ...]:
    return tuple(
        line
        for j, job in enumerate(jobs)
        for line in job_lines(
            result.prepared, job, j, month=int(month[j]) + 1, mode=int(mode[j]), drawn=drawn, cost=work.cost,
            tools=work.tools, bought=list(schedule.bought),
        )
    )  # fmt: skip


def everything_at_once(load: Workload) -> float:
    """Expected cost of doing all of it in the first month, by whoever is cheaper, limits or not."""
    if not load.jobs:
        return 0.0
    month = np.zeros(load.jobs, np.intp)
    bought = load.buy < load.hire
    ways = (np.argmin(load.cost, axis=1), np.full(load.jobs, SHOP))
    return min(float(spending(load, month, way, bought).sum()) for way in ways)


def binding_limits(load: Workload, settings: PlanSettings, names: Sequence[str]) -> tuple[Binding, ...]:
    """Which limits keep the whole from fitting, each with what would free it if it does so alone."""
    out = [_freed(load, settings, limit, names) for limit in LIMITS if fits(load.without(limit))]
    if out:
        return tuple(out)
    for a in range(len(LIMITS)):
        for b in range(a + 1, len(LIMITS)):
            if fits(load.without(LIMITS[a]).without(LIMITS[b])):
                one = _freed(load.without(LIMITS[b]), settings, LIMITS[a], names)
                two = _freed(load.without(LIMITS[a]), settings, LIMITS[b], names)
                return (
                    replace(one, text=f"together with {two.limit}: {one.text}"),
                    replace(two, text=f"together with {one.limit}: {two.text}"),
                )
    return (Binding("several", "no two limits together are all that binds: plan fewer jobs or more months"),)


def _freed(load: Workload, settings: PlanSettings, limit: str, names: Sequence[str]) -> Binding:
    if limit == "money":
        more, whole = (_upward(least_more(load, one)) for one in ("money", "money at the start"))
        text = f"{more:,.0f} more a month, or {whole:,.0f} more at the start, would let everything fit"
        return Binding(limit, text, more)
    if limit == "own hours":
        more = float(np.ceil(least_more(load, limit)))
        hours = "hour" if more == 1 else "hours"
        return Binding(limit, f"{more:.0f} more {hours} of your own a month would let everything fit", more)
    if limit == "bookings":
        more = float(np.ceil(least_more(load, limit)))
        bookings = "booking" if more == 1 else "bookings"
        return Binding(limit, f"{more:.0f} more workshop {bookings} a month would let everything fit", more)
    late = [names[j] for j in range(load.jobs) if load.first[j].min() > 0]
    if limit == "waits":
        return Binding(limit, "parts or the workshop come too late for: " + "; ".join(late))
    if limit == "season":
        stuck = [names[j] for j in range(load.jobs) if load.barred[j].any()]
        return Binding(
            limit, "kept out of the driving season, which would have to be given up: " + "; ".join(stuck)
        )
    return Binding(
        limit, "what is urgent must go first and does not fit; without that order everything would"
    )


def _upward(amount: float) -> float:
    """A sum rounded up to two figures, so that it is enough."""
    if not 0 < amount < np.inf:
        return amount
    step = 10.0 ** max(np.floor(np.log10(amount)) - 1, 0)
    return float(np.ceil(amount / step) * step)


def _if_nothing(result: Result, work: _Work) -> list[str]:
    """What helps where no part is probable enough to be planned: where the money may go, what to look at, the way
    to plan a part all the same.
    """
    parts, need = result.prepared.car.parts, work.chance.need
    likely = need * work.cost.bill
    first = [int(c) for c in np.argsort(-likely, kind="stable")[:5] if likely[c] > 0]
    told = [f"{parts[c].name} ({100 * need[c]:.0f} in 100)" for c in first]
    return [
        "What turns up is all there is to pay for; the reserve is for it and is wanted all the same.",
        *(
            ["Most money is expected to go on, by chance and bill together: " + "; ".join(told)]
            if told
            else []
        ),
        "Look at more of the car before it is planned: `estimator next` says what first.",
        *(
            [
                f"To plan a part all the same: `--do {parts[first[0]].id}`, or a lower threshold (`--threshold 0.3`)."
            ]
            if first
            else []
        ),
    ]


def _notes(
    result: Result,
    settings: PlanSettings,
    work: _Work,
    done: Sequence[PlannedJob],
    left: Sequence[PlannedJob],
) -> tuple[str, ...]:
    notes = []
    urgent = [j for j in done if j.urgent]
    stuck = [j for j in left if j.urgent]
    if stuck:
        notes.append(
            "The car stays off the road over all the months planned: these come before anything else and do not fit: "
            + "; ".join(j.name for j in stuck)
        )
    elif urgent:
        last = max(j.month for j in urgent)
        notes.append(
            f"The car stays off the road until these are done, in month {last} at the earliest: "
            + "; ".join(j.name for j in urgent)
        )
    if not work.jobs:
        notes += _if_nothing(result, work)
    if not settings.has_money_limit:
        notes.append("No money was named (monthly, in_hand or a budget): nothing is put off for want of it.")
    monthly = settings.own_hours
    if any(
        sum(j.own_hours for j in done if j.month == m + 1) > monthly + 0.5 for m in range(settings.months)
    ):
        notes.append(
            "Work that takes more hours than you have in a month stands in the month it is finished: begin it in "
            "those before, when its parts are there."
        )
    weeks = max((j.wait_weeks for j in done), default=0.0)
    if weeks > WEEKS_PER_MONTH:
        notes.append(f"The longest wait for parts is likely {weeks:.0f} weeks: order on the first day.")
    notes.append(
        "What turns up besides is done in the month it shows, by a workshop; the money shown does not hold it back."
    )
    return tuple(notes)


__all__ = ["Plan", "plan_year"]
