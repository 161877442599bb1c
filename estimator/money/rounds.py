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

    def of_each(self, entries: int) -> Ints:
        """(E,) group of each of the list's entries."""
        group = np.empty(entries, dtype=np.intp)
        place = slice(None) if self.order is None else self.order
        group[place] = np.repeat(self.there, np.diff(self.start, append=entries))
        return group

    def _in_order(self, values: NDArray) -> NDArray:
        return values if self.order is None else values.take(self.order)


class Rounds:
    """The rounds of a list of events, and the strip-down each opens, one scenario of hours and goods a step.

    Attributes
    ----------
    draw : (R,) draw of each round. groups : events by round. part : (E,) part of each event.
    of : (O,) round of each opened step, in order; step : (O,) which it is.
    hours, bought : (O,) what it takes and what it makes one renew, before tax at likely market level.
    """

    def __init__(
        self,
        access: AccessPlan,
        sheets: PriceSheets,
        *,
        draw: Ints,
        groups: Groups,
        part: Ints,
        pays: Flags | None,
        rng: np.random.Generator,
    ) -> None:
        """pays (E,) : events that pay for their strip-down; None: all."""
        self.access, self.draw, self.groups, self.part = access, draw, groups, part
        self._words = [row.take(part) for row in access.words]
        if pays is not None:
            self._words = [np.where(pays, word, np.uint64(0)) for word in self._words]
        opened = self._union(None)
        self._cells = np.flatnonzero(as_flags(opened, len(access.steps)))
        self.of = np.repeat(np.arange(draw.size), np.bitwise_count(opened).sum(axis=0, dtype=np.intp))
        self.step = self._cells - self.of * len(access.steps)
        self._by_round = Groups.of(self.of, draw.size)
        scenario = whole_numbers(rng, self.step.shape, np.uint16) & (SCENARIOS - 1)
        item = self.step * SCENARIOS + scenario
        self.hours, self.bought = sheets.step_hours.take(item), sheets.step_bought.take(item)

    def _union(self, chosen: Flags | None) -> Words:
        """(W, R) steps that the chosen events (E,) open."""
        picked = self._words if chosen is None else [word * chosen for word in self._words]
        union = [self.groups.union(word) for word in picked]
        return np.array(union, dtype="<u8").reshape(len(picked), self.draw.size)

    def opened_by(self, chosen: Flags) -> Flags:
        """(O,) whether a step is opened by the chosen events (E,)."""
        return as_flags(self._union(chosen), len(self.access.steps)).ravel()[self._cells]

    def sum_steps(self, values: Floats | Singles) -> Floats:
        """(R,) sums of values of the opened steps (O,)."""
        return self._by_round.sum(values)

    def share(self, price: Floats) -> Floats:
        """(E,) each event's share of the price (O,) of the steps it opened: equal among those that use one."""
        steps, rounds = len(self.access.steps), self.draw.size
        round_of = self.groups.of_each(self.part.size)
        pays = np.any([word > 0 for word in self._words], axis=0)
        done = np.zeros((rounds, len(self.access.needs)), dtype=np.float32)
        done[round_of[pays], self.part[pays]] = 1.0
        users = (done @ self.access.needs).ravel()[self._cells]
        each = np.zeros(rounds * steps, dtype=np.float32)
        each[self._cells] = price / users
        return (each.reshape(rounds, steps) @ self.access.needs.T)[round_of, self.part] * pays
