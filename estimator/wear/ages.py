"""When the part fitted today was fitted: mass per age bin, of parts alive and of parts spent.

The forward pass knows the age of every cohort not yet spent, but only the total of those spent.
This ledger splits the spent by age bin: at a few nodes (all of them near today) it compares the
alive mass per bin with the last look; what has gone missing failed in between, and what has been
added to the spent since is shared out in that proportion.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_EDGES = np.array([0, 0.25, 0.5, 1, 1.5, 2, 3, 4, 5, 7, 10, 13, 16, 20, 25, 30, 40, 50, 60, 80, 100.0])
_TINY = 1e-300


def age_edges(age_today: float) -> Floats:
    """(A + 1,) bin edges in years from 0 to the car's age."""
    return np.append(_EDGES[age_today - 1e-6 > _EDGES], age_today)


def look_nodes(nodes_years: Floats, today: int) -> set[int]:
    """Nodes at which the ledger looks: every one of the last 3 years, then more and more rarely."""
    looks, last = {today}, nodes_years[today]
    for node in range(today - 1, -1, -1):
        back = nodes_years[today] - nodes_years[node]
        gap = 0.0 if back <= 3 else 1.0 if back <= 20 else 2.5
        if last - nodes_years[node] >= gap - 1e-9:
            looks.add(node)
            last = nodes_years[node]
    return looks


class AgeLedger:
    """Mass per age bin at every pass point of a chunk, X = (c, H, Q, Z, W).

    The last bin holds the part the car was built with, apart from all others.
    """

    def __init__(self, birth_years: Floats, age_today: float, point_shape: tuple[int, ...]) -> None:
        edges = age_edges(age_today)
        self.bins = edges.size  # A age bins and the original
        age = np.clip(age_today - birth_years, 0, None)
        self.bin_of = np.clip(np.searchsorted(edges, age, side="right") - 1, 0, self.bins - 2)
        self.bin_of[0] = self.bins - 1
        self.middle = np.append((edges[:-1] + edges[1:]) / 2, age_today)
        self.alive = np.zeros((*point_shape, self.bins))
        self.alive[..., -1] = 1.0
        self.spent = np.zeros_like(self.alive)
        self._kept = np.ones((1,) * len(point_shape))

    def stepped(self, *, column: int, fitted: Floats, kept: Floats, held: Floats) -> None:
        """One step: `fitted` new parts, the spent keep the share `kept`, the older cohorts `held`."""
        self.alive *= held[..., None]
        self.alive[..., self.bin_of[column]] += fitted
        self._kept = self._kept * kept

    def look(self, alive_now: Floats, spent_now: Floats) -> None:
        """Share out what became spent since the last look; alive_now is (X, bins), spent_now (X)."""
        failed = np.maximum(self.alive - alive_now, 0.0)
        old = self._kept[..., None] * self.spent
        added = np.maximum(spent_now - old.sum(axis=-1), 0.0)
        old += failed * (added / np.maximum(failed.sum(axis=-1), _TINY))[..., None]
        self.spent = old * (spent_now / np.maximum(old.sum(axis=-1), _TINY))[..., None]
        self.alive = alive_now
        self._kept = np.ones_like(self._kept)

    def per_bin(self, weight: Floats, survival: Floats) -> Floats:
        """(X, bins) alive mass of the first n columns; weight (X, n), survival (X without W, n)."""
        n = survival.shape[-1]
        mass = weight[..., :n] * survival[..., None, :]
        starts = np.flatnonzero(np.diff(self.bin_of[:n], prepend=-1))
        out = np.zeros((*mass.shape[:-1], self.bins))
        out[..., self.bin_of[starts]] = np.add.reduceat(mass, starts, axis=-1)
        return out
