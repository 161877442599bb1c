"""A good plan found quickly: jobs put in one by one, some taken out again, put back better; every limit kept.

What the exact solver has to beat, and what there is where it has no time. Many plans are priced at once, and the
same numbers give the same plan. Arrays: plans, then jobs, then modes and months.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

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

_SLACK = 1e-6
EFFORT = 5_000  # places of jobs priced, all months of one at once
_WORSE, _BACK = 0.02, 20
_OUT = 1e18  # stands for a plan that breaks a limit


@dataclass(frozen=True)
class Found:
    """month (J,) 0-based, -1 where left out; mode (J,); bought (T,); left : weight of what is left out, an urgent job
    weighing more than all others together; total : expected cost with waiting.
    """

    month: Ints
    mode: Ints
    bought: Flags
    left: float
    total: float

    def beats(self, other: Found) -> bool:
        """Whether it leaves out less, or as much and is cheaper."""
        return (self.left, self.total) < (other.left, other.total - _SLACK)


def search(
    work: Workload, *, rng: np.random.Generator, effort: int = EFFORT, start: Found | None = None
) -> Found:
    """The best plan found with a fixed effort, no worse than the one to start from, if there is one."""
    prices = Prices(work)
    cheap = work.cost.min(axis=1)
    starts = (
        sorted(range(work.jobs), key=lambda j: (not work.urgent[j], cheap[j])),
        sorted(range(work.jobs), key=lambda j: (not work.urgent[j], -work.delay[j], cheap[j])),
        sorted(range(work.jobs), key=lambda j: (not work.urgent[j], work.first[j].min(), -cheap[j])),
    )
    nothing = prices.found(np.full(work.jobs, -1, np.intp), np.zeros(work.jobs, np.intp))
    best = nothing
    if start is not None:
        best = start
    for order in starts if start is None else ():
        made = prices.put_in(nothing, order)
        best = made if made.beats(best) else best
    at = best = prices.moved(best)
    number = 0
    while prices.asked < effort and work.jobs > 1:
        number += 1
        out = _taken_out(work, at, rng)
        # what is not urgent stays where it is, if all that is urgent was in: that has to find a place before it
        strict = bool((at.month[work.urgent] < 0).any()) or number % 2 == 0
        month = at.month.copy()
        month[out] = -1
        without = prices.found(month, at.mode, strict=strict)
        # what was taken out goes back in another order; what was left out before may go first
        waiting = np.concatenate([out, rng.permutation(np.flatnonzero(at.month < 0))]).astype(np.intp)
        if number % 3 == 0:
            waiting = waiting[::-1]
        made = prices.put_in(without, sorted(waiting, key=lambda j: not work.urgent[j]), strict=strict)
        made = prices.found(made.month, made.mode)
        if made.beats(best):
            at = best = prices.moved(made)
        elif made.left <= at.left and made.total <= at.total * (1 + _WORSE * (1 - prices.asked / effort)):
            at = made  # a little worse now and then leads out of a corner
        elif number % _BACK == 0:
            at = best
    return best


def _taken_out(work: Workload, best: Found, rng: np.random.Generator) -> Ints:
    """Some placed jobs, in any order: at random, of one month, or such as share strip-down with one of them."""
    placed = np.flatnonzero(best.month >= 0)
    if not placed.size:
        return placed
    most = min(int(placed.size), int(rng.integers(2, 3 + max(2, work.jobs // 5))))
    kind, one = int(rng.integers(3)), int(rng.choice(placed))
    if kind == 1:
        near = np.abs(best.month[placed] - best.month[one]).astype(float)
    elif kind == 2 and work.uses.shape[1]:
        near = -(work.uses[placed] & work.uses[one]).sum(axis=1).astype(float)
    else:
        near = np.zeros(placed.size)
    ranked = placed[np.argsort(near + rng.random(placed.size), kind="stable")]
    return np.asarray(rng.permutation(ranked[:most]), np.intp)


class Prices:
    """Prices and limits of one workload, for many plans at once."""

    def __init__(self, work: Workload) -> None:
        self.work = work
        self.asked = 0
        self.allowed = work.allowed()
        self.cost = np.where(np.isfinite(work.cost), work.cost, 0.0)
        self.uses, self.orders = work.uses.astype(float), work.orders.astype(float)
        self.tools = work.tools.astype(float)
        self.weight = np.where(work.urgent, work.jobs + 1.0, 1.0)
        self.urgent, self.lesser = np.flatnonzero(work.urgent), np.flatnonzero(~work.urgent)
        self.soonest = np.array([counts_from(work, int(a)) for a in self.urgent], np.intp)
        self.before = np.array(work.before, np.intp).reshape(-1, 2)
        self.stand = np.concatenate([[0.0], np.cumsum(work.off_road)])
        self.money = work.money + _SLACK * np.maximum(1.0, np.where(np.isfinite(work.money), work.money, 1.0))
        self.starts = sorted({int(f) for f in work.first[:, OWN] if f < work.months})
        self.hire = np.where(np.isfinite(work.hire), work.hire, _OUT)
        self.buy = np.where(np.isfinite(work.buy), work.buy, _OUT)

    def found(self, month: Ints, mode: Ints, *, strict: bool = True) -> Found:
        """One plan with what it leaves out and comes to; both infinite if it breaks a limit."""
        total, bought = self.of(month[None], mode[None], strict=strict)
        kept = total[0] < _OUT
        left = float(self.weight[month < 0].sum()) if kept else float("inf")
        return Found(month.copy(), mode.copy(), bought[0], left, float(total[0]) if kept else float("inf"))

    def with_tools(self, month: Ints, mode: Ints, bought: Flags) -> Found:
        """The same with tools bought as given, where that keeps the limits and is cheaper."""
        plan, work = self.found(month, mode), self.work
        if broken_limits(work, month, mode, bought):
            return plan
        total = float(spending(work, month, mode, bought).sum()) + waiting_cost(work, month)
        return replace(plan, bought=bought, total=total) if total < plan.total - _SLACK else plan

    def beyond(self, plan: Found, limit: str) -> float:
        """How much more of a limit, a month or at the start, a plan needs than there is; 0 if it keeps it.

        limit : money, money at the start, own hours or bookings.
        """
        work, there = self.work, plan.month >= 0
        own = self._placed(plan.month[None], plan.mode[None])[0][0, : work.months]
        if limit.startswith("money"):
            paid = np.cumsum(spending(work, plan.month, plan.mode, plan.bought)) - work.money
            return float(max((paid if "start" in limit else paid / np.arange(1, work.months + 1)).max(), 0.0))
        if limit == "bookings":
            visits = np.bincount(plan.month[there & (plan.mode == SHOP)], minlength=work.months)
            return float(max((visits - work.bookings).max(), 0.0))
        opened = own @ self.uses > 0
        worst = 0.0
        for start in self.starts:
            hours = own @ np.where(work.first[:, OWN] >= start, work.hours, 0.0)
            hours = np.cumsum(hours + (opened @ work.step_hours if start == 0 else 0.0))[start:]
            more = (hours - np.cumsum(work.own_hours[start:])) / np.arange(1, hours.size + 1)
            worst = max(worst, float(more.max()))
        return worst

    def put_in(self, plan: Found, jobs: Iterable[int], *, strict: bool = True) -> Found:
        """The jobs put in one after another, each where it makes the plan cheapest, if it fits anywhere."""
        for j in jobs:
            plan = self._best_place(plan, int(j), strict=strict) or plan
        return plan

    def moved(self, plan: Found) -> Found:
        """Each job moved for itself as long as that makes the plan better; what was left out put in if it fits."""
        for _ in range(4):
            before = plan
            for j in sorted(range(self.work.jobs), key=lambda i: -self.work.delay[i]):
                better = self._best_place(plan, j)
                if better is not None and better.beats(plan):
                    plan = better
            if not plan.beats(before):
                break
        return plan

    def _best_place(self, plan: Found, j: int, *, strict: bool = True) -> Found | None:
        """The plan with job j in its cheapest place; None where it fits nowhere."""
        self.asked += 1
        places = np.argwhere(self.allowed[j])
        if not len(places):
            return None
        month = np.repeat(plan.month[None], len(places), axis=0)
        mode = np.repeat(plan.mode[None], len(places), axis=0)
        mode[:, j], month[:, j] = places[:, 0], places[:, 1]
        total, bought = self.of(month, mode, strict=strict)
        best = int(np.argmin(total))
        if total[best] >= _OUT:
            return None
        left = plan.left - (self.weight[j] if plan.month[j] < 0 else 0.0)
        return replace(
            plan, month=month[best], mode=mode[best], bought=bought[best], left=left, total=float(total[best])
        )

    def of(self, month: Ints, mode: Ints, *, strict: bool = True) -> tuple[Floats, Flags]:
        """(B,) expected cost with waiting of plans (B, J), 1e18 where a limit is broken, and (B, T) tools bought.

        strict : what is not in the plan must not have come before anything in it; else it may still find a place.
        """
        work, size, there = self.work, len(month), month >= 0
        placed, broken = self._placed(month, mode)
        own, shop = placed[:, : work.months], placed[:, work.months :]
        opened = (placed @ self.uses > 0).reshape(size, MODES, work.months, -1)
        paid = own @ self.cost[:, OWN] + shop @ self.cost[:, SHOP]
        paid += opened[:, OWN] @ work.step_cost[:, OWN] + opened[:, SHOP] @ work.step_cost[:, SHOP]
        paid += work.carriage * ((own + shop) @ self.orders > 0).sum(axis=2)
        visits = shop.sum(axis=2)
        paid += work.visit * (visits > 0)
        broken |= (visits > work.bookings + 1e-9).any(axis=1)
        broken |= self._hours_broken(own, opened[:, OWN]) | self._order_broken(month, strict=strict)
        used = own @ self.tools > 0
        often = used.sum(axis=1)
        bought = (often > 0) & (self.buy < self.hire * often)
        whole = paid + self._tools(used, bought)
        short = (np.cumsum(whole, axis=1) > self.money).any(axis=1)
        if short.any() and work.buy.size:  # hired by the month, the money is wanted later
            hired = bought & ~np.isfinite(work.hire)
            other = paid + self._tools(used, hired)
            better = short & (np.cumsum(other, axis=1) <= self.money).all(axis=1)
            whole[better], bought[better] = other[better], hired[better]
            short &= ~better
        total = whole.sum(axis=1) + self._waiting(month, there)
        return np.where(broken | short, _OUT, np.minimum(total, _OUT)), bought

    def _placed(self, month: Ints, mode: Ints) -> tuple[Floats, Flags]:
        """(B, 2 M, J) which job is done by whom in which month; (B,) whether one is where it may not be."""
        row, job = np.nonzero(month >= 0)
        at, way = month[row, job], mode[row, job]
        placed = np.zeros((len(month), MODES * self.work.months, self.work.jobs))
        placed[row, way * self.work.months + at, job] = 1.0
        return placed, np.bincount(row, weights=~self.allowed[job, way, at], minlength=len(month)) > 0

    def _tools(self, used: Flags, bought: Flags) -> Floats:
        """(B, M) paid for tools: bought in the first month, hired in each month they are used."""
        out = np.where(used & ~bought[:, None], self.hire, 0.0).sum(axis=2)
        out[:, 0] += np.where(bought, self.buy, 0.0).sum(axis=1)
        return np.asarray(out)

    def _waiting(self, month: Ints, there: Flags) -> Floats:
        out = np.where(there, (self.work.delay + EARLIER) * month, 0.0).sum(axis=1)
        if self.urgent.size:
            last = np.where(there, month, self.work.months)[:, self.urgent].max(axis=1)
            out += self.stand[last]
        return np.asarray(out)

    def _hours_broken(self, own: Floats, opened: Flags) -> Flags:
        """Whether work whose parts come in a month or later does not fit into the owner's hours from then on."""
        work = self.work
        out = np.zeros(len(own), bool)
        for start in self.starts:
            hours = own @ np.where(work.first[:, OWN] >= start, work.hours, 0.0)
            if start == 0:
                hours = hours + opened @ work.step_hours
            there = np.cumsum(work.own_hours[start:]) + _SLACK
            out |= (np.cumsum(hours, axis=1)[:, start:] > there).any(axis=1)
        return out

    def _order_broken(self, month: Ints, *, strict: bool) -> Flags:
        """Whether something is done before what it has to wait for."""
        months = self.work.months
        done = np.where(month >= 0, month, months if strict else -1)
        out = np.zeros(len(month), bool)
        if self.before.size:
            first, then = done[:, self.before[:, 0]], month[:, self.before[:, 1]]
            out |= ((then >= 0) & (first > then)).any(axis=1)
        if self.urgent.size and self.lesser.size:
            counts = self.soonest[:, None] <= np.arange(months)
            until = np.where(counts, done[:, self.urgent, None], -1).max(axis=1)  # (B, M)
            mine = month[:, self.lesser]
            held = np.take_along_axis(until, np.maximum(mine, 0), axis=1)
            out |= ((mine >= 0) & (held > mine)).any(axis=1)
        return out
