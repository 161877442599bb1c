"""The order in which components are eliminated, so that few findings are open at once.

The exact recursion keeps one number per subset of the findings that are *open*: a finding opens
with the first component linked to it and closes after the last. Memory and time grow as two to the
number open, so the order decides what can be solved at all. Finding the best order is hard in
general; a greedy rule tried from several starts, then improved by moving one finding at a time,
comes close on networks as sparse as a catalogue of checks.

Links are bit masks throughout (bit f of `links[i]` is set when component i can cause finding f),
because the search does little else than unite, compare and count small sets.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

_MOVES = 60  # most orders tried by the local improvement; each costs a fraction of one solve
_STARTS = 12
_CHEAP = 2_000  # below this many subset-steps a better order would not pay for the search


@dataclass(frozen=True, slots=True)
class Step:
    """One component's turn.

    component : number of the component in `links`.
    enter : findings that open here, placed one by one as the new most significant bit.
    bits : (finding, bit position) of every finding the component is linked to.
    close : (finding, bit position) of findings that close here, in order; each position is
        the one valid when the earlier ones of the tuple have gone.
    width : findings open during the step.
    """

    component: int
    enter: tuple[int, ...]
    bits: tuple[tuple[int, int], ...]
    close: tuple[tuple[int, int], ...]
    width: int


@dataclass(frozen=True, slots=True)
class Plan:
    """Steps for all linked components, and the widest frontier among them."""

    steps: tuple[Step, ...]
    width: int


@lru_cache(maxsize=512)
def plan(links: tuple[int, ...]) -> Plan:
    """The elimination plan of a network.

    Parameters
    ----------
    links : one bit mask of findings per component; 0 for a component linked to none.

    Returns
    -------
    Plan
        Covers exactly the components with a non-zero mask.
    """
    members: dict[int, list[int]] = {}
    for component, mask in enumerate(links):
        if mask:
            members.setdefault(mask, []).append(component)
    order = [
        component
        for island in _islands(list(members))
        for mask in _mask_order(island)
        for component in members[mask]
    ]
    return _compile(order, links)


def _islands(masks: list[int]) -> list[list[int]]:
    """Split link masks into groups that share no finding; each is ordered by itself."""
    groups: list[tuple[int, list[int]]] = []
    for mask in masks:
        union, joined = mask, [mask]
        apart = []
        for findings, group in groups:
            if findings & union:
                union |= findings
                joined = group + joined
            else:
                apart.append((findings, group))
        groups = [*apart, (union, joined)]
    return [group for _, group in groups]


def _mask_order(masks: list[int]) -> list[int]:
    """Order of distinct link masks with a small sum of subset counts over the steps."""
    findings = _bits(_union(masks))
    starts = sorted(findings, key=lambda f: _union(m for m in masks if m >> f & 1).bit_count())[:_STARTS]
    best_cost, best_closing, best_order = -1, [], masks
    for start in starts:
        closing = _greedy_closing(masks, start)
        order, cost = _expand(masks, closing)
        if best_cost < 0 or cost < best_cost:
            best_cost, best_closing, best_order = cost, closing, order
        if best_cost < _CHEAP:
            return best_order
    return _improve(masks, best_closing, best_order, best_cost)


def _greedy_closing(masks: list[int], start: int) -> list[int]:
    """Closing order of findings: next the one that opens fewest others, given what is open."""
    remaining, opened, closing = list(masks), 0, []
    unclosed = set(_bits(_union(masks)))
    finding = start
    while True:
        opened |= _union(m for m in remaining if m >> finding & 1) | 1 << finding
        remaining = [m for m in remaining if m & ~opened]
        closing.append(finding)
        unclosed.discard(finding)
        left = _union(remaining)
        for done in [f for f in unclosed if opened >> f & 1 and not left >> f & 1]:
            closing.append(done)
            unclosed.discard(done)
        if not unclosed:
            return closing
        opened &= left
        reach = {f: opened | _union(m for m in remaining if m >> f & 1) for f in unclosed}
        finding = min(unclosed, key=lambda f: (reach[f].bit_count(), f))


def _expand(masks: list[int], closing: list[int]) -> tuple[list[int], int]:
    """Order of masks that closes findings in the given order, and its cost in subset-steps.

    A mask whose findings are all open goes at once: it widens nothing and may close something.
    """
    remaining, opened, order, cost = list(masks), 0, [], 0
    for finding in closing:
        while True:
            todo = [m for m in remaining if m >> finding & 1]
            if not todo:
                break
            chosen = min(todo, key=lambda m: (m & ~opened).bit_count())
            opened |= chosen
            ready = [chosen] + [m for m in remaining if not m & ~opened and m != chosen]
            remaining = [m for m in remaining if m & ~opened]
            left = _union(remaining)
            cost += len(ready) << opened.bit_count()
            order += ready
            opened &= left
    return order, cost


def _improve(masks: list[int], closing: list[int], order: list[int], cost: int) -> list[int]:
    """Move single findings to other places in the closing order while that saves work."""
    count = len(closing)
    moves = min(_MOVES, cost // _CHEAP)  # no longer search than the solve is worth
    stride = max(1, count * count // moves)
    number = 0
    for source in range(count):
        for target in range(count):
            number += 1
            if source == target or number % stride:
                continue
            trial = list(closing)
            trial.insert(target, trial.pop(source))
            trial_order, trial_cost = _expand(masks, trial)
            if trial_cost < cost:
                closing, order, cost = trial, trial_order, trial_cost
    return order


def _compile(order: list[int], links: tuple[int, ...]) -> Plan:
    """Bit positions of every step: new findings on top, closed ones taken out."""
    last = {f: place for place, component in enumerate(order) for f in _bits(links[component])}
    steps = []
    opened: list[int] = []  # position in the list = bit position
    for place, component in enumerate(order):
        findings = _bits(links[component])
        enter = tuple(f for f in findings if f not in opened)
        opened.extend(enter)
        bits = tuple((f, opened.index(f)) for f in findings)
        width = len(opened)
        close = []
        for finding in findings:
            if last[finding] == place:
                close.append((finding, opened.index(finding)))
                opened.remove(finding)
        steps.append(Step(component=component, enter=enter, bits=bits, close=tuple(close), width=width))
    return Plan(steps=tuple(steps), width=max((step.width for step in steps), default=0))


def _union(masks: Iterable[int]) -> int:
    union = 0
    for mask in masks:
        union |= mask
    return union


def _bits(mask: int) -> list[int]:
    return [place for place in range(mask.bit_length()) if mask >> place & 1]
