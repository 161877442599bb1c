"""Work to be placed in months, and what any plan of it costs and breaks, added up and checked plainly.

Numbers only: nothing here knows what a car is, and nothing here solves anything (see `estimator.decide.schedule`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]
OWN, SHOP = 0, 1
MODES = 2
LIMITS = ("money", "own hours", "bookings", "waits", "season", "order")
EARLIER = 0.01  # money a month a job is put off: only to choose between equals


@dataclass(frozen=True, kw_only=True)
class Workload:
    """J jobs, M months, S shared steps, K kinds of supplier, T tools. Money with tax, hours as worked by each mode.

    cost (J, 2) : own cost of each job by mode, inf where it cannot be done so; hours (J,) the owner's hours.
    first (J, 2) : first month (0-based) it can be done. barred (J, M).
    uses (J, S), step_cost (S, 2), step_hours (S,) : shared steps, the owner's hours for them.
    orders (J, K), carriage : an order a month for every kind of supplier used. visit : workshop, per month.
    tools (J, T), buy (T,), hire (T,) : inf = not to be had so; only the owner pays for them.
    delay (J,) a month; urgent (J,); off_road (M,) what a month without the car costs.
    before : pairs (a, b): a not later than b.
    money (M,) : in hand by each month in all (inf = no limit); own_hours (M,); bookings (M,).
    """

    cost: Floats
    hours: Floats
    first: Ints
    barred: Flags
    uses: Flags
    step_cost: Floats
    step_hours: Floats
    orders: Flags
    carriage: float
    visit: float
    tools: Flags
    buy: Floats
    hire: Floats
    delay: Floats
    urgent: Flags
    off_road: Floats
    before: tuple[tuple[int, int], ...]
    money: Floats
    own_hours: Floats
    bookings: Floats

    @property
    def jobs(self) -> int:
        return int(self.cost.shape[0])

    @property
    def months(self) -> int:
        return int(self.money.size)

    def allowed(self) -> Flags:
        """(J, 2, M) whether a job can be done by a mode in a month at all."""
        month = np.arange(self.months)
        there = month >= self.first[..., None]
        return np.asarray(there & np.isfinite(self.cost)[..., None] & ~self.barred[:, None, :])

    def without(self, limit: str) -> Workload:
        """The same with one kind of limit lifted."""
        if limit == "money":
            return replace(self, money=np.full(self.months, np.inf))
        if limit == "own hours":
            return replace(self, own_hours=np.full(self.months, np.inf))
        if limit == "bookings":
            return replace(self, bookings=np.full(self.months, np.inf))
        if limit == "waits":
            return replace(self, first=np.zeros_like(self.first))
        if limit == "season":
            return replace(self, barred=np.zeros_like(self.barred))
        if limit == "order":
            return replace(self, before=(), urgent=np.zeros_like(self.urgent))
        raise ValueError(f"There is no limit {limit!r}; there are {', '.join(LIMITS)}.")


def spending(work: Workload, month: Ints, mode: Ints, bought: Flags) -> Floats:
    """(M,) expected outlay of a plan by month, added up plainly; a tool bought is paid in the first month."""
    out = np.zeros(work.months)
    own = (month >= 0) & (mode == OWN)
    used = work.tools[own].any(axis=0)
    out[0] += work.buy[bought & used].sum()
    for m in range(work.months):
        here = month == m
        for way in range(MODES):
            mine = here & (mode == way)
            out[m] += work.cost[mine, way].sum() + work.step_cost[work.uses[mine].any(axis=0), way].sum()
        out[m] += work.carriage * work.orders[here].any(axis=0).sum()
        out[m] += work.visit * bool((here & (mode == SHOP)).any())
        out[m] += work.hire[work.tools[here & own].any(axis=0) & ~bought].sum()
    return out


def waiting_cost(work: Workload, month: Ints) -> float:
    """What waiting costs: by the month put off, and the months without the car."""
    done = month >= 0
    total = float(((work.delay + EARLIER) * month)[done].sum())
    if work.urgent.any():
        last = int(month[work.urgent].max()) if done[work.urgent].all() else work.months
        total += float(work.off_road[:last].sum())
    return total


def broken_limits(work: Workload, month: Ints, mode: Ints, bought: Flags) -> list[str]:
    """Limits a plan breaks, checked one by one without the solver; empty when it keeps them all."""
    out = []
    done = np.flatnonzero(month >= 0)
    paid = np.cumsum(spending(work, month, mode, bought))
    if (paid > work.money + 1e-6 * np.maximum(1.0, paid)).any():
        out.append("money")
    own = (month >= 0) & (mode == OWN)
    steps = [work.step_hours[work.uses[own & (month == m)].any(axis=0)].sum() for m in range(work.months)]
    for start in range(work.months):
        for end in range(start, work.months):
            mine = own & (work.first[:, OWN] >= start) & (month <= end)
            hours = work.hours[mine].sum() + (sum(steps[: end + 1]) if start == 0 else 0.0)
            if hours > work.own_hours[start : end + 1].sum() + 1e-6:
                out.append("own hours")
    for m in range(work.months):
        if ((mode == SHOP) & (month == m)).sum() > work.bookings[m] + 1e-9:
            out.append("bookings")
    for j in done:
        if not np.isfinite(work.cost[j, mode[j]]):
            out.append("skill")
        if month[j] < work.first[j, mode[j]]:
            out.append("waits")
        if work.barred[j, month[j]]:
            out.append("season")
    for a, b in order_pairs(work):
        held = month[b] >= (0 if (a, b) in work.before else counts_from(work, a))
        if month[b] >= 0 and held and not 0 <= month[a] <= month[b]:
            out.append("order")
    return sorted(set(out))


def order_pairs(work: Workload) -> list[tuple[int, int]]:
    """(a, b): a not later than b, as asked for and because a is urgent and b is not."""
    lesser = np.flatnonzero(~work.urgent)
    rule = [(int(a), int(b)) for a in np.flatnonzero(work.urgent) for b in lesser]
    return sorted({*work.before, *rule})


def counts_from(work: Workload, a: int) -> int:
    """First month in which urgent job a could be done: what is not to be had holds nothing up."""
    possible = np.flatnonzero(work.allowed()[a].any(axis=0))
    return int(possible[0]) if possible.size else work.months
