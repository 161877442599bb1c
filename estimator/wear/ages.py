"""When the part fitted today was fitted: mass per group of ages, of parts alive and of parts spent.

The forward pass knows the age of every cohort not yet spent, but only the total of those spent.
This ledger splits the spent by age: at a few nodes (all of them near today) it compares the
alive mass per group with the last look; what has gone missing failed in between, and what has been
added to the spent since is shared out in that proportion.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_EDGES = np.array([0, 0.25, 0.5, 1, 1.5, 2, 3, 4, 5, 7, 10, 13, 16, 20, 25, 30, 40, 50, 60, 80, 100.0])
_TINY = 1e-300


def age_edges(age_today: float) -> Floats:
    """(A + 1,) bin edges in years from 0 to the car's age."""
    return np.append(_EDGES[age_today - 1e-6 > _EDGES], age_today)


def look_nodes(nodes_years: Floats, today: int) -> set[int]:
    """Nodes at which the ledger looks: every one of the last year, then more and more rarely."""
    looks, last = {today}, nodes_years[today]
    for node in range(today - 1, -1, -1):
        back = nodes_years[today] - nodes_years[node]
        gap = 0.0 if back <= 1 else 0.5 if back <= 4 else 2.0 if back <= 20 else 5.0
        if last - nodes_years[node] >= gap - 1e-9:
            looks.add(node)
            last = nodes_years[node]
    return looks


class AgeLedger:
    """Mass per group of cohorts at every pass point of a chunk, X = (c, H, Q, Z, W).

    Groups are consecutive columns of one age bin; the part the car was built with and the parts of
    dated entries are groups of their own, so that a known age stays exact.
    """

    def __init__(
        self,
        birth_years: Floats,
        *,
        age_today: float,
        entry_columns: Collection[int],
        point_shape: tuple[int, ...],
    ) -> None:
        edges = age_edges(age_today)
        age = np.clip(age_today - birth_years, 0, None)
        bin_of = np.clip(np.searchsorted(edges, age, side="right") - 1, 0, edges.size - 2)
        own = np.zeros(birth_years.size, dtype=bool)
        own[[0, *entry_columns]] = True
        breaks = (np.diff(bin_of, prepend=-1) != 0) | own | np.append(False, own[:-1])
        self._starts = np.flatnonzero(breaks)
        self.group_of = np.cumsum(breaks) - 1
        count = self._starts.size
        self.mean_age = np.add.reduceat(age, self._starts) / np.bincount(self.group_of)
        bins = bin_of[self._starts]
        bins[0] = edges.size - 1  # the original, after the age bins
        self._to_bins = (bins[:, None] == np.arange(edges.size)).astype(float)
        self.alive = np.zeros((*point_shape, count))
        self.alive[..., 0] = 1.0
        self.spent = np.zeros_like(self.alive)
        self._fitted = np.zeros_like(self.alive)
        self._kept = self._held = np.ones((1,) * len(point_shape))

    def in_bins(self) -> Floats:
        """(X, A + 1) mass of the parts fitted, alive or spent, per age bin, the original last."""
        return (self.alive + self.spent) @ self._to_bins

    def stepped(self, *, column: int, fitted: Floats, kept: Floats, held: Floats) -> None:
        """One step: `fitted` new parts, the spent keep the share `kept`, the older cohorts `held`."""
        self._fitted[..., self.group_of[column]] += fitted
        self._kept = self._kept * kept
        self._held = self._held * held

    def look(self, alive_now: Floats, spent_now: Floats) -> None:
        """Share out what became spent since the last look; alive_now is (X, groups), spent_now (X)."""
        failed = np.maximum(self.alive * self._held[..., None] + self._fitted - alive_now, 0.0)
        old = self._kept[..., None] * self.spent
        added = np.maximum(spent_now - old.sum(axis=-1), 0.0)
        old += failed * (added / np.maximum(failed.sum(axis=-1), _TINY))[..., None]
        self.spent = old * (spent_now / np.maximum(old.sum(axis=-1), _TINY))[..., None]
        self.alive = alive_now
        self._fitted[...] = 0.0
        self._kept = self._held = np.ones((1,) * spent_now.ndim)

    def scale(self, factor: Floats) -> None:
        """Multiply all masses by a factor per point."""
        for mass in (self.alive, self.spent, self._fitted):
            mass *= factor[..., None]

    def per_group(self, weight: Floats, survival: Floats) -> Floats:
        """(X, groups) alive mass of the first n columns; weight (X, n), survival (X without W, n)."""
        n = survival.shape[-1]
        mass = weight[..., :n] * survival[..., None, :]
        starts = self._starts[self._starts < n]
        out = np.zeros((*mass.shape[:-1], self._starts.size))
        np.add.reduceat(mass, starts, axis=-1, out=out[..., : starts.size])
        return out
