"""Draws of what needs doing -> draws of outlay, now and over the plan year, by part.

Work of one draw and month is one round. Within a round access steps are paid once, as the union over the parts
done in it. The first round of every draw is dense: which parts (n, C) times which steps each needs (C, S) gives
how many parts share each opened step. The few rounds of later months are lists. The same draws of prices serve
every sub-total (found, not seen yet, by need), so that they add up draw by draw.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from estimator.money.book import SUPPLIERS, PriceBook
from estimator.money.sheets import SCENARIOS, PriceSheets
from estimator.simulate import Needs, side_stream

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]
MONTHS = 12
COMMON = 101  # number of the side stream of what all of a draw's prices share


@dataclass(frozen=True)
class Jobs:
    """Work to be priced: one entry an event, first all of month 0 (now), then the later ones.

    draw, part, month : of each event; spent : it is done because the part is spent today; now : how many
    entries belong to month 0. A part stands at most once in a draw.
    """

    draw: Ints
    part: Ints
    month: Ints
    spent: Flags
    now: int

    def where(self, chosen: Flags) -> Jobs:
        """Only some of the events."""
        picked = (self.draw[chosen], self.part[chosen], self.month[chosen], self.spent[chosen])
        return Jobs(*picked, now=int(chosen[: self.now].sum()))


@dataclass(frozen=True)
class Outlay:
    """Outlay of n draws, tax included: now (n,), year (n,) with now in it."""

    now: Floats
    year: Floats


def join_worn(book: PriceBook, needs: Needs, n: int) -> Jobs:
    """The policy: spent work now in one round; worn parts behind strip-down which that round opens anyway with it;
    the rest in the month they fall due. Nobody can see that a sound part will fall due.
    """
    count = int(needs.spent.sum())  # Needs lists what is spent first
    draw, part = needs.draw[:count], needs.part[:count]
    users = _step_users(draw, part, n, book.access.needs)
    opened = np.ones((n, users.shape[1] + 1), dtype=bool)
    opened[:, :-1] = users > 0.5
    has_real: Flags = np.any(book.access.needs[:, book.access.opens] > 0, axis=1)

    def reached(draw: Ints, part: Ints) -> Flags:
        out = np.zeros(draw.size, dtype=bool)
        real = np.flatnonzero(has_real[part])
        out[real] = opened[draw[real][:, None], book.access.padded[part[real]]].all(axis=1)
        return out

    later_draw, later_part = needs.draw[count:], needs.part[count:]
    early = needs.worn[count:].copy()
    early[early] = reached(later_draw[early], later_part[early])
    with_it = reached(needs.worn_draw, needs.worn_part)
    brought = int(early.sum() + with_it.sum())
    late = ~early
    zeros = np.zeros(count + brought, dtype=np.intp)
    return Jobs(
        draw=np.concatenate([draw, later_draw[early], needs.worn_draw[with_it], later_draw[late]]),
        part=np.concatenate([part, later_part[early], needs.worn_part[with_it], later_part[late]]),
        month=np.concatenate([zeros, needs.month[count:][late]]),
        spent=np.arange(count + brought + int(late.sum())) < count,
        now=count + brought,
    )


class Pricing:
    """All prices of a block of n draws, and the outlay of any subset of its jobs.

    Attributes
    ----------
    everything : Outlay of all jobs.
    """

    def __init__(
        self, book: PriceBook, sheets: PriceSheets, jobs: Jobs, n: int, rng: np.random.Generator
    ) -> None:
        self.book, self.jobs, self.n = book, jobs, n
        taxed = 1.0 + book.tax
        common = common_stream(rng)
        market = np.exp(book.market_sd * common.standard_normal(n) - book.market_sd**2 / 2) * taxed
        self.rate = _pick(book.rate, common, n) * market
        self.carriage = _pick(book.carriage, common, n) * taxed
        level = np.searchsorted(np.cumsum(book.scarcity_weights)[:-1], rng.random(n), side="right")
        draw, part = jobs.draw, jobs.part
        scenario = rng.integers(0, SCENARIOS, size=draw.size, dtype=np.uint16)
        item = (level[draw] * sheets.parts + part) * SCENARIOS + scenario
        hours = sheets.hours[item]
        self.supplier = sheets.supplier[item]
        self.reached = self._reached(sheets.way[item])
        steps = len(book.access.steps)
        self.users = self._users(slice(None))
        open_steps = self.users > 0.5
        self.opened = np.flatnonzero(open_steps)  # (draw, step) keys of the first round
        self.opened_draw = np.repeat(np.arange(n), open_steps.sum(axis=1))
        step = self.opened - self.opened_draw * steps
        chosen = step * SCENARIOS + rng.integers(0, SCENARIOS, size=step.size, dtype=np.uint16)
        step_hours = sheets.step_hours[chosen]
        self._later_rounds_of()
        key_step = self.key % max(steps, 1)
        later = key_step * SCENARIOS + rng.integers(0, SCENARIOS, size=key_step.size, dtype=np.uint16)
        key_hours, key_draw = sheets.step_hours[later], self.round_draw[self.key_round]
        own = self._own_share(hours, (step_hours, self.opened_draw, step), (key_hours, key_draw, key_step))
        if own is not None:
            by_owner = book.access.own_work
            hours = hours * (1 - own[draw] * book.own_work[part])
            step_hours = step_hours * (1 - own[self.opened_draw] * by_owner[step])
            key_hours = key_hours * (1 - own[key_draw] * by_owner[key_step])
        self.hours, self.step_hours, self.key_hours = hours, step_hours, key_hours
        bill = sheets.bought[item] * market[draw] + hours * self.rate[draw]
        if book.fixed.any():
            bill += sheets.quoted[item] * taxed
        if own is not None:
            bill += self._tools() * own[draw] * taxed
        self.bill = bill
        self.step_price = step_hours * self.rate[self.opened_draw]
        self.step_price += sheets.step_bought[chosen] * market[self.opened_draw]
        self.key_price = key_hours * self.rate[key_draw] + sheets.step_bought[later] * market[key_draw]
        self.everything = self.outlay(slice(None))

    def _reached(self, way: NDArray[np.int8]) -> Flags | None:
        """(E,) events that pay for their strip-down; None: all. A quote for the whole job has it in its price."""
        if not self.book.free_access.any():
            return None
        return ~self.book.free_access[self.jobs.part * self.book.most_ways + way]

    def _users(self, chosen: Flags | slice) -> Singles:
        """(n, S) how many of the chosen parts of the first round need each step."""
        now = slice(0, self.jobs.now)
        draw, part = self.jobs.draw[now][chosen], self.jobs.part[now][chosen]
        if self.reached is not None:
            paying = self.reached[now][chosen]
            draw, part = draw[paying], part[paying]
        return _step_users(draw, part, self.n, self.book.access.needs)

    def _own_share(
        self, hours: Singles, first: tuple[Singles, Ints, Ints], later: tuple[Singles, Ints, Ints]
    ) -> Floats | None:
        """(n,) share of the year's work within the owner's skill that his hours allow; None: he does nothing.

        hours (E,) of the parts; first, later : hours, draw and step of every step opened in those rounds.
        """
        book = self.book
        if book.own_hours <= 0:
            return None
        able = _added(self.jobs.draw, hours * book.own_work[self.jobs.part], self.n)
        for step_hours, draw, step in (first, later):
            able += _added(draw, step_hours * book.access.own_work[step], self.n)
        wanted = book.handy_factor * able
        return np.divide(book.own_hours, wanted, out=np.ones(self.n), where=wanted > book.own_hours)

    def _tools(self) -> Floats:
        """(E,) special tools the owner needs, on the bill of the first job that needs each: bought or hired once."""
        cost = np.zeros(self.jobs.draw.size)
        needing = np.asarray(self.book.tool_needs.any(axis=1))
        event = np.flatnonzero(needing[self.jobs.part])
        row, tool = np.nonzero(self.book.tool_needs[self.jobs.part[event]])
        if row.size == 0:
            return cost
        event = event[row]
        key = self.jobs.draw[event] * self.book.tools.size + tool
        order = np.lexsort((self.jobs.month[event], key))
        _, first = np.unique(key[order], return_index=True)
        first = order[first]
        np.add.at(cost, event[first], self.book.tools[tool[first]])
        return cost

    def _later_rounds_of(self) -> None:
        """Rounds of the later months, and the strip-down each opens: keys (round, step)."""
        access, steps = self.book.access, max(len(self.book.access.steps), 1)
        later = slice(self.jobs.now, None)
        draw, part, month = self.jobs.draw[later], self.jobs.part[later], self.jobs.month[later]
        self.round, self.round_of = np.unique(draw * (MONTHS + 1) + month, return_inverse=True)
        self.round_draw = self.round // (MONTHS + 1)
        count = access.start[part + 1] - access.start[part]
        if self.reached is not None:
            count = count * self.reached[later]
        self.pair_event = np.repeat(np.arange(part.size), count)
        offset = np.arange(self.pair_event.size) - np.repeat(np.cumsum(count) - count, count)
        step = access.step[access.start[part][self.pair_event] + offset]
        key = self.round_of[self.pair_event] * steps + step
        self.key, self.pair_key = np.unique(key, return_inverse=True)
        self.key_round = self.key // steps

    def outlay(self, chosen: Flags | slice) -> Outlay:
        """Outlay if only the chosen events (E,) were done, each round with their own union of steps."""
        flags = np.ones(self.jobs.draw.size, dtype=bool) if isinstance(chosen, slice) else chosen
        now = self._first_round(flags[: self.jobs.now])
        later = self._later_rounds(flags[self.jobs.now :])
        return Outlay(now, now + _added(self.round_draw, later, self.n))

    def _first_round(self, flags: Flags) -> Floats:
        if not flags.any():
            return np.zeros(self.n)
        draw = self.jobs.draw[: self.jobs.now][flags]
        price, step_hours = self.step_price, self.step_hours
        if not flags.all():
            used = self._users(flags).ravel()[self.opened] > 0.5
            price, step_hours = price * used, step_hours * used
        total = _added(draw, self.bill[: self.jobs.now][flags], self.n)
        total += _added(self.opened_draw, price, self.n)
        hours = _added(draw, self.hours[: self.jobs.now][flags], self.n)
        hours += _added(self.opened_draw, step_hours, self.n)
        orders = _orders(draw, self.supplier[: self.jobs.now][flags], self.n)
        visit = np.where(hours > 1e-9, self.book.access.visit_hours, 0.0)  # none where the owner does it all
        labour = visit * self.rate + self._least(hours + visit, np.arange(self.n))
        return total + orders * self.carriage + labour

    def _later_rounds(self, flags: Flags) -> Floats:
        rounds = self.round.size
        if not flags.any():
            return np.zeros(rounds)
        row, now = self.round_of[flags], self.jobs.now
        used = np.zeros(self.key_price.size, dtype=bool)
        used[self.pair_key[flags[self.pair_event]]] = True
        total = _added(row, self.bill[now:][flags], rounds)
        total += _added(self.key_round[used], self.key_price[used], rounds)
        hours = _added(row, self.hours[now:][flags], rounds)
        hours += _added(self.key_round[used], self.key_hours[used], rounds)
        orders = _orders(row, self.supplier[now:][flags], rounds)
        return total + orders * self.carriage[self.round_draw] + self._least(hours, self.round_draw)

    def _least(self, hours: Floats, draw: Ints) -> Floats:
        """What a workshop's least bill adds, (rounds,) hours it works and the draw of each."""
        missing = np.where(hours > 1e-9, np.maximum(self.book.minimum_labour_h - hours, 0.0), 0.0)
        return np.asarray(missing * self.rate[draw])

    def by_month(self) -> Floats:
        """(13,) sum over draws of the outlay of each month, now first."""
        later = self._later_rounds(np.ones(self.jobs.draw.size - self.jobs.now, dtype=bool))
        month = self.round % (MONTHS + 1)
        total = _added(month, later, MONTHS + 1)
        total[0] += self.everything.now.sum()
        return total

    def by_part(self) -> Singles:
        """(n, C) outlay per part: strip-down shared equally by the parts that use it, overheads by all of a round."""
        out = np.zeros((self.n, len(self.book.ways)), dtype=np.float32)
        now, access = self.jobs.now, self.book.access
        draw, part = self.jobs.draw[:now], self.jobs.part[:now]
        users = self.users.ravel()
        share = np.zeros_like(users)
        share[self.opened] = self.step_price / users[self.opened]
        spread = (share.reshape(self.n, -1) @ access.needs.T)[draw, part]
        allocated = self.bill[:now] + (spread if self.reached is None else spread * self.reached[:now])
        missing = self.everything.now - _added(draw, allocated, self.n)
        count = np.bincount(draw, minlength=self.n)
        out[draw, part] = allocated + (missing / np.maximum(count, 1))[draw]
        self._later_by_part(out)
        return out

    def _later_by_part(self, out: Singles) -> None:
        now = self.jobs.now
        draw, part = self.jobs.draw[now:], self.jobs.part[now:]
        if draw.size == 0:
            return
        users = np.bincount(self.pair_key, minlength=self.key_price.size)
        strip = _added(self.pair_event, (self.key_price / users)[self.pair_key], draw.size)
        allocated = self.bill[now:] + strip
        whole = self._later_rounds(np.ones(draw.size, dtype=bool))
        missing = whole - _added(self.round_of, allocated, self.round.size)
        count = np.bincount(self.round_of, minlength=self.round.size)
        out[draw, part] += (allocated + (missing / count)[self.round_of]).astype(np.float32)


def _step_users(draw: Ints, part: Ints, n: int, needs: Singles) -> Singles:
    """(n, S) how many of the parts done in each draw need each step."""
    there = np.zeros(len(needs), dtype=bool)
    there[part] = True
    column = np.cumsum(there) - 1
    done = np.zeros((n, int(column[-1]) + 1), dtype=np.float32)
    done[draw, column[part]] = 1.0
    return np.asarray(done @ needs[there])


def _added(place: Ints, weight: Floats | Singles, size: int) -> Floats:
    """Sums of weights by place; float even where nothing is added."""
    return np.bincount(place, weights=weight, minlength=size).astype(float, copy=False)


def _orders(row: Ints, supplier: NDArray[np.int8], rows: int) -> Ints:
    """How many kinds of supplier each round orders from."""
    flag = np.zeros(rows * (len(SUPPLIERS) + 1), dtype=bool)
    flag[row * (len(SUPPLIERS) + 1) + supplier + 1] = True
    return np.asarray(flag.reshape(rows, -1)[:, 1:].sum(axis=1))


def common_stream(rng: np.random.Generator) -> np.random.Generator:
    """A stream of its own for market, rate and carriage: cars priced from one seed share them, whatever else they
    drew from it before, and asking twice gives the same.
    """
    return side_stream(cast(np.random.SeedSequence, rng.bit_generator.seed_seq), COMMON)


def _pick(table: Floats, rng: np.random.Generator, n: int) -> Floats:
    """n values of a one-row quantile table."""
    place = rng.random(n) * (table.shape[1] - 1)
    return np.interp(place, np.arange(table.shape[1]), table[0])
