"""Entries of a component's history, sorted, and what seeing a condition does to later life.

The conditions are nested thresholds on one latent life T: sound at use x means T > x / (1 - v).
Having been seen therefore truncates later life: a cohort's weighted survival is a sum over the last
observation at which the part was sound,

    weight(alive at x) = c_0 S(x) + sum_k c_k S(max(x, y_k)),   y_k = x_k / (1 - v) at observation k,

and a further observation with likelihoods w (worn) and s (sound) multiplies every c by w and adds
the term c_new = (s - w) * (sum of the old c). Where w = s no term is needed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from estimator.wear.records import Entry, Observation, Renewal

Floats = NDArray[np.float64]


def by_node(events: Sequence[Entry]) -> dict[int, list[Entry]]:
    """Events per node in the order given, the renewals of one node merged into one."""
    table: dict[int, list[Entry]] = {}
    for event in sorted(events, key=lambda event: event.node):
        table.setdefault(event.node, []).append(event)
    return {node: _merge_renewals(list(group)) for node, group in table.items()}


def _merge_renewals(group: list[Entry]) -> list[Entry]:
    renewals = [event for event in group if isinstance(event, Renewal)]
    if len(renewals) < 2:
        return group
    best = max(renewals, key=lambda event: event.credibility)
    doubt = float(np.prod([1 - event.credibility for event in renewals]))
    merged = Renewal(best.node, 1 - doubt, best.life_share, best.extra_age_years)
    first = group.index(renewals[0])
    rest: list[Entry] = [event for event in group if not isinstance(event, Renewal)]
    return [*rest[:first], merged, *rest[first:]]


def tells_worn_from_sound(events: Sequence[Entry]) -> bool:
    """Whether any of them truncates later life, so that extra terms are needed."""
    return any(isinstance(e, Observation) and e.likelihood[1] != e.likelihood[2] for e in events)


class SeenTerms:
    """The terms c_k of one component, per column (a column born later has none of the earlier)."""

    def __init__(self, columns: int) -> None:
        self.plain = np.ones(columns)
        self.terms: list[tuple[Floats, Floats]] = []  # (exponents at y_k (1, H, Q, 2, n), c_k (n,))

    def observe(self, warned_exponents: Floats, *, worn: float, sound: float) -> None:
        """Add an observation; warned_exponents are those at the node divided by 1 - v."""
        n = warned_exponents.shape[-1]
        total = self.total(n)
        self.plain[:n] *= worn
        self.terms = [(level, c * worn) for level, c in self.terms]
        self.terms.append((warned_exponents, (sound - worn) * total))

    def total(self, n: int) -> Floats:
        """(n,) sum of all c of the first n columns: the weight of a part sound now."""
        total = self.plain[:n].copy()
        for level, c in self.terms:
            m = min(n, level.shape[-1])
            total[:m] += c[:m]
        return total

    def forget(self, column: int) -> None:
        """A part fitted after an observation at the same node has not been seen."""
        self.plain[column] = 1.0
        for level, c in self.terms:
            if column < level.shape[-1]:
                c[column] = 0.0

    def fold(self, exponents: Floats) -> None:
        """Drop the terms whose level every column has passed."""
        kept = []
        for level, c in self.terms:
            m = level.shape[-1]
            if (exponents[..., :m] >= level).all():
                self.plain[:m] += c
            else:
                kept.append((level, c))
        self.terms = kept
