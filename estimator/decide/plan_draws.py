"""A plan drawn many times: what its jobs cost, what turns up besides, and whether the car is on the road.

Planned jobs are done in every draw, whatever the part turns out to be like. Everything else the car needs is found
as cars give it away: what a driver notices at once in the first month, what shows within weeks in the first three,
at a service in the first six, on a lift some time in the year; what lies behind strip-down that a job opens is seen
and done there (tired parts too). Months after the twelfth bring what wears out by then, as in the cost of keeping it:
the first needs of the rest of the car, and those of what was fitted since. What turns up is done in the month it
shows, by a workshop, and is not put off for want of money: money put aside for it is what the reserve is. Prices
share one market factor, labour rate and scarcity of parts per draw.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.assess import Result
from estimator.decide.ahead import Ahead
from estimator.decide.ahead import ahead as years_ahead
from estimator.decide.costing import WEEKS_PER_MONTH, Costing
from estimator.decide.jobs import Job
from estimator.decide.later_needs import Fitted, later_needs
from estimator.decide.workload import OWN, SHOP, Flags, Ints, Workload
from estimator.money.book import SUPPLIERS, PriceBook
from estimator.money.ranges import draw as draw_range
from estimator.money.ranges import quantile_table
from estimator.money.sheets import SCENARIOS, PriceSheets, price_sheets
from estimator.money.total import Jobs, Pricing, common_stream
from estimator.pipeline import Prepared
from estimator.simulate import BLOCK, Needs, Prospects

Floats = NDArray[np.float64]
YEAR = 12
WINDOWS = {"driver-at-once": (1, 1), "driver-in-weeks": (1, 3), "next-service": (1, 6), "on-a-lift": (1, 12)}


@dataclass(frozen=True)
class PlanDraws:
    """n draws. job (n, J) outlay of each job with its share of what jobs share; rest (n, M) what turns up, by month;
    off_road (n, M) whether the car stands at the end of each month.

    Means, by job: goods of its parts (J -> part -> mean), step_goods (J, S), labour (J,), carriage (J,), tools
    (J, T), each the share the simulation laid to it; they add up to the mean of `job`.
    """

    job: Floats
    rest: Floats
    off_road: Flags
    part_goods: dict[int, float]
    step_goods: Floats
    labour: Floats
    carriage: Floats
    tools: Floats


@dataclass(frozen=True)
class _Market:
    """What a block of draws shares: market factor with tax, labour rate, carriage, level of scarcity."""

    factor: Floats
    rate: Floats
    carriage: Floats
    level: Ints


def generator(seed: np.random.SeedSequence) -> np.random.Generator:
    """A generator that starts, and spawns, the same however often it is made from one seed."""
    again = np.random.SeedSequence(seed.entropy, spawn_key=seed.spawn_key)
    return np.random.Generator(np.random.SFC64(again))


def market_draws(book: PriceBook, n: int, rng: np.random.Generator) -> _Market:
    """The same draws as money.total.Pricing makes first from the same generator."""
    common = common_stream(rng)
    factor = np.exp(book.market_sd * common.standard_normal(n) - book.market_sd**2 / 2) * (1 + book.tax)
    rate = _pick(book.rate, n, common) * factor
    carriage = _pick(book.carriage, n, common) * (1 + book.tax)
    level = np.searchsorted(np.cumsum(book.scarcity_weights)[:-1], common.random(n), side="right")
    return _Market(factor, rate, carriage, level)


def _pick(table: Floats, n: int, rng: np.random.Generator) -> Floats:
    cells = table.shape[1] - 1
    return np.asarray(np.interp(rng.random(n) * cells, np.arange(cells + 1), table[0]))


def draw_plan(
    result: Result,
    jobs: tuple[Job, ...],
    work: Workload,
    *,
    month: Ints,
    mode: Ints,
    bought: Flags,
    cost: Costing,
    months: int,
    seed: int,
    comfort: bool = False,
) -> PlanDraws:
    """Simulate a plan on the draws of an assessment. month, mode (J,) as scheduled; every job must be placed."""
    prepared, n = result.prepared, len(result.draws)
    root = np.random.SeedSequence([seed, 5])
    first, *seeds = root.spawn(1 + -(-n // BLOCK))
    sheets = price_sheets(prepared.book, generator(first))
    planned = _Planned(prepared, jobs, work, sheets, month=month, mode=mode, bought=bought, months=months)
    turning_up = _TurningUp(prepared, jobs, sheets, month=month, months=months, comfort=comfort)
    out = PlanDraws(
        job=np.zeros((n, len(jobs))),
        rest=np.zeros((n, months)),
        off_road=np.zeros((n, months), bool),
        part_goods=dict.fromkeys((c for job in jobs for c in job.renewed), 0.0),
        step_goods=np.zeros((len(jobs), len(prepared.book.access.steps))),
        labour=np.zeros(len(jobs)),
        carriage=np.zeros(len(jobs)),
        tools=planned.tools,
    )
    for number, block in enumerate(seeds):
        rows = slice(number * BLOCK, min((number + 1) * BLOCK, n))
        size = rows.stop - rows.start
        market_seed, price_seed, need_seed, later_seed = block.spawn(4)
        market = market_draws(prepared.book, size, generator(market_seed))
        rng = generator(price_seed)
        out.job[rows] = planned.outlay(market, rng, out, share=1 / n)
        rest, stands = turning_up.outlay(
            result, rows, market_seed, generator(need_seed), later=generator(later_seed)
        )
        out.rest[rows] = rest
        out.off_road[rows] = stands | planned.stands(rng, size)
    return out


class _Planned:
    """The planned jobs: parts, strip-down, orders, visits and tools of every month."""

    def __init__(
        self,
        prepared: Prepared,
        jobs: tuple[Job, ...],
        work: Workload,
        sheets: PriceSheets,
        *,
        month: Ints,
        mode: Ints,
        bought: Flags,
        months: int,
    ) -> None:
        self.book, self.sheets, self.jobs, self.months = prepared.book, sheets, jobs, months
        self.month, self.mode = month, mode
        self.part = np.array([c for job in jobs for c in job.renewed], np.intp)
        self.of_part = np.array([j for j, job in enumerate(jobs) for _ in job.renewed], np.intp)
        access = prepared.book.access
        place = {int(c): i for i, c in enumerate(self.part)}
        self.held: dict[
            int, list[tuple[int, float]]
        ] = {}  # step -> (planned part, share of the step's goods it holds)
        for c, s, part_of in zip(access.held_part, access.held_step, access.held_share, strict=True):
            if int(c) in place:
                self.held.setdefault(int(s), []).append((place[int(c)], float(part_of)))
        self.rounds = sorted({(int(m), int(w)) for m, w in zip(month, mode, strict=True)})
        self.tools = self._tools(work, bought)
        waits = [w[0].wait_weeks for w in prepared.book.ways]
        self.wait = quantile_table(np.array(waits, float).reshape(-1, 3))
        self.urgent = work.urgent

    def _tools(self, work: Workload, bought: Flags) -> Floats:
        """(J, T) what each job pays for tools: bought once, shared by all who use it; hired by the month."""
        paid = np.zeros(work.tools.shape)
        own = self.mode == OWN
        for t in range(work.buy.size):
            users = np.flatnonzero(work.tools[:, t] & own)
            if users.size and bought[t]:
                paid[users, t] = work.buy[t] / users.size
            elif users.size:
                for m in np.unique(self.month[users]):
                    here = users[self.month[users] == m]
                    paid[here, t] = work.hire[t] / here.size
        return paid

    def outlay(self, market: _Market, rng: np.random.Generator, out: PlanDraws, *, share: float) -> Floats:
        """(n, J) outlay of each job; adds its parts to the means in `out`, each draw counting `share`."""
        n, count = market.rate.size, len(self.jobs)
        total = np.zeros((n, count)) + self.tools.sum(axis=1)
        if not count:
            return total
        scenario = rng.integers(0, SCENARIOS, size=(n, self.part.size))
        item = (market.level[:, None] * self.sheets.parts + self.part) * SCENARIOS + scenario
        goods = self.sheets.bought[item] * market.factor[:, None]
        goods += self.sheets.quoted[item] * (1 + self.book.tax)
        hours = self.sheets.hours[item].astype(float)
        orders = self.sheets.order[item]
        shop = self.mode[self.of_part] == SHOP
        labour = hours * market.rate[:, None] * shop
        for i, c in enumerate(self.part):
            out.part_goods[int(c)] += float(goods[:, i].sum()) * share
            total[:, self.of_part[i]] += goods[:, i] + labour[:, i]
            out.labour[self.of_part[i]] += float(labour[:, i].sum()) * share
        for m, way in self.rounds:
            here = np.flatnonzero((self.month == m) & (self.mode == way))
            trade = np.zeros(n) if way == OWN else hours[:, np.isin(self.of_part, here)].sum(axis=1)
            trade += self._steps(here, way, market, rng, goods, total, out, share)
            if way == SHOP:
                self._visit(here, trade, market, total, out, share)
        for m in np.unique(self.month):
            self._orders(np.flatnonzero(self.month == m), orders, market, total, out, share)
        return total

    def _steps(
        self,
        here: Ints,
        way: int,
        market: _Market,
        rng: np.random.Generator,
        own: Floats,
        total: Floats,
        out: PlanDraws,
        share: float,
    ) -> Floats:
        """Strip-down of one month by one hand, each step once; returns the workshop's hours (n,).

        own (n, P) : goods of the planned parts; what one of them holds of a step's goods is taken off, as far as it is.
        """
        n = market.rate.size
        worked = np.zeros(n)
        for s in sorted({s for j in here for s in self.jobs[j].steps}):
            users = [j for j in here if s in self.jobs[j].steps]
            chosen = s * SCENARIOS + rng.integers(0, SCENARIOS, size=n)
            goods = self.sheets.step_bought[chosen] * market.factor
            hours = self.sheets.step_hours[chosen].astype(float) * (way == SHOP)
            labour = hours * market.rate
            worked += hours
            for i, held in self.held.get(s, ()):
                if self.of_part[i] in users:
                    twice = np.minimum(held * goods, own[:, i])
                    own[:, i] -= twice
                    total[:, self.of_part[i]] -= twice
                    out.part_goods[int(self.part[i])] -= float(twice.sum()) * share
            for j in users:
                total[:, j] += (goods + labour) / len(users)
                out.step_goods[j, s] += float(goods.sum()) * share / len(users)
                out.labour[j] += float(labour.sum()) * share / len(users)
        return worked

    def _visit(
        self, here: Ints, trade: Floats, market: _Market, total: Floats, out: PlanDraws, share: float
    ) -> None:
        """Diagnosis, road test and least bill of a workshop's month, shared by its jobs."""
        visit = self.book.access.visit_hours
        least = np.maximum(self.book.minimum_labour_h - trade - visit, 0.0)
        each = (visit + least) * market.rate / here.size
        for j in here:
            total[:, j] += each
            out.labour[j] += float(each.sum()) * share

    def _orders(
        self,
        here: Ints,
        orders: NDArray[np.uint8],
        market: _Market,
        total: Floats,
        out: PlanDraws,
        share: float,
    ) -> None:
        """Carriage: one order of each kind of supplier a month, shared by the jobs that order there."""
        wants = np.zeros((market.rate.size, len(self.jobs), len(SUPPLIERS)), bool)
        for j in here:
            mine = np.bitwise_or.reduce(orders[:, self.of_part == j], axis=1)
            wants[:, j] = np.unpackbits(mine[:, None], axis=1, count=len(SUPPLIERS), bitorder="little")
        users = wants.sum(axis=1)
        each = np.where(users > 0, market.carriage[:, None] / np.maximum(users, 1), 0.0)
        paid = np.einsum("njk,nk->nj", wants, each)
        total += paid
        out.carriage[:] += paid.sum(axis=0) * share

    def stands(self, rng: np.random.Generator, n: int) -> Flags:
        """(n, M) whether an urgent job is still to be done at the end of each month, its parts' waits drawn."""
        out = np.zeros((n, self.months), bool)
        u = rng.random((n, self.part.size))
        weeks = draw_range(self.wait, np.tile(self.part, n), u.ravel()).reshape(n, -1)
        for j in np.flatnonzero(self.urgent):
            late = (weeks[:, self.of_part == j].max(axis=1) // WEEKS_PER_MONTH).astype(int)
            done = np.maximum(int(self.month[j]), late)
            out |= np.arange(self.months)[None, :] < done[:, None]
        return out


class _TurningUp:
    """Everything else: found as the car gives it away, or behind strip-down that a job opens."""

    def __init__(
        self,
        prepared: Prepared,
        jobs: tuple[Job, ...],
        sheets: PriceSheets,
        *,
        month: Ints,
        months: int,
        comfort: bool,
    ) -> None:
        car, book = prepared.car, prepared.book
        self.prepared, self.sheets, self.months = prepared, sheets, months
        self.book = dataclasses.replace(book, own_hours=0.0)
        everything = np.ones(len(car.parts), bool)
        self.reached_book = dataclasses.replace(self.book, access=book.access.without(everything))
        done = {c: (m + 1) / YEAR for job, m in zip(jobs, month, strict=True) for c in job.renewed}
        self.job_part, self.job_time = np.array(list(done), np.intp), np.array(list(done.values()))
        self.skip = car.comfort & (not comfort)
        self.planned = self.skip.copy()
        self.planned[self.job_part] = True
        self.reached = np.zeros(len(car.parts), np.intp)  # month (1 .. M) of the first job that lays it open
        for j in np.argsort(-month, kind="stable") if len(jobs) else []:
            open_steps = np.zeros(book.access.needs.shape[1], bool)
            open_steps[list(jobs[j].steps)] = True
            needs = book.access.needs > 0.5
            real = (needs & book.access.opens).any(axis=1)
            self.reached[real & ~(needs & ~open_steps).any(axis=1)] = month[j] + 1
        windows = np.array([WINDOWS[p.noticed] for p in car.parts])
        self.from_month, self.to_month = windows[:, 0], windows[:, 1]
        self.stops_car = np.array([p.need in ("safety", "to-drive") for p in car.parts])
        self.wait_months = (np.array([w[0].wait_weeks[1] for w in book.ways]) // WEEKS_PER_MONTH).astype(int)
        self.prospects = Prospects.of(prepared)
        self.life = np.array([ways[0].life for ways in book.ways])
        self.ahead: Ahead | None = years_ahead(prepared, months / YEAR) if months > YEAR else None

    def outlay(
        self,
        result: Result,
        rows: slice,
        market_seed: np.random.SeedSequence,
        rng: np.random.Generator,
        *,
        later: np.random.Generator,
    ) -> tuple[Floats, Flags]:
        """(n, M) outlay by month and whether the car stands at its end."""
        n = rows.stop - rows.start
        needs = self.prospects.block(result.draws, rows, rng)
        draw, part, month, behind = self._events(needs, rng)
        if self.ahead is not None:
            more = self._after_the_year(result, self.ahead, rows, (draw, part, month), later)
            draw, part, month = (np.concatenate(both) for both in zip((draw, part, month), more, strict=True))
            behind = np.concatenate([behind, np.zeros(more[0].size, bool)])
        out = np.zeros((n, self.months))
        for book, mine in ((self.book, ~behind), (self.reached_book, behind)):
            for year in range(0, self.months, YEAR):
                here = np.flatnonzero(mine & (month > year) & (month <= year + YEAR))
                jobs = Jobs(draw[here], part[here], month[here] - year, np.zeros(here.size, bool), now=0)
                if not jobs.draw.size:
                    continue
                pricing = Pricing(book, self.sheets, jobs, n, generator(market_seed))
                for m in np.unique(jobs.month):
                    out[:, year + m - 1] += pricing.outlay(jobs.month == m).year
        stands = np.zeros((n, self.months), bool)
        stopping = self.stops_car[part] & ~behind & (self.wait_months[part] > 0)
        for d, c, m in zip(draw[stopping], part[stopping], month[stopping], strict=True):
            stands[d, m - 1 : m - 1 + self.wait_months[c]] = True
        return out, stands

    def _events(self, needs: Needs, rng: np.random.Generator) -> tuple[Ints, Ints, Ints, Flags]:
        """(draw, part, month, behind) of everything done besides the plan; behind: where a job had laid it open."""
        span = self.to_month - self.from_month + 1
        spent = needs.spent_part
        shows = self.from_month[spent] + (rng.random(spent.size) * span[spent]).astype(np.intp)
        # what is spent or tired is seen when a job lays it open; nobody sees that a sound part will fall due
        tired = self.reached[needs.worn_part] > 0
        draw = np.concatenate([needs.spent_draw, needs.due_draw, needs.worn_draw[tired]])
        part = np.concatenate([spent, needs.due_part, needs.worn_part[tired]])
        reached = self.reached[part]
        month = np.concatenate([shows, needs.due_month, self.reached[needs.worn_part[tired]]])
        seen = np.concatenate([np.ones(spent.size, bool), needs.due_worn, np.ones(int(tired.sum()), bool)])
        behind = seen & (reached > 0) & (reached <= month)
        month = np.where(behind, reached, month)
        keep = ~self.planned[part] & (month <= self.months)
        return draw[keep], part[keep], month[keep], behind[keep]

    def _after_the_year(
        self,
        result: Result,
        ahead: Ahead,
        rows: slice,
        done: tuple[Ints, Ints, Ints],
        rng: np.random.Generator,
    ) -> tuple[Ints, Ints, Ints]:
        """(draw, part, month) of what needs doing after the twelfth month: done, and planned, as (draw, part, month).

        A part that is laid open and renewed after that month is taken to last until then.
        """
        n = rows.stop - rows.start
        draw, part, month = done
        fitted = Fitted(
            np.concatenate([draw, np.tile(np.arange(n), self.job_part.size)]),
            np.concatenate([part, np.repeat(self.job_part, n)]),
            np.concatenate([month / YEAR, np.repeat(self.job_time, n)]),
        )
        found = later_needs(result, ahead, rows, fitted, share=self.life, years=self.months / YEAR, rng=rng)
        at = np.floor(found.time * YEAR).astype(np.intp) + 1
        keep = ~self.skip[found.part] & (at > YEAR) & (at <= self.months)
        return found.draw[keep], found.part[keep], at[keep]
