"""Which set of checks to make with the time and money there is.

Single checks, pairs, station tours and paid bundles are tried as beginnings; each is extended by the check that
adds most (by itself, or per minute) while it adds more than it costs. The best set found is kept. To stop is
right only when no such set is worth its cost, never because the best single check is worth nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.decide.board import (
    EXACT,
    Board,
    added,
    exact_groups,
    nothing_told,
    pairs,
    quick_value,
    refined,
    score_groups,
    set_value,
    worth_of,
)
from estimator.decide.scene import Option, cost
from estimator.decide.telling import MEAN_OVER_SD, money_per_payoff

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
SEARCH_DRAWS = 4_000
SEARCH_CHECKS = 72
SEARCH_EXACT = 6  # checks taken pattern by pattern while sets are compared
MOST_CHOSEN = 40
BEST_PAIRS = 3
MINUTE = (
    2e-5  # of the asking price: what a minute of the buyer's own is worth when he decides whether to go on
)
BUNDLE_STARTS, LONG_STARTS = 3, 2
JUDGED = 3  # sets valued on all draws: on few draws the best of many looks better than it is


@dataclass(frozen=True)
class Limits:
    """What there is to spend: minutes of the buyer, money; None is no limit."""

    minutes: float | None = None
    money: float | None = None

    def allow(self, options: Iterable[Option]) -> bool:
        made = list(options)
        if self.minutes is not None and sum(o.minutes for o in made) > self.minutes + 1e-9:
            return False
        return self.money is None or cost(made) <= self.money + 1e-9


@dataclass(frozen=True)
class Chosen:
    """checks : positions in order of choice; net : their value together less what they cost; value, error."""

    checks: tuple[int, ...]
    value: float
    error: float
    net: float
    method: str


NOTHING = Chosen((), 0.0, 0.0, 0.0, "exact")


class Search:
    """Looks for the best affordable set on thinned boards; only the best few are valued on all draws.

    fixed : checks made in any case (stops still open): they take time, what they tell counts at the end only.
    """

    def __init__(
        self,
        board: Board,
        options: Sequence[Option],
        limits: Limits,
        *,
        single: Floats,
        fixed: Sequence[int] = (),
        bundles: Iterable[tuple[int, ...]] = (),
    ) -> None:
        self.full, self.options, self.limits, self.fixed = board, options, limits, list(fixed)
        self.bundles = list(bundles)
        self.ids = {o.id for o in options}
        self.minute = MINUTE * board.settlement.asking
        self.wide = board.thinned(SEARCH_DRAWS, np.arange(len(options)))
        self.columns = self._promising(single)
        self.board = board.thinned(SEARCH_DRAWS, self.columns)
        self.position = {int(c): i for i, c in enumerate(self.columns)}
        self.valued: dict[frozenset[int], float] = {}

    def best(self) -> Chosen:
        """The set with the largest value less cost among those tried; only what is fixed when none is worth it."""
        if self.full.perfect <= self.minute:  # nothing anybody could find out would pay
            return self.judged(self.fixed)
        tours = [made for made in map(self._tour, self.bundles) if made]
        tours.sort(key=lambda made: -self._net(made))
        tried = {tuple(sorted(made)): made for made in tours}
        ways = (False, True) if self.limits.minutes is not None else (False,)
        begun = [
            (self._extended(start, per_minute=way, most=SEARCH_EXACT), way)
            for start in self._starts(tours)
            if self._allowed(start)
            for way in ways
        ]
        begun.sort(key=lambda one: -self._net(one[0]))
        far = sorted(begun, key=lambda one: self._reach(one[0]), reverse=True)
        longer = {(tuple(start), way): None for start, way in (*begun[:LONG_STARTS], *far[:LONG_STARTS])}
        for start, way in longer:
            made = self._extended(list(start), per_minute=way, most=MOST_CHOSEN)
            tried.setdefault(tuple(sorted(made)), made)
        nothing = self.judged(self.fixed)
        if not tried:
            return nothing
        best = sorted(tried.values(), key=self._net, reverse=True)[:JUDGED]
        finals = {tuple(self._shed(made)) for made in best}
        winner = max((self._with_fixed(made) for made in sorted(finals)), key=self._worthwhile)
        return winner if self._worthwhile(winner) > self._worthwhile(nothing) + self.minute else nothing

    def _with_fixed(self, checks: Sequence[int]) -> Chosen:
        return self.judged([*self.fixed, *(c for c in checks if c not in self.fixed)])

    def _worthwhile(self, chosen: Chosen) -> float:
        """Net value less what the minutes are worth."""
        return chosen.net - self.minute * sum(self.options[c].minutes for c in chosen.checks)

    def bundle_value(self, checks: Sequence[int]) -> float:
        """Value of a set, money, on a thinned board."""
        return self._quick(checks)

    def _quick(self, checks: Sequence[int]) -> float:
        """Value of a set on the thinned boards, reckoned once."""
        key = frozenset(checks)
        if key not in self.valued:
            inside = key <= self.position.keys()
            board, places = (
                (self.board, [self.position[c] for c in checks]) if inside else (self.wide, checks)
            )
            self.valued[key] = quick_value(board, places, SEARCH_EXACT)
        return self.valued[key]

    def judged(self, checks: Sequence[int]) -> Chosen:
        """A set valued on all draws."""
        if not checks:
            return NOTHING
        found = set_value(self.full, checks)
        net = found.value - cost([self.options[c] for c in checks])
        return Chosen(tuple(checks), found.value, found.error, net, found.method)

    def _promising(self, single: Floats) -> Ints:
        """The checks worth searching over: best alone, of the widest spread, of the widest spread per minute."""
        every = np.arange(len(self.options))
        spread = added(self.wide, nothing_told(self.wide), every, spread=True)
        price = np.array([o.price for o in self.options])
        minutes = np.array([o.minutes for o in self.options])
        best = [np.argsort(-(single - price), kind="stable"), np.argsort(-spread, kind="stable")]
        best.append(np.argsort(-spread / (minutes + 1), kind="stable"))
        order: dict[int, None] = {}
        for rank in range(len(self.options)):
            for ranking in best:
                order.setdefault(int(ranking[rank]))
            if len(order) >= SEARCH_CHECKS:
                break
        return np.array(sorted(order), dtype=np.intp)

    def _starts(self, tours: list[list[int]]) -> list[list[int]]:
        """Beginnings: nothing, the best pairs, the set of widest spread, the best of each bundle and of the tours."""
        starts: list[list[int]] = [[]]
        both = pairs(self.board)
        price = np.array([self.options[c].price for c in self.columns])
        gain = both - price[:, None] - price[None]
        for row, column in _largest(gain, BEST_PAIRS):
            if gain[row, column] > self.minute:
                starts.append([int(self.columns[row]), int(self.columns[column])])
        starts.append(self._widest(self.columns))
        # a visit that is paid for once is worth it by several looks together, seldom by the first of them
        visits = [self._widest([c for c in bundle if c in self.position]) for bundle in self.bundles]
        visits += [[c for c in tour if c in self.position][:SEARCH_EXACT] for tour in tours[:BUNDLE_STARTS]]
        return starts + sorted((v for v in visits if v), key=self._reach, reverse=True)[: 2 * BUNDLE_STARTS]

    def _reach(self, checks: Sequence[int]) -> float:
        """How far a set moves the worth on average, less its cost, money: what it may come to with others added, also
        where by itself it changes no decision.
        """
        groups = self._groups(checks)
        share = groups.mean(axis=1)
        mean = groups @ self.board.payoff / self.board.draws / share
        told = float(share @ (mean - self.board.payoff.mean()) ** 2)
        made = [self.options[c] for c in checks]
        spent = cost(made) + self.minute * sum(o.minutes for o in made)
        return MEAN_OVER_SD * money_per_payoff(self.board) * told**0.5 - spent

    def _widest(self, among: Iterable[int]) -> list[int]:
        """Some checks that together account for most of the payoff's spread, whatever they decide."""
        made: list[int] = []
        groups = nothing_told(self.board)
        while len(made) < SEARCH_EXACT:
            free = [int(c) for c in among if c not in made and self._allowed([*made, int(c)])]
            if not free:
                break
            places = np.array([self.position[c] for c in free])
            take = free[int(np.argmax(added(self.board, groups, places, spread=True)))]
            made.append(take)
            groups = refined(self.board, groups, self.position[take])
        return made

    def _tour(self, bundle: Sequence[int]) -> list[int]:
        """As much of a bundle as can be afforded, what opens the place first, then the quickest."""
        made: list[int] = []
        for c in sorted(bundle, key=lambda c: (bool(self.options[c].after), self.options[c].minutes)):
            if self._allowed([*made, c]):
                made.append(c)
        return made

    def _allowed(self, checks: Sequence[int]) -> bool:
        made = [self.options[c] for c in (*self.fixed, *(c for c in checks if c not in self.fixed))]
        there = {o.id for o in made}
        opened = all(not o.after or o.after in there or o.after not in self.ids for o in made)
        return opened and self.limits.allow(made)

    def _extended(self, start: list[int], *, per_minute: bool, most: int) -> list[int]:
        """Add the check that adds most to a beginning, as long as it adds more than it costs."""
        board, made = self.board, list(start)
        groups = self._groups(made)
        while len(made) < most:
            free = [int(c) for c in self.columns if c not in made and self._allowed([*made, int(c)])]
            if not free:
                break
            places = np.array([self.position[c] for c in free])
            total = board.settlement.money(board.now, np.maximum(added(board, groups, places), 0.0))
            spent = cost([self.options[c] for c in made])
            extra = np.array([cost([self.options[k] for k in (*made, c)]) - spent for c in free])
            minutes = np.array([self.options[c].minutes for c in free])
            net = total - worth_of(board, groups) - extra - self.minute * minutes
            best = int(np.argmax(np.where(net > 0, net / minutes, net) if per_minute else net))
            if net[best] <= 0:
                break
            made.append(free[best])
            exact = len(made) <= SEARCH_EXACT
            groups = refined(board, groups, places[best]) if exact else self._groups(made)
        return made

    def _groups(self, checks: Sequence[int]) -> Floats:
        places = [self.position[c] for c in checks]
        exact = len(places) <= SEARCH_EXACT
        return exact_groups(self.board, places) if exact else score_groups(self.board, places)

    def _net(self, checks: Sequence[int]) -> float:
        made = [self.options[c] for c in checks]
        spent = cost(made) + self.minute * sum(o.minutes for o in made)
        return self._quick(checks) - spent

    def _shed(self, checks: list[int]) -> list[int]:
        """Without the checks that a short set does not need: leaving them out costs nothing."""
        if len(checks) > EXACT or not all(c in self.position for c in checks):
            return checks
        kept, net = list(checks), self._net(checks)
        for c in reversed(checks):
            rest = [k for k in kept if k != c]
            if any(self.options[k].after == self.options[c].id for k in rest):
                continue
            without = self._net(rest)
            if without >= net:
                kept, net = rest, without
        return kept


def marginals(search: Search, chosen: Chosen) -> Floats:
    """(F,) what each check adds, money: those chosen to those chosen before them, the others to the whole set."""
    board = search.wide
    settle = board.settlement
    out = np.zeros(len(search.options))
    made: list[int] = []
    groups, before = nothing_told(board), 0.0
    for c in chosen.checks:
        after = float(settle.money(board.now, max(added(board, groups, np.array([c]))[0], 0.0)))
        out[c] = max(after - before, 0.0)
        made.append(c)
        exact = len(made) <= SEARCH_EXACT
        groups = refined(board, groups, c) if exact else score_groups(board, made)
        before = worth_of(board, groups)
    rest = np.array([c for c in range(len(search.options)) if c not in made], dtype=np.intp)
    if rest.size:
        total = settle.money(board.now, np.maximum(added(board, groups, rest), 0.0))
        out[rest] = np.maximum(total - before, 0.0)
    return out


def _largest(table: Floats, count: int) -> list[tuple[int, int]]:
    """Places of the largest entries above the diagonal."""
    upper = np.where(np.triu(np.ones(table.shape, dtype=bool), 1), table, -np.inf)
    flat = np.argsort(-upper, axis=None)[:count]
    return [(int(r), int(c)) for r, c in zip(*np.unravel_index(flat, table.shape), strict=True)]
