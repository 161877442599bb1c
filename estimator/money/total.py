"""Draws of what needs doing -> draws of outlay, by month and part.

Work of one draw and month is one round. Within a round access steps are paid once, as the union over the parts
done in it. The same draws of prices serve every sub-total (found, not seen yet, by need), so that they add up draw
by draw.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.money.book import SUPPLIERS, PriceBook
from estimator.money.ranges import draw as draw_range
from estimator.simulate import Needs

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]
ROUNDS = 13  # now, and the twelve months after


@dataclass(frozen=True)
class Jobs:
    """Work to be priced: one entry an event; month 0 is now. A part stands once in a draw."""

    draw: Ints
    part: Ints
    month: Ints
    spent: Flags


@dataclass(frozen=True)
class Priced:
    """Prices of the events of a block of n draws, tax included, and how to add up any subset of them.

    own (E,) parts, specialist work, consumables and own labour; shared (E,) share of strip-down, carriage and the
    least bill; jobs as given; way (E,) number of the remedy taken.
    """

    jobs: Jobs
    n: int
    own: Floats
    shared: Floats
    way: Ints
    _row: Ints  # round (draw * ROUNDS + month) of each event
    _event_step: Ints  # event of each (event, step) pair
    _key: Ints  # round * S + step of each pair
    _key_price: Floats  # price of that step in that round, per pair
    _key_hours: Floats
    _hours: Floats  # own workshop hours of each event
    _supplier: Ints
    _rate: Floats  # (n,) labour rate with market and tax
    _carriage: Floats  # (n,) one order with tax
    _least_h: float
    _steps: int

    def by_round(self, chosen: Flags) -> Floats:
        """(n, ROUNDS) outlay if only the chosen events (E,) were done, with their own union of steps."""
        size = self.n * ROUNDS
        total = _added(self._row[chosen], self.own[chosen], size)
        pairs = chosen[self._event_step]
        price, hours = _once(
            self._key[pairs], self._key_price[pairs], self._key_hours[pairs], self._steps, size
        )
        total += price
        total += self._overhead(chosen, hours)
        return np.asarray(total.reshape(self.n, ROUNDS))

    def _overhead(self, chosen: Flags, step_hours: Floats) -> Floats:
        """Carriage once per order and kind of supplier; the workshop's least bill."""
        size = self.n * ROUNDS
        orders = np.zeros(size * len(SUPPLIERS), dtype=bool)
        ordering = chosen & (self._supplier >= 0)
        orders[self._row[ordering] * len(SUPPLIERS) + self._supplier[ordering]] = True
        count = orders.reshape(size, -1).sum(axis=1)
        hours = _added(self._row[chosen], self._hours[chosen], size) + step_hours
        missing = np.where(hours > 1e-9, np.maximum(self._least_h - hours, 0.0), 0.0)
        draw = np.arange(size) // ROUNDS
        return np.asarray(count * self._carriage[draw] + missing * self._rate[draw])


def _added(place: Ints, weight: Floats, size: int) -> Floats:
    """Sums of weights by place; float even where nothing is added."""
    return np.bincount(place, weights=weight, minlength=size).astype(float, copy=False)


def _once(key: Ints, price: Floats, hours: Floats, steps: int, rounds: int) -> tuple[Floats, Floats]:
    """Per round, price and hours of the distinct (round, step) keys."""
    last = np.full(rounds * steps, -1, dtype=np.int32)
    last[key] = np.arange(key.size, dtype=np.int32)
    kept = last[last >= 0]
    row = key[kept] // max(steps, 1)
    return (
        _added(row, price[kept], rounds),
        _added(row, hours[kept], rounds),
    )


def _pairs(book: PriceBook, part: Ints, free: Flags) -> tuple[Ints, Ints]:
    """(event, step) pairs of the steps every event needs; none where a quote covers them."""
    access = book.access
    count = np.where(free, 0, access.start[part + 1] - access.start[part])
    event = np.repeat(np.arange(part.size), count)
    offset = np.arange(event.size) - np.repeat(np.cumsum(count) - count, count)
    return event, access.step[access.start[part][event] + offset]


def join_worn(book: PriceBook, needs: Needs, n: int, *, bring: bool = True) -> Jobs:
    """The policy: spent work now in one round; worn parts behind strip-down that round opens anyway with it (also
    those due later in the year); the rest in the month they fall due.
    """
    now = needs.spent
    steps = len(book.access.steps)
    opened = np.zeros((n, steps + 1), dtype=bool)
    opened[:, steps] = True
    event, step = _pairs(book, needs.part[now], np.zeros(int(now.sum()), bool))
    opened[needs.draw[now][event], step] = True
    real = np.append(book.access.opens, False)
    has_real = real[book.access.padded].any(axis=1)

    def reached(draw: Ints, part: Ints) -> Flags:
        ok = has_real[part]
        out = np.zeros(draw.size, dtype=bool)
        out[ok] = opened[draw[ok][:, None], book.access.padded[part[ok]]].all(axis=1)
        return out

    later = np.flatnonzero(~now)
    month = needs.month.copy()
    if bring:
        month[later[reached(needs.draw[later], needs.part[later])]] = 0
        with_it = reached(needs.worn_draw, needs.worn_part)
    else:
        with_it = np.zeros(needs.worn_draw.size, dtype=bool)
    extra = int(with_it.sum())
    return Jobs(
        draw=np.concatenate([needs.draw, needs.worn_draw[with_it]]),
        part=np.concatenate([needs.part, needs.worn_part[with_it]]),
        month=np.concatenate([month, np.zeros(extra, np.intp)]),
        spent=np.concatenate([needs.spent, np.zeros(extra, bool)]),
    )


def price_jobs(book: PriceBook, jobs: Jobs, n: int, rng: np.random.Generator) -> Priced:
    """Draw every price of a block of n draws."""
    events, steps, size = jobs.draw.size, len(book.access.steps), n * ROUNDS
    market = np.exp(book.market_sd * rng.standard_normal(n) - book.market_sd**2 / 2)
    taxed = 1.0 + book.tax
    rate = draw_range(book.rate, np.zeros(n, np.intp), rng.random(n)) * market * taxed
    level = np.searchsorted(np.cumsum(book.scarcity_weights)[:-1], rng.random(n), side="right")
    u = rng.random((4, events))
    part, draw = jobs.part, jobs.draw
    chance = book.chance[level[draw], part]
    way = (u[0][:, None] >= chance[:, :-1]).sum(axis=1) if book.most_ways > 1 else np.zeros(events, np.intp)
    item = part * book.most_ways + way
    moved = np.where(book.fixed[item], 1.0, market[draw]) * taxed
    bought = draw_range(book.parts, item, u[1])
    bought += draw_range(book.specialist, item, u[2])
    again = (u[2] * 7919.0) % 1.0  # the digits of a uniform that the table did not use
    bought += np.where(again < book.surcharge_chance, book.surcharge[item], 0.0)
    bought += draw_range(book.consumables, part, 1.0 - u[1])
    hours = draw_range(book.hours, item, u[3])
    row = draw * ROUNDS + jobs.month
    event_step, step = _pairs(book, part, book.free_access[item])
    key = row[event_step] * steps + step
    opened, position = _distinct(key, size * steps)
    step_hours, step_other = _step_prices(book, opened % max(steps, 1), rng)
    of_draw = opened // max(steps * ROUNDS, 1)
    own_share = _own_share(book, n, draw, part, hours, opened % max(steps, 1), of_draw, step_hours)
    workshop_h = hours * (1 - own_share[draw] * book.own_work[part])
    tools = np.where(book.own_work[part], book.tools[part] * own_share[draw], 0.0)
    own = (bought + tools) * moved + workshop_h * rate[draw]
    step_workshop = step_hours * (1 - own_share[of_draw] * book.access.own_work[opened % max(steps, 1)])
    step_price = step_workshop * rate[of_draw] + step_other * market[of_draw] * taxed
    users = np.bincount(position, minlength=opened.size)
    shared = np.bincount(event_step, weights=(step_price / users)[position], minlength=events)
    carriage = draw_range(book.carriage, np.zeros(n, np.intp), rng.random(n)) * taxed
    supplier = np.where((book.parts[item, -1] > 0) & ~book.free_access[item], book.supplier[item], -1)
    priced = Priced(
        jobs, n, own, shared, way, row, event_step, key, step_price[position], step_workshop[position],
        workshop_h, supplier, rate, carriage, book.minimum_labour_h, max(steps, 1),
    )  # fmt: skip
    _, all_step_hours = _once(key, priced._key_price, priced._key_hours, max(steps, 1), size)
    overhead = priced._overhead(np.ones(events, bool), all_step_hours)
    in_round = np.bincount(row, minlength=size)
    shared += overhead[row] / in_round[row]
    return priced


def _distinct(key: Ints, size: int) -> tuple[Ints, Ints]:
    """Distinct keys in ascending order, and the position of every key among them."""
    flag = np.zeros(size, dtype=bool)
    flag[key] = True
    distinct = np.flatnonzero(flag)
    place = np.empty(size, dtype=np.int32)
    place[distinct] = np.arange(distinct.size, dtype=np.int32)
    return distinct, place[key].astype(np.intp)


def _step_prices(book: PriceBook, step: Ints, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Hours of each opened step, snags in, and price of what is renewed because it was disturbed."""
    access = book.access
    u = rng.random((2, step.size))
    hours = draw_range(access.hours, step, u[0])
    chance = access.snag_chance[step]
    snag = u[1] < chance
    where = np.flatnonzero(snag)
    hours[where] *= draw_range(access.snag_factor, step[where], u[1][where] / chance[where])
    return hours, draw_range(access.disturbed, step, 1.0 - u[0])


def _own_share(
    book: PriceBook,
    n: int,
    draw: Ints,
    part: Ints,
    hours: Floats,
    step: Ints,
    step_draw: Ints,
    step_hours: Floats,
) -> Floats:
    """(n,) share of the work within the owner's skill that his hours of the year allow him to do."""
    if book.own_hours <= 0:
        return np.zeros(n)
    able = np.bincount(draw, weights=hours * book.own_work[part], minlength=n)
    able += np.bincount(step_draw, weights=step_hours * book.access.own_work[step], minlength=n)
    wanted = book.handy_factor * able
    return np.divide(book.own_hours, wanted, out=np.ones(n), where=wanted > book.own_hours)
