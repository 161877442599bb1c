"""What the first year is planned under: the owner's money, hours, skill, season; what waiting costs."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.case import Case
from estimator.catalogue.running import Running
from estimator.decide.budget import left_for_work
from estimator.decide.costing import WEEKS_PER_MONTH, Costing, money_factor
from estimator.decide.jobs import Job, step_records
from estimator.decide.workload import OWN, Workload
from estimator.money.ranges import pert_mean
from estimator.pipeline import Prepared
from estimator.problems import InputError, Problem

Floats = NDArray[np.float64]
MONTHS = 12
LONGEST = 36
BIG_JOB_H = (
    8.0  # strip-down longer than this stays out of the driving season unless the car needs it to drive
)


@dataclass(frozen=True, kw_only=True)
class PlanSettings:
    """Limits of a plan. Money with tax in the case's currency; None: no limit, or as the case says.

    months : 1 to 36. monthly : money a month for work. in_hand : money there on the first day.
    cap : all there is for the year, however it comes in. own_hours a month,
    own_skill 0 to 3. season : driving season, first and last month of the year. bookings a month.
    level : of the reserve. horizon_years : how far "while it is apart" looks.
    """

    months: int = MONTHS
    monthly: float | None = None
    in_hand: float | None = None
    cap: float | None = None
    own_hours: float = 0.0
    own_skill: int = 0
    season: tuple[int, int] | None = None
    bookings: int = 2
    level: float = 0.8
    horizon_years: float = 3.0

    @property
    def has_money_limit(self) -> bool:
        return self.monthly is not None or self.in_hand is not None

    def money(self) -> Floats:
        """(M,) money there for work by each month, added up; inf without a limit."""
        if not self.has_money_limit:
            return np.full(self.months, np.inf)
        saved = (self.in_hand or 0.0) + (self.monthly or 0.0) * np.arange(1.0, self.months + 1)
        return np.asarray(saved if self.cap is None else np.minimum(saved, self.cap))


def plan_settings(
    case: Case,
    running: Running,
    *,
    months: int = MONTHS,
    monthly: float | None = None,
    in_hand: float | None = None,
    own_hours: float | None = None,
    own_skill: int | None = None,
    bookings: int | None = None,
    level: float | None = None,
    horizon_years: float | None = None,
) -> PlanSettings:
    """The case's settings with what the caller gives in their place.

    Where the case names a budget (purchase and first year together) and no money is given here, what is left of it
    after all that changes hands for the car and the bills since is in hand; a monthly sum in the case is then how fast
    it may be spent.

    Raises
    ------
    InputError
        Naming the setting, what was found and what is allowed.
    """
    money = case.money
    cap = None
    if in_hand is None and monthly is None:
        left = left_for_work(case)
        monthly, cap = money.monthly, None if left is None else max(left, 0.0)
        in_hand = cap if monthly is None else None
    made = PlanSettings(
        months=months,
        monthly=monthly,
        in_hand=in_hand,
        cap=cap,
        own_hours=money.own_hours_per_month if own_hours is None else own_hours,
        own_skill=money.own_skill if own_skill is None else own_skill,
        season=money.season,
        bookings=running.waiting.bookings_per_month if bookings is None else bookings,
        level=money.confidence if level is None else level,
        horizon_years=max(money.horizon, 1.0) if horizon_years is None else horizon_years,
    )
    rules: tuple[tuple[str, bool, str], ...] = (
        (
            "months",
            isinstance(months, (int, np.integer)) and 1 <= months <= LONGEST,
            f"a whole number 1 to {LONGEST}",
        ),
        ("monthly", _amount(monthly), "0 or more"),
        ("in_hand", _amount(in_hand), "0 or more"),
        ("own_hours", _amount(made.own_hours) and made.own_hours <= 744, "0 to 744 hours a month"),
        ("own_skill", made.own_skill in (0, 1, 2, 3), "0, 1, 2 or 3"),
        (
            "bookings",
            isinstance(made.bookings, (int, np.integer)) and made.bookings >= 0,
            "a whole number, 0 or more",
        ),
        ("level", 0 < made.level < 1, "inside 0 to 1"),
        ("horizon_years", 1 <= made.horizon_years <= 40, "1 to 40 years"),
    )
    problems = [
        Problem(case.name, None, name, f"must be {allowed}; found {_found(made, name)}")
        for name, good, allowed in rules
        if not good
    ]
    if problems:
        raise InputError(problems)
    return made


def _amount(value: float | None) -> bool:
    return value is None or (np.isfinite(value) and value >= 0)


def _found(made: PlanSettings, name: str) -> str:
    return f"{getattr(made, name)!r}"


def month_starts(today: datetime.date, months: int) -> tuple[datetime.date, ...]:
    """First day of each month of the plan: the same day of the month as today, or the last there is."""
    out = []
    for m in range(months):
        year, month = divmod(today.month - 1 + m, 12)
        first = datetime.date(today.year + year, month + 1, 1)
        next_first = datetime.date(first.year + first.month // 12, first.month % 12 + 1, 1)
        out.append(
            min(first + datetime.timedelta(days=today.day - 1), next_first - datetime.timedelta(days=1))
        )
    return tuple(out)


def driving_months(settings: PlanSettings, today: datetime.date) -> NDArray[np.bool_]:
    """(M,) months of the plan in the driving season; all of them where none is named."""
    if settings.season is None:
        return np.ones(settings.months, bool)
    first, last = settings.season
    middles = [d + datetime.timedelta(days=15) for d in month_starts(today, settings.months)]
    inside = [(first <= d.month <= last) if first <= last else not last < d.month < first for d in middles]
    return np.array(inside)


def tool_prices(prepared: Prepared, jobs: tuple[Job, ...]) -> tuple[tuple[str, ...], Floats, Floats]:
    """Special tools the jobs want: ids, price to buy and to hire once, tax included (inf: nobody hires it out)."""
    catalogue = prepared.car.catalogue
    ids = sorted({t for job in jobs for t in job_tools(prepared, job) if t in catalogue.tools})
    factor = money_factor(prepared.car) * (1 + prepared.book.tax)
    buy = np.array([catalogue.tools[t].buy[1] * factor for t in ids])
    hire = np.array([np.inf if (h := catalogue.tools[t].hire) is None else h[1] * factor for t in ids])
    return tuple(ids), buy, hire


def job_tools(prepared: Prepared, job: Job) -> tuple[str, ...]:
    """Special tools of a job's parts and steps."""
    records = step_records(prepared)
    named = [t for c in job.renewed for t in prepared.car.parts[c].tools]
    named += [t for s in job.steps for t in records[s].tools]
    return tuple(dict.fromkeys(named))


def workload(
    prepared: Prepared,
    jobs: tuple[Job, ...],
    settings: PlanSettings,
    *,
    cost: Costing,
    running: Running,
    delay: dict[str, float],
) -> Workload:
    """The jobs as numbers for the scheduler."""
    count, months = len(jobs), settings.months
    steps = [set(job.steps) for job in jobs]
    shared = sorted(s for s in set().union(*steps) if sum(s in one for one in steps) > 1) if jobs else []
    tools, buy, hire = tool_prices(prepared, jobs)
    able = np.array([job.skill <= settings.own_skill and settings.own_hours > 0 for job in jobs], bool)
    hours, trade, money = np.zeros(count), np.zeros(count), np.zeros((count, 2))
    first = np.zeros((count, 2), np.intp)
    booked = int(running.waiting.booking_weeks[1] // WEEKS_PER_MONTH)
    for j, job in enumerate(jobs):
        parts, alone = list(job.renewed), [s for s in job.steps if s not in shared]
        goods = float(cost.goods[parts].sum() + cost.step_goods[alone].sum())
        own = float(cost.hours[parts].sum() + cost.step_hours[alone].sum())
        hours[j], money[j] = own * cost.handy, (goods, goods + own * cost.rate)
        trade[j] = float(cost.hours[parts].sum() + cost.step_hours[list(job.steps)].sum())
        wait = int(cost.wait_weeks[parts, 1].max() // WEEKS_PER_MONTH)
        first[j] = (wait, max(wait, booked))
    money[~able, OWN] = np.inf
    today = prepared.car.case.today
    season = driving_months(settings, today)
    big = np.array([t > BIG_JOB_H and not job.urgent for t, job in zip(trade, jobs, strict=True)], bool)
    barred = np.zeros((count, months), bool)
    if settings.season is not None:
        barred = big[:, None] & season[None, :]
    stand = float(pert_mean(np.array(running.waiting.off_road_month))) * money_factor(prepared.car)
    return Workload(
        cost=money,
        hours=hours,
        first=first,
        barred=barred,
        uses=np.array([[s in one for s in shared] for one in steps], bool).reshape(count, len(shared)),
        step_cost=np.stack([cost.step_goods[shared], cost.step_cost[shared]], axis=1),
        step_hours=cost.step_hours[shared] * cost.handy,
        orders=np.array(
            [(cost.supplier[list(job.renewed)] >= 0.5).any(axis=0) for job in jobs], bool
        ).reshape(count, cost.supplier.shape[1]),
        carriage=cost.carriage,
        visit=cost.visit,
        tools=np.array([[t in job_tools(prepared, job) for t in tools] for job in jobs], bool).reshape(
            count, len(tools)
        ),
        buy=buy,
        hire=hire,
        delay=np.array([delay[job.id] for job in jobs]),
        urgent=np.array([job.urgent for job in jobs], bool),
        off_road=stand * np.where(season, 1.0, running.waiting.out_of_season),
        before=damage_order(prepared, jobs),
        money=settings.money(),
        own_hours=np.full(months, settings.own_hours),
        bookings=np.full(months, float(settings.bookings)),
    )


def damage_order(prepared: Prepared, jobs: tuple[Job, ...]) -> tuple[tuple[int, int], ...]:
    """(a, b): a renews what would damage something b renews, and not the other way round."""
    car = prepared.car
    home = {c: j for j, job in enumerate(jobs) for c in job.renewed}
    found = set()
    for c, j in home.items():
        for damage in car.parts[c].damages:
            other = home.get(car.index.get(damage.component, -1))
            if other is not None and other != j and (jobs[j].urgent or not jobs[other].urgent):
                found.add((j, other))
    return tuple(sorted((a, b) for a, b in found if (b, a) not in found))
