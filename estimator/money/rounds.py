"""Rounds of work: what is done in one go, and the strip-down it opens, paid once.

A round's steps are the union over the parts done in it, kept as bits of 64-bit words; everything is summed along
lists that stand round by round.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.money.access import AccessPlan, Words, as_flags
from estimator.money.sheets import SCENARIOS, PriceSheets
from estimator.streams import whole_numbers

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Groups:
    """A list put in groups 0 .. size - 1.

    order : how to put it group by group, None where it stands so; start : first place in that order of each group
    that has any; there : which groups have.
    """

    size: int
    order: Ints | None
    start: Ints
    there: Ints

    @classmethod
    def of(cls, group: Ints, size: int) -> Groups:
        """group (E,) of each entry."""
        order = None if (group[1:] >= group[:-1]).all() else np.argsort(group, kind="stable")
        ordered = group if order is None else group[order]
        new = np.ones(group.size, dtype=bool)
        np.not_equal(ordered[1:], ordered[:-1], out=new[1:])
        start = np.flatnonzero(new)
        return cls(size, order, start, ordered[start])

    def sum(self, values: Floats | Singles) -> Floats:
        """(size,) sums of values (E,); zero where a group has none."""
        total = np.zeros(self.size)
        if self.start.size:
            total[self.there] = np.add.reduceat(self._in_order(values), self.start, dtype=float)
        return total

    def union(self, bits: NDArray[np.unsignedinteger]) -> NDArray[np.unsignedinteger]:
        """(size,) bits that any of a group's entries (E,) has."""
        total = np.zeros(self.size, dtype=bits.dtype)
        if self.start.size:
            total[self.there] = np.bitwise_or.reduceat(self._in_order(bits), self.start)
        return total

    def _in_order(self, values: NDArray) -> NDArray:
        return values if self.order is None else values.take(self.order)


@dataclass(frozen=True)
class Done:
    """Some of the events of rounds, and the strip-down which they open: sums round by round.

    events, steps : places in the rounds' lists of events and of opened steps, None for all of them.
    """

    events: Ints | None
    by_event: Groups
    steps: Ints | None
    by_step: Groups

    def sum(self, values: Floats | Singles) -> Floats:
        """(R,) sums of values (E,) of the events."""
        return self.by_event.sum(values if self.events is None else values.take(self.events))

    def union(self, bits: NDArray[np.unsignedinteger]) -> NDArray[np.unsignedinteger]:
        """(R,) bits (E,) that any of the events has."""
        return self.by_event.union(bits if self.events is None else bits.take(self.events))

    def sum_steps(self, values: Floats | Singles) -> Floats:
        """(R,) sums of values (O,) of the opened steps."""
        return self.by_step.sum(values if self.steps is None else values.take(self.steps))


class Rounds:
    """The rounds of a list of events, and the strip-down each opens, one scenario of hours and goods a step.

    Attributes
    ----------
    draw : (R,) draw of each round. of_event, part : (E,) round and part of each event.
    of_step : (O,) round of each opened step, in order; step : (O,) which it is.
    hours, bought : (O,) what it takes and what it makes one renew, before tax at likely market level.
    held : (E,) of what its steps make one renew, what the part's own price holds already.
    """

    def __init__(
        self,
        access: AccessPlan,
        sheets: PriceSheets,
        *,
        draw: Ints,
        of_event: Ints,
        part: Ints,
        pays: Flags | None,
        rng: np.random.Generator,
    ) -> None:
        """pays (E,) : events that pay for their strip-down; None: all."""
        self.access, self.draw, self.of_event, self.part = access, draw, of_event, part
        self._by_event = Groups.of(of_event, draw.size)
        self._words = [row.take(part) for row in access.words]
        if pays is not None:
            self._words = [np.where(pays, word, np.uint64(0)) for word in self._words]
        opened = _union(self._by_event, self._words)
        self._cells = np.flatnonzero(as_flags(opened, len(access.steps)))
        self.of_step = np.repeat(np.arange(draw.size), np.bitwise_count(opened).sum(axis=0, dtype=np.intp))
        self.step = self._cells - self.of_step * len(access.steps)
        self._by_step = Groups.of(self.of_step, draw.size)
        item = self.step * SCENARIOS + (whole_numbers(rng, self.step.shape, np.uint16) & (SCENARIOS - 1))
        self.hours, self.bought = sheets.step_hours.take(item), sheets.step_bought.take(item)
        self.held = self._held(pays)

    def _held(self, pays: Flags | None) -> Floats:
        access = self.access
        count = np.bincount(access.held_part, minlength=len(access.needs))
        events = np.flatnonzero(count.take(self.part) if pays is None else count.take(self.part) * pays)
        each = count.take(self.part.take(events))
        first = (np.cumsum(count) - count).take(self.part.take(events))
        row = np.repeat(events, each)
        pair = np.repeat(first - np.cumsum(each) + each, each) + np.arange(row.size)
        cell = self.of_event.take(row) * len(access.steps) + access.held_step.take(pair)
        goods = self.bought.take(np.searchsorted(self._cells, cell))
        held = np.bincount(row, weights=goods * access.held_share.take(pair), minlength=self.part.size)
        return held.astype(float, copy=False)

    def all(self) -> Done:
        """Everything that the rounds do."""
        return Done(None, self._by_event, None, self._by_step)

    def only(self, chosen: Flags) -> Done:
        """The rounds if only some of their events (E,) were done."""
        events = np.flatnonzero(chosen)
        by_event = Groups.of(self.of_event.take(events), self.draw.size)
        opened = _union(by_event, [word.take(events) for word in self._words])
        steps = np.flatnonzero(as_flags(opened, len(self.access.steps)).ravel().take(self._cells))
        return Done(events, by_event, steps, Groups.of(self.of_step.take(steps), self.draw.size))

    def share(self, price: Floats) -> Floats:
        """(E,) each event's share of the price (O,) of the steps it opened: equal among those that use one."""
        steps, rounds = len(self.access.steps), self.draw.size
        pays = np.any([word > 0 for word in self._words], axis=0)
        done = np.zeros((rounds, len(self.access.needs)), dtype=np.float32)
        done[self.of_event[pays], self.part[pays]] = 1.0
        users = (done @ self.access.needs).ravel()[self._cells]
        each = np.zeros(rounds * steps, dtype=np.float32)
        each[self._cells] = price / users
        return (each.reshape(rounds, steps) @ self.access.needs.T)[self.of_event, self.part] * pays


def _union(groups: Groups, words: list[Words]) -> Words:
    """(W, R) bits that any of a round's events has, W lists of words (E,)."""
    return np.array([groups.union(word) for word in words], dtype="<u8").reshape(len(words), groups.size)
