"""When to do which job, by whom: a mixed integer program over months, solved by HiGHS.

Numbers in, numbers out: nothing here knows what a car is. Each job is done once, in one month, by the owner or by
a workshop; strip-down steps, carriage and visits are paid once a month however many jobs share them, tools once
bought or per month hired. Minimised: expected cost, plus what waiting costs (damage by the month, the car off the
road until every urgent job is done), plus a trifle a month so that of equal plans the earlier one is taken.

Limits: money in hand with the months' money added up; the owner's hours (work that takes longer than a month may
stretch over several, but does not begin before its parts are there); workshop bookings; the month in which parts
and workshop are to be had; months barred to a job (driving season); order (`before`; urgent jobs before all others
from the month on in which they could be done).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import optimize, sparse

from estimator.decide.workload import (
    EARLIER,
    MODES,
    OWN,
    SHOP,
    Flags,
    Floats,
    Ints,
    Workload,
    broken_limits,
    counts_from,
    spending,
    waiting_cost,
)

TOLERANCE = 1e-6


@dataclass(frozen=True)
class Schedule:
    """month (J,) 0-based, -1 where left out; mode (J,); bought (T,) tools bought rather than hired.

    status : optimal, within-gap, left-out (some jobs do not fit) or infeasible (nothing does). gap : how far the
    objective may be above the best, relative.
    """

    month: Ints
    mode: Ints
    bought: Flags
    status: str
    objective: float
    gap: float


def solve(work: Workload, *, time_limit_s: float = 10.0, gap: float = 1e-4) -> Schedule:
    """The best plan; if not everything fits, the best one that leaves out as little as possible, urgent jobs last.

    Raises
    ------
    ValueError
        If the time limit or the gap is not positive.
    """
    if not (time_limit_s > 0 and gap >= 0):
        raise ValueError("The time limit must be above 0 seconds and the gap 0 or more.")
    if work.jobs == 0:
        nothing = np.zeros(0, np.intp)
        return Schedule(nothing, nothing, np.zeros(work.buy.size, bool), "optimal", 0.0, 0.0)
    whole = _solve(work, leave_out=False, time_limit_s=time_limit_s, gap=gap)
    if whole is not None:
        return _never_dearer(work, whole if whole.status == "optimal" else moved_up(work, whole))
    part = _solve(work, leave_out=True, time_limit_s=time_limit_s, gap=gap)
    plain = one_after_another(work)
    found = plain if part is None or _worth(work, plain) < _worth(work, part) else part
    if found.status != "optimal":
        found = moved_up(work, found)
    done = found.month >= 0
    return replace(found, status="within-gap" if done.all() else "left-out" if done.any() else "infeasible")


def _worth(work: Workload, found: Schedule) -> tuple[float, float]:
    """What is left out, an urgent job weighing more than all others together; then the objective."""
    left = found.month < 0
    return float(np.where(work.urgent, work.jobs + 1.0, 1.0)[left].sum()), found.objective


def moved_up(work: Workload, found: Schedule) -> Schedule:
    """A plan the solver had no time to finish, each job moved for itself as long as that makes it better."""
    month, mode, best = found.month.copy(), found.mode.copy(), found.objective
    allowed = work.allowed()
    for j in sorted(np.flatnonzero(month < 0), key=lambda i: (not work.urgent[i], work.cost[i].min())):
        for way, m in np.argwhere(allowed[j]):  # what was left out may fit after all
            month[j], mode[j] = m, way
            if not broken_limits(work, month, mode, found.bought):
                best = float(spending(work, month, mode, found.bought).sum()) + waiting_cost(work, month)
                break
            month[j] = -1
    for _ in range(3):
        before = best
        for j in sorted(np.flatnonzero(month >= 0), key=lambda i: -work.delay[i]):
            for way, m in np.argwhere(allowed[j]):
                was = (month[j], mode[j])
                month[j], mode[j] = m, way
                total = float(spending(work, month, mode, found.bought).sum()) + waiting_cost(work, month)
                if total < best - TOLERANCE and not broken_limits(work, month, mode, found.bought):
                    best = total
                else:
                    month[j], mode[j] = was
        if best > before - TOLERANCE:
            break
    return replace(found, month=month, mode=mode, objective=best)


def one_after_another(work: Workload) -> Schedule:
    """Each job in the first month where it breaks no limit, urgent ones first: what the solver has to beat."""
    month = np.full(work.jobs, -1, np.intp)
    mode = np.zeros(work.jobs, np.intp)
    bought = work.buy < work.hire
    before = [sum(b == j for _, b in work.before) for j in range(work.jobs)]
    for j in sorted(range(work.jobs), key=lambda i: (not work.urgent[i], before[i], work.cost[i].min())):
        for m, way in (
            (m, int(w)) for m in range(work.months) for w in np.argsort(work.cost[j], kind="stable")
        ):
            month[j], mode[j] = m, way
            if work.allowed()[j, way, m] and not broken_limits(work, month, mode, bought):
                break
        else:
            month[j] = -1
    total = float(spending(work, month, mode, bought).sum()) + waiting_cost(work, month)
    return Schedule(month, mode, bought, "left-out", total, 1.0)


def fits(work: Workload, *, time_limit_s: float = 3.0) -> bool:
    """Whether every job can be placed at all (no, if none was found in the time)."""
    return work.jobs == 0 or _solve(work, leave_out=False, time_limit_s=time_limit_s, gap=1.0) is not None


def _never_dearer(work: Workload, found: Schedule) -> Schedule:
    """Everything in the first month, where limits allow it, if the solver's gap or time left it unseen."""
    for mode in (np.argmin(work.cost, axis=1), np.full(work.jobs, SHOP)):
        month = np.zeros(work.jobs, np.intp)
        bought = work.buy < work.hire
        if not broken_limits(work, month, mode, bought):
            total = float(spending(work, month, mode, bought).sum()) + waiting_cost(work, month)
            if total < found.objective - TOLERANCE:
                mode = mode.astype(np.intp)
                found = replace(found, month=month, mode=mode, bought=bought, objective=total)
    return found


def _solve(work: Workload, *, leave_out: bool, time_limit_s: float, gap: float) -> Schedule | None:
    program = _Program(work)
    lower = np.zeros(program.size)
    if leave_out:  # first leave out as little as possible, urgent jobs last; then the best plan of the rest
        program.upper[program.out : program.step] = 1.0
        fewest = np.zeros(program.size)
        fewest[program.out : program.step] = np.where(work.urgent, work.jobs + 1.0, 1.0)
        first = program.run(fewest, lower, time_limit_s=time_limit_s, gap=0.0)
        if first.x is None:
            return None
        left = np.round(first.x[program.out : program.step])
        lower[program.out : program.step] = program.upper[program.out : program.step] = left
    result = program.run(program.objective, lower, time_limit_s=time_limit_s, gap=gap)
    if result.x is None:
        return None
    x = result.x[: program.jobs_end].reshape(work.jobs, MODES * work.months)
    done = x.max(axis=1) > 0.5
    mode, month = np.divmod(x.argmax(axis=1), work.months)
    month = np.where(done, month, -1).astype(np.intp)
    mode = mode.astype(np.intp)
    reached = float(getattr(result, "mip_gap", 0.0) or 0.0)
    bought = result.x[program.buy : program.hire] > 0.5
    status = "optimal" if reached <= gap + 1e-12 and result.status == 0 else "within-gap"
    total = float(spending(work, month, mode, bought).sum()) + waiting_cost(work, month)
    return Schedule(month, mode, bought, status, total, reached)


class _Program:
    """Variables in order: x (J, 2, M) done; off (J,) left out; step (S, 2, M); order (K, M); visit (M,);
    buy (T,), hire (T, M); off the road (M,); clear (M,) all that is urgent and could be done is done.
    """

    def __init__(self, work: Workload) -> None:
        self.work = work
        j, m, s, k, t = work.jobs, work.months, work.uses.shape[1], work.orders.shape[1], work.buy.size
        self.jobs_end = j * MODES * m
        sizes = (self.jobs_end, j, s * MODES * m, k * m, m, t, t * m, m, m)
        starts = np.concatenate([[0], np.cumsum(sizes)])
        places = [int(v) for v in starts[1:-1]]
        self.out, self.step, self.order, self.visit, self.buy, self.hire, self.road, self.clear = places
        self.size = int(starts[-1])
        self.whole = np.zeros(self.size, np.intp)
        self.whole[: self.step] = 1
        self.upper = np.ones(self.size)
        self.upper[: self.jobs_end] = work.allowed().ravel()
        self.upper[self.out : self.step] = 0.0
        self.upper[self.buy : self.hire] = np.isfinite(work.buy)
        self.upper[self.hire : self.road] = np.repeat(np.isfinite(work.hire), m)
        self.rows: list[tuple[list[int], list[float], float, float]] = []
        self.objective = self._objective()
        self._limits()

    def x(self, j: int, way: int, m: int) -> int:
        return (j * MODES + way) * self.work.months + m

    def _objective(self) -> Floats:
        work, m = self.work, self.work.months
        c = np.zeros(self.size)
        waiting = (work.delay + EARLIER)[:, None, None] * np.arange(m)
        cost = np.where(np.isfinite(work.cost), work.cost, 0.0)[..., None]
        c[: self.jobs_end] = (cost + waiting).ravel()
        c[self.step : self.order] = np.repeat(work.step_cost.ravel(), m)
        c[self.order : self.visit] = work.carriage
        c[self.visit : self.buy] = work.visit
        c[self.buy : self.hire] = np.where(np.isfinite(work.buy), work.buy, 0.0)
        c[self.hire : self.road] = np.repeat(np.where(np.isfinite(work.hire), work.hire, 0.0), m)
        c[self.road : self.clear] = work.off_road
        return c

    def _row(self, columns: list[int], values: list[float], low: float, high: float) -> None:
        self.rows.append((columns, values, low, high))

    def _limits(self) -> None:
        work, months = self.work, range(self.work.months)
        for j in range(work.jobs):
            everywhere = [self.x(j, w, m) for w in range(MODES) for m in months]
            self._row([*everywhere, self.out + j], [1.0] * (len(everywhere) + 1), 1.0, 1.0)
        self._shared()
        self._money()
        self._own_hours()
        for m in months:
            if np.isfinite(work.bookings[m]):
                here = [self.x(j, SHOP, m) for j in range(work.jobs)]
                self._row(here, [1.0] * len(here), -np.inf, float(work.bookings[m]))
        self._order()

    def _order(self) -> None:
        """Pairs as asked for; what is not urgent waits until all that is urgent and could be done is done."""
        work, months = self.work, range(self.work.months)
        for a, b in work.before:
            for m in months:
                now = [self.x(b, w, m) for w in range(MODES)]
                until = self._by(a, m)
                self._row([*now, *until], [1.0] * len(now) + [-1.0] * len(until), -np.inf, 0.0)
        if not work.urgent.any():
            return
        for job in np.flatnonzero(work.urgent):
            for m in range(counts_from(work, int(job)), work.months):
                until = self._by(int(job), m)
                self._row([self.clear + m, *until], [1.0] + [-1.0] * len(until), -np.inf, 0.0)
            for m in months:  # not done by its end: the car stands in that month
                until = self._by(int(job), m)
                self._row([self.road + m, *until], [1.0] * (len(until) + 1), 1.0, np.inf)
        for job in np.flatnonzero(~work.urgent):
            for m in months:
                now = [self.x(int(job), w, m) for w in range(MODES)]
                self._row([*now, self.clear + m], [1.0] * len(now) + [-1.0], -np.inf, 0.0)

    def _by(self, j: int, m: int) -> list[int]:
        """Variables that say job j is done by the end of month m."""
        return [self.x(j, w, e) for w in range(MODES) for e in range(m + 1)]

    def _shared(self) -> None:
        """A step, an order, a visit or a tool is there in the month a job needs it."""
        work, months = self.work, self.work.months
        for j in range(work.jobs):
            for m in range(months):
                for way in range(MODES):
                    if not self.upper[self.x(j, way, m)]:
                        continue
                    mine = self.x(j, way, m)
                    for s in np.flatnonzero(work.uses[j]):
                        step = self.step + (int(s) * MODES + way) * months + m
                        self._row([mine, step], [1.0, -1.0], -np.inf, 0.0)
                    for k in np.flatnonzero(work.orders[j]):
                        self._row([mine, self.order + int(k) * months + m], [1.0, -1.0], -np.inf, 0.0)
                    if way == SHOP and work.visit > 0:
                        self._row([mine, self.visit + m], [1.0, -1.0], -np.inf, 0.0)
                    if way == OWN:
                        for t in np.flatnonzero(work.tools[j]):
                            pair = [self.buy + int(t), self.hire + int(t) * months + m]
                            self._row([mine, *pair], [1.0, -1.0, -1.0], -np.inf, 0.0)

    def _money(self) -> None:
        """Everything paid by the end of each month is there; a tool bought is paid from the first month."""
        work, months = self.work, self.work.months
        c = self._prices()
        for m in range(months):
            if not np.isfinite(work.money[m]):
                continue
            columns = [i for i in np.flatnonzero(c) if self._month(int(i)) <= m]
            self._row(
                [int(i) for i in columns], [float(c[i]) for i in columns], -np.inf, float(work.money[m])
            )

    def _prices(self) -> Floats:
        c = self.objective.copy()
        cost = np.where(np.isfinite(self.work.cost), self.work.cost, 0.0)
        c[: self.jobs_end] = np.repeat(cost.ravel(), self.work.months)
        c[self.out : self.step] = 0.0
        c[self.road :] = 0.0
        return c

    def _month(self, column: int) -> int:
        if self.buy <= column < self.hire:
            return 0
        start = 0 if column < self.jobs_end else self.step if column < self.buy else self.hire
        return (column - start) % self.work.months

    def _own_hours(self) -> None:
        """Work whose parts come in month a or later and that is done by month b fits into the hours a to b."""
        work = self.work
        for start in sorted({int(f) for f in work.first[:, OWN] if f < work.months}):
            late = [
                j for j in range(work.jobs) if work.first[j, OWN] >= start and np.isfinite(work.cost[j, OWN])
            ]
            for end in range(start, work.months):
                if not np.isfinite(work.own_hours[start : end + 1]).all() or not late:
                    continue
                columns = [self.x(j, OWN, m) for j in late for m in range(start, end + 1)]
                values = [float(work.hours[j]) for j in late for _ in range(start, end + 1)]
                if start == 0:
                    for s in np.flatnonzero(work.step_hours):
                        for m in range(end + 1):
                            columns.append(self.step + (int(s) * MODES + OWN) * work.months + m)
                            values.append(float(work.step_hours[s]))
                self._row(columns, values, -np.inf, float(work.own_hours[start : end + 1].sum()))

    def run(self, objective: Floats, lower: Floats, *, time_limit_s: float, gap: float) -> Any:
        """Hand it to HiGHS."""
        return optimize.milp(
            objective,
            constraints=self.constraints(),
            integrality=self.whole,
            bounds=optimize.Bounds(lower, self.upper),
            options={"time_limit": time_limit_s, "mip_rel_gap": gap},
        )

    def constraints(self) -> optimize.LinearConstraint:
        """All rows as one sparse matrix."""
        row = np.repeat(np.arange(len(self.rows)), [len(r[0]) for r in self.rows])
        column = np.concatenate([np.asarray(r[0], np.intp) for r in self.rows])
        value = np.concatenate([np.asarray(r[1], float) for r in self.rows])
        matrix = sparse.csr_array((value, (row, column)), shape=(len(self.rows), self.size))
        return optimize.LinearConstraint(
            matrix, np.array([r[2] for r in self.rows]), np.array([r[3] for r in self.rows])
        )
