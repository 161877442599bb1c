"""The schedule of jobs as a mixed integer program: rows, columns and prices, handed to HiGHS."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import optimize, sparse

from estimator.decide.workload import EARLIER, MODES, OWN, SHOP, Floats, Workload, counts_from


class Program:
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
                there = float(work.own_hours[start : end + 1].sum())
                self._row(columns, values, -np.inf, there)

    def leave_out(self, most: float) -> Floats:
        """Jobs may be left out, up to this weight; returns the weights as an objective."""
        weight = np.zeros(self.size)
        weight[self.out : self.step] = np.where(self.work.urgent, self.work.jobs + 1.0, 1.0)
        self.upper[self.out : self.step] = 1.0
        columns = list(range(self.out, self.step))
        self._row(columns, [float(w) for w in weight[columns]], -np.inf, most)
        return weight

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
