"""When to do which job, by whom: found by a quick search, then improved and bounded by a mixed integer program.

Numbers in, numbers out: nothing here knows what a car is. Each job is done once, in one month, by the owner or by
a workshop; strip-down steps, carriage and visits are paid once a month however many jobs share them, tools once
bought or per month hired. Minimised: expected cost, plus what waiting costs (damage by the month, the car off the
road until every urgent job is done), plus a trifle a month so that of equal plans the earlier one is taken.

Limits: money in hand with the months' money added up; the owner's hours (work that takes longer than a month may
stretch over several, but does not begin before its parts are there); workshop bookings; the month in which parts
and workshop are to be had; months barred to a job (driving season); order (`before`; urgent jobs before all others
from the month on in which they could be done).

The search (`local_search`) always gives the same plan for the same numbers. HiGHS then has the time limit to show
that nothing less need be left out, and that no plan is cheaper by more than the gap stated.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from estimator.decide.local_search import Found, Prices, search
from estimator.decide.schedule_program import Program
from estimator.decide.workload import MODES, SHOP, Flags, Ints, Workload

TOLERANCE = 1e-6
FREED = ("money", "money at the start", "own hours", "bookings")  # limits of which more would help
_FIRST = 600  # effort of the search before HiGHS, which settles small plans by itself
_PROOF_SHARE = 0.3  # of the time limit, for showing that nothing less need be left out


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


def solve(work: Workload, *, time_limit_s: float = 3.0, gap: float = 1e-4, seed: int = 0) -> Schedule:
    """The best plan; if not everything fits, the best one that leaves out as little as possible, urgent jobs last.

    seed : of the search; the plan is the same for the same seed unless HiGHS betters it within the time limit.

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
    rng = np.random.default_rng(seed)
    found = _never_dearer(work, search(work, rng=rng, effort=_FIRST))
    # Everything, if it can be (mostly settled at once); else as much as can be.
    found = _less_left_out(work, found, rng, time_limit_s=time_limit_s, all_or_nothing=True)
    found = _less_left_out(work, found, rng, time_limit_s=_PROOF_SHARE * time_limit_s)
    found, bound = _cheapest(work, found, time_limit_s=time_limit_s, gap=gap)
    if _above(found, bound) > gap:
        found = search(work, rng=rng, start=found)
    reached = _above(found, bound)
    done = found.month >= 0
    whole = "optimal" if reached <= gap + 1e-12 else "within-gap"
    status = whole if done.all() else "left-out" if done.any() else "infeasible"
    return Schedule(found.month, found.mode, found.bought, status, found.total, reached)


def any_plan(work: Workload, *, time_limit_s: float = 3.0) -> Found | None:
    """A plan with every job in it; None if there is none, or none was found in the time."""
    rng = np.random.default_rng(0)
    found = search(work, rng=rng, effort=0)
    if found.left > 0:
        found = _less_left_out(work, found, rng, time_limit_s=time_limit_s, all_or_nothing=True)
    return None if found.left > 0 else found


def fits(work: Workload, *, time_limit_s: float = 3.0) -> bool:
    """Whether every job can be placed at all (no, if none was found in the time)."""
    return work.jobs == 0 or any_plan(work, time_limit_s=time_limit_s) is not None


def least_more(work: Workload, limit: str, *, time_limit_s: float = 0.5) -> float:
    """The least more of a limit, a month or at the start, with which a plan of everything was found, to 5 per cent.

    limit : one of FREED. time_limit_s : for each amount tried. inf where none was found.
    """
    if limit not in FREED:
        raise ValueError(f"Only of {', '.join(FREED)} can there be more, not of {limit!r}.")
    found = any_plan(work.without(limit.removesuffix(" at the start")), time_limit_s=4 * time_limit_s)
    if found is None:
        return float("inf")
    prices = Prices(work)
    low, high = 0.0, prices.beyond(found, limit)
    while high - low > 0.05 * high and high > TOLERANCE:
        middle = (low + high) / 2
        found = any_plan(_with_more(work, limit, middle), time_limit_s=time_limit_s)
        low, high = (middle, high) if found is None else (low, min(prices.beyond(found, limit), middle))
    return high


def _with_more(work: Workload, limit: str, more: float) -> Workload:
    if limit == "money":
        return replace(work, money=work.money + more * np.arange(1, work.months + 1))
    if limit == "money at the start":
        return replace(work, money=work.money + more)
    if limit == "own hours":
        return replace(work, own_hours=work.own_hours + more)
    return replace(work, bookings=work.bookings + np.ceil(more))


def _less_left_out(
    work: Workload,
    found: Found,
    rng: np.random.Generator,
    *,
    time_limit_s: float,
    all_or_nothing: bool = False,
) -> Found:
    """A plan that leaves out less, until HiGHS says there is none or the time is up."""
    while found.left > 0:
        program = Program(work)
        weight = program.leave_out(0.0 if all_or_nothing else found.left - 1.0)
        result = program.run(weight, np.zeros(program.size), time_limit_s=time_limit_s, gap=0.5)
        if result.x is None:
            return found
        month, mode = _read(work, program, result.x)
        better = Prices(work).found(month, mode)
        if not better.left < found.left:
            return found
        found = search(work, rng=rng, start=better, effort=0 if all_or_nothing else _FIRST)
    return found


def _cheapest(work: Workload, found: Found, *, time_limit_s: float, gap: float) -> tuple[Found, float]:
    """The cheapest plan of the jobs that are in, and what none of them can be cheaper than."""
    program = Program(work)
    left = (found.month < 0).astype(float)
    lower = np.zeros(program.size)
    lower[program.out : program.step] = program.upper[program.out : program.step] = left
    result = program.run(program.objective, lower, time_limit_s=time_limit_s, gap=gap)
    bound = result.mip_dual_bound
    if result.x is not None:
        month, mode = _read(work, program, result.x)
        bought = result.x[program.buy : program.hire] > 0.5
        other = Prices(work).with_tools(month, mode, bought)
        if other.beats(found):
            found = other
    return found, 0.0 if bound is None or not np.isfinite(bound) else float(bound)


def _above(found: Found, bound: float) -> float:
    """How far a plan may be above the best, relative."""
    return max(found.total - bound, 0.0) / max(found.total, TOLERANCE)


def _read(work: Workload, program: Program, x: np.ndarray) -> tuple[Ints, Ints]:
    """Month and mode of every job in a solution."""
    placed = x[: program.jobs_end].reshape(work.jobs, MODES * work.months)
    mode, month = np.divmod(placed.argmax(axis=1), work.months)
    return np.where(placed.max(axis=1) > 0.5, month, -1).astype(np.intp), mode.astype(np.intp)


def _never_dearer(work: Workload, found: Found) -> Found:
    """Everything in the first month, where limits allow it, if the search left it unseen."""
    prices = Prices(work)
    for mode in (np.argmin(work.cost, axis=1), np.full(work.jobs, SHOP)):
        other = prices.found(np.zeros(work.jobs, np.intp), mode.astype(np.intp))
        if np.isfinite(other.total) and other.beats(found):
            found = other
    return found
