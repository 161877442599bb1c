"""Every plan there is, tried one by one: the slow oracle for the schedule of small workloads."""

from __future__ import annotations

import itertools

import numpy as np

from estimator.decide.workload import OWN, SHOP, Workload

EARLIER = 0.01  # money a month a job is put off, as the planner states


def cost_of(
    work: Workload, plan: tuple[tuple[int, int], ...], bought: tuple[bool, ...]
) -> tuple[list[float], float]:
    """(money by month, cost of waiting) of a plan given as (month, mode) by job, in plain loops."""
    months = work.months
    paid = [0.0] * months
    for t, flag in enumerate(bought):
        if flag and any(mode == OWN and work.tools[j][t] for j, (_, mode) in enumerate(plan)):
            paid[0] += work.buy[t]
    for m in range(months):
        here = [(j, mode) for j, (month, mode) in enumerate(plan) if month == m]
        for j, mode in here:
            paid[m] += work.cost[j][mode]
        for s in range(work.uses.shape[1]):
            for way in (OWN, SHOP):
                if any(mode == way and work.uses[j][s] for j, mode in here):
                    paid[m] += work.step_cost[s][way]
        for k in range(work.orders.shape[1]):
            if any(work.orders[j][k] for j, _ in here):
                paid[m] += work.carriage
        if any(mode == SHOP for _, mode in here):
            paid[m] += work.visit
        for t, flag in enumerate(bought):
            if not flag and any(mode == OWN and work.tools[j][t] for j, mode in here):
                paid[m] += work.hire[t]
    waiting = sum((work.delay[j] + EARLIER) * month for j, (month, _) in enumerate(plan))
    last = max((month for j, (month, _) in enumerate(plan) if work.urgent[j]), default=0)
    return paid, waiting + sum(work.off_road[:last])


def allowed(work: Workload, plan: tuple[tuple[int, int], ...], paid: list[float]) -> bool:
    """Whether a plan keeps every limit."""
    months = work.months
    if any(sum(paid[: m + 1]) > work.money[m] + 1e-6 for m in range(months)):
        return False
    for j, (month, mode) in enumerate(plan):
        if not np.isfinite(work.cost[j][mode]) or month < work.first[j][mode] or work.barred[j][month]:
            return False
    for m in range(months):
        if sum(1 for month, mode in plan if month == m and mode == SHOP) > work.bookings[m]:
            return False
    for start in range(months):
        for end in range(start, months):
            hours = sum(
                work.hours[j]
                for j, (month, mode) in enumerate(plan)
                if mode == OWN and work.first[j][OWN] >= start and month <= end
            )
            if start == 0:
                for m in range(end + 1):
                    for s in range(work.uses.shape[1]):
                        if any(
                            mode == OWN and month == m and work.uses[j][s]
                            for j, (month, mode) in enumerate(plan)
                        ):
                            hours += work.step_hours[s]
            if hours > sum(work.own_hours[start : end + 1]) + 1e-6:
                return False
    for a, b in work.before:
        if plan[a][0] > plan[b][0]:
            return False
    for a in range(work.jobs):
        for b in range(work.jobs):
            if work.urgent[a] and not work.urgent[b]:
                soonest = min(
                    (m for way in (OWN, SHOP) for m in range(months)
                     if np.isfinite(work.cost[a][way]) and m >= work.first[a][way] and not work.barred[a][m]),
                    default=months,
                )  # fmt: skip
                if plan[b][0] >= soonest and plan[a][0] > plan[b][0]:
                    return False
    return True


def best(work: Workload) -> float | None:
    """The least cost with waiting over all plans that keep the limits; None where there is none."""
    least = None
    places = [(m, way) for m in range(work.months) for way in (OWN, SHOP)]
    for plan in itertools.product(places, repeat=work.jobs):
        for bought in itertools.product((False, True), repeat=work.buy.size):
            paid, waiting = cost_of(work, plan, bought)
            if not np.isfinite(sum(paid)) or not allowed(work, plan, paid):
                continue
            total = sum(paid) + waiting
            least = total if least is None else min(least, total)
    return least
