"""Draws of what needs doing -> draws of outlay, now and over the plan year, by part.

Work of one draw and month is one round. Within a round access steps are paid once, as the union over the parts
done in it (estimator.money.rounds). The same draws of prices serve every sub-total (found, not seen yet, by need),
so that they add up draw by draw.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import cast

import numpy as np
from numpy.typing import NDArray

from estimator.money.book import PriceBook
from estimator.money.rounds import Groups, Rounds
from estimator.money.sheets import SCENARIOS, PriceSheets
from estimator.simulate import Needs
from estimator.streams import side_stream, whole_numbers

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]
MONTHS = 12
COMMON = 101  # number of the side stream of what all of a draw's prices share


@dataclass(frozen=True)
class Jobs:
    """Work to be priced: one entry an event, first all of month 0 (now), then the later ones.

    draw, part, month : of each event; spent : it is done because the part is spent today; now : how many entries
    belong to month 0; extra : it is done only because it was reached (None: nothing is). A part stands at most once in
    a draw.
    """

    draw: Ints
    part: Ints
    month: Ints
    spent: Flags
    now: int
    extra: Flags | None = None

    def where(self, chosen: Flags) -> Jobs:
        """Only some of the events."""
        picked = (self.draw[chosen], self.part[chosen], self.month[chosen], self.spent[chosen])
        extra = None if self.extra is None else self.extra[chosen]
        return Jobs(*picked, now=int(chosen[: self.now].sum()), extra=extra)


@dataclass(frozen=True)
class Outlay:
    """Outlay of n draws, tax included: now (n,), year (n,) with now in it."""

    now: Floats
    year: Floats


def join_worn(book: PriceBook, needs: Needs, n: int) -> Jobs:
    """The policy: spent work now in one round; worn parts behind strip-down which that round opens anyway with it;
    the rest in the month they fall due. Nobody can see that a sound part will fall due.
    """
    access = book.access
    spent = Groups.of(needs.spent_draw, n)
    opened = [spent.union(row.take(needs.spent_part)) for row in access.words]
    has_real: Flags = np.any(access.needs[:, access.opens] > 0, axis=1)

    def reached(draw: Ints, part: Ints) -> Flags:
        out = has_real[part]
        for row, there in zip(access.words, opened, strict=True):
            out &= (row.take(part) & ~there.take(draw)) == 0
        return out

    brought = needs.due_worn & reached(needs.due_draw, needs.due_part)
    early, late = np.flatnonzero(brought), np.flatnonzero(~brought)
    extra = np.flatnonzero(reached(needs.worn_draw, needs.worn_part))
    draw = np.concatenate([needs.spent_draw, needs.due_draw.take(early), needs.worn_draw.take(extra)])
    part = np.concatenate([needs.spent_part, needs.due_part.take(early), needs.worn_part.take(extra)])
    order = np.argsort(draw, kind="stable")  # stretches that are sorted: quickly merged
    now, none_late = draw.size, np.zeros(late.size, dtype=bool)
    return Jobs(
        draw=np.concatenate([draw.take(order), needs.due_draw.take(late)]),
        part=np.concatenate([part.take(order), needs.due_part.take(late)]),
        month=np.concatenate([np.zeros(now, dtype=np.intp), needs.due_month.take(late)]),
        spent=np.concatenate([order < needs.spent_draw.size, none_late]),
        now=now,
        extra=np.concatenate([order >= now - extra.size, none_late]),
    )


class Pricing:
    """All prices of a block of n draws, and the outlay of any subset of its jobs.

    Attributes
    ----------
    market, rate, carriage, scarce : (n,) what all prices of a draw share, the last a level of scarcity.
    first, later : the round of now of every draw, and the rounds of later months.
    hours : (E,) hours in the trade that each event takes, the owner's own work taken off; orders : (E,) the kind of
    supplier it is ordered from, as a bit; pays : (E,) whether it pays for its strip-down (None: all do).
    bill : (E,) what each costs without strip-down, carriage and least bills.
    everything : Outlay of all jobs.
    """

    def __init__(
        self, book: PriceBook, sheets: PriceSheets, jobs: Jobs, n: int, rng: np.random.Generator
    ) -> None:
        self.book, self.jobs, self.n = book, jobs, n
        self._taxed = 1.0 + book.tax
        common = common_stream(rng)
        self.market = np.exp(book.market_sd * common.standard_normal(n) - book.market_sd**2 / 2) * self._taxed
        self.rate = _pick(book.rate, common, n) * self.market
        self.carriage = _pick(book.carriage, common, n) * self._taxed
        self.scarce = np.searchsorted(np.cumsum(book.scarcity_weights)[:-1], common.random(n), side="right")
        item = (self.scarce * sheets.parts).take(jobs.draw)
        item += jobs.part
        item *= SCENARIOS
        item += whole_numbers(rng, item.shape, np.uint16) & (SCENARIOS - 1)
        self._bought, self.hours = sheets.bought.take(item), sheets.hours.take(item)
        self.orders = sheets.order.take(item)
        self._quoted = sheets.quoted.take(item) if book.fixed.any() else None
        self.pays = self._pays(sheets.way.take(item)) if book.free_access.any() else None
        self.first, self.later = self._rounds(sheets, rng)
        self._bought = (self._bought - self._paid_as_disturbed()).astype(np.float32)
        self._tools_bill = self._own_work()
        self._later_paid = self._paid(self.later, None)
        now = self._paid(self.first, None)
        self.everything = Outlay(now, now + self._by_draw(self._later_paid, self.later.draw))

    def _pays(self, way: NDArray[np.int8]) -> Flags:
        """(E,) whether a quote for the whole job does not have the strip-down in its price."""
        return ~self.book.free_access[self.jobs.part * self.book.most_ways + way]

    def _rounds(self, sheets: PriceSheets, rng: np.random.Generator) -> tuple[Rounds, Rounds]:
        jobs, access = self.jobs, self.book.access
        now, later = slice(0, jobs.now), slice(jobs.now, None)
        month, number = np.unique(jobs.draw[later] * (MONTHS + 1) + jobs.month[later], return_inverse=True)
        self._month = month % (MONTHS + 1)
        first, after = (
            Rounds(
                access, sheets, draw=draw, of_event=of_event, part=jobs.part[events],
                pays=None if self.pays is None else self.pays[events], rng=rng,
            )
            for events, draw, of_event in (
                (now, np.arange(self.n), jobs.draw[now]),
                (later, month // (MONTHS + 1), number),
            )
        )  # fmt: skip
        return first, after

    def _paid_as_disturbed(self) -> Floats:
        """(E,) what the part's own price holds of what its strip-down makes one renew: paid once."""
        goods = self._bought if self._quoted is None else self._bought + self._quoted
        return np.minimum(np.concatenate([self.first.held, self.later.held]), goods)

    def _own_work(self) -> Floats | None:
        """Give the owner what is within his skill, as far as his hours go; (E,) his tools; None: he does nothing."""
        book, jobs = self.book, self.jobs
        if book.own_hours <= 0:
            return None
        able = self._by_draw(self.hours * book.own_work[jobs.part], jobs.draw)
        for rounds in (self.first, self.later):
            able += self._by_draw(
                rounds.hours * book.access.own_work[rounds.step], rounds.draw[rounds.of_step]
            )
        wanted = book.handy_factor * able
        own = np.divide(book.own_hours, wanted, out=np.ones(self.n), where=wanted > book.own_hours)
        self.hours = self.hours * (1 - own[jobs.draw] * book.own_work[jobs.part])
        for rounds in (self.first, self.later):
            his = own[rounds.draw[rounds.of_step]] * book.access.own_work[rounds.step]
            rounds.hours = rounds.hours * (1 - his)
        return self._tools() * own[jobs.draw] * self._taxed

    def _by_draw(self, values: Floats | Singles, draw: Ints) -> Floats:
        return np.bincount(draw, weights=values, minlength=self.n).astype(float, copy=False)

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

    @cached_property
    def bill(self) -> Floats:
        draw = self.jobs.draw
        bill = self._bought * self.market[draw] + self.hours * self.rate[draw]
        if self._quoted is not None:
            bill += self._quoted * self._taxed
        return bill if self._tools_bill is None else bill + self._tools_bill

    def step_price(self, rounds: Rounds) -> Floats:
        """(O,) price of each step that the first or later rounds open."""
        draw = rounds.draw[rounds.of_step]
        return np.asarray(rounds.hours * self.rate[draw] + rounds.bought * self.market[draw])

    def now(self, chosen: Flags) -> Floats:
        """(n,) outlay of the first round if only the chosen events (E,) were done."""
        return self._paid(self.first, chosen)

    def later_rounds(self, chosen: Flags) -> Floats:
        """(n,) outlay of the later months if only the chosen events (E,) were done."""
        return self._by_draw(self._paid(self.later, chosen), self.later.draw)

    def outlay(self, chosen: Flags) -> Outlay:
        """Outlay if only the chosen events (E,) were done, each round with their own union of steps."""
        now = self.now(chosen)
        return Outlay(now, now + self.later_rounds(chosen))

    def _paid(self, rounds: Rounds, flags: Flags | None) -> Floats:
        """(R,) what each round costs with the chosen of all events (E,); None: with all of its own."""
        first = rounds is self.first
        events = slice(0, self.jobs.now) if first else slice(self.jobs.now, None)
        done = rounds.all() if flags is None else rounds.only(flags[events])
        market, rate, carriage = (
            a if first else a.take(rounds.draw) for a in (self.market, self.rate, self.carriage)
        )
        hours = done.sum(self.hours[events]) + done.sum_steps(rounds.hours)
        total = (done.sum(self._bought[events]) + done.sum_steps(rounds.bought)) * market
        if self._quoted is not None:
            total += done.sum(self._quoted[events]) * self._taxed
        if self._tools_bill is not None:
            total += done.sum(self._tools_bill[events])
        total += np.bitwise_count(done.union(self.orders[events])) * carriage
        works = hours > 1e-9  # no visit and no least bill where the owner does it all
        hours += np.where(works, self.book.access.visit_hours if first else 0.0, 0.0)
        least = np.maximum(self.book.minimum_labour_h - hours, 0.0)
        return np.asarray(total + (hours + np.where(works, least, 0.0)) * rate)

    def by_month(self) -> Floats:
        """(13,) sum over draws of the outlay of each month, now first."""
        total = np.bincount(self._month, weights=self._later_paid, minlength=MONTHS + 1).astype(
            float, copy=False
        )
        total[0] += self.everything.now.sum()
        return total

    def by_part(self) -> Singles:
        """(n, C) outlay per part: strip-down shared equally by the parts that use it, overheads by all of a round."""
        out = np.zeros((self.n, len(self.book.ways)), dtype=np.float32)
        for rounds, events, whole in (
            (self.first, slice(0, self.jobs.now), self.everything.now),
            (self.later, slice(self.jobs.now, None), self._later_paid),
        ):
            allocated = self.bill[events] + rounds.share(self.step_price(rounds))
            done = rounds.all()
            over = (whole - done.sum(allocated)) / np.maximum(done.sum(np.ones(allocated.size)), 1)
            out[self.jobs.draw[events], self.jobs.part[events]] += allocated + over[rounds.of_event]
        return out


def common_stream(rng: np.random.Generator) -> np.random.Generator:
    """A stream of its own for market, rate, carriage and scarcity: what is priced from one seed shares them, whatever
    else was drawn from it before, and asking twice gives the same.
    """
    return side_stream(cast(np.random.SeedSequence, rng.bit_generator.seed_seq), COMMON)


def _pick(table: Floats, rng: np.random.Generator, n: int) -> Floats:
    """n values of a one-row quantile table."""
    place = rng.random(n) * (table.shape[1] - 1)
    return np.interp(place, np.arange(table.shape[1]), table[0])
