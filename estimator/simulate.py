"""Joint draws of what a car needs: conditions today, and the month in which the rest falls due.

Draws are made for every grid point of the shared factors in proportion to its weight (systematic sampling),
conditions jointly by the exact noisy-OR sampler, then put in random order, so that any stretch of them is a fair
sample.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.car import Car
from estimator.evidence.grid import GridPosterior
from estimator.streams import struck

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]
States = NDArray[np.int8]
SPENT, WORN, SOUND = 0, 1, 2
BLOCK = 5_000


@dataclass(frozen=True)
class Draws:
    """point (n,) grid point of each draw; condition (n, C) int8: 0 spent, 1 worn, 2 sound."""

    point: Ints
    condition: States

    def __len__(self) -> int:
        return int(self.point.size)


@dataclass(frozen=True)
class Needs:
    """Work needed in a block of draws, one entry an event: index of the draw and of the part.

    spent_draw, spent_part : spent today, in order of draws. due_draw, due_part : fall due in month due_month, 1 to 12;
    due_worn : of those, what can be seen to be worn today. worn_draw, worn_part : worn today and not due within the
    year: renewed only where it costs no more strip-down.
    """

    spent_draw: Ints
    spent_part: Ints
    due_draw: Ints
    due_part: Ints
    due_month: Ints
    due_worn: Flags
    worn_draw: Ints
    worn_part: Ints


def draw_conditions(grid: GridPosterior, belief: Floats, *, n: int, rng: np.random.Generator) -> Draws:
    """n joint draws from the posterior.

    Raises
    ------
    ValueError
        If n < 1.
    """
    if n < 1:
        raise ValueError(f"The number of draws must be at least 1, got {n}.")
    edges = np.cumsum(grid.weight)
    places = (np.arange(n) + rng.random()) / n
    chosen = np.minimum(np.searchsorted(edges, places * edges[-1], side="right"), grid.weight.size - 1)
    counts = np.bincount(chosen, minlength=grid.weight.size)
    start = np.concatenate([[0], np.cumsum(counts)])
    place = rng.permutation(n)  # where each draw goes
    point = np.empty(n, dtype=np.intp)
    point[place] = chosen
    condition = np.empty((n, grid.prior.shape[1]), dtype=np.int8)
    for level in sorted(grid.networks):
        rows, network = grid.networks[level]
        if rows.size:
            here = np.concatenate([place[start[g] : start[g + 1]] for g in rows])
            condition[here] = network.sample(belief, counts[rows], rng)
    return Draws(point, condition)


class Prospects:
    """What one car's parts come to within the year, and what they spoil; made once, drawn from block by block.

    Secondary damage makes a part spent on top of what is seen: it acts on cost only, a limit of the model. A spent
    part has been so for half of the time it usually stays so, and not beyond three years' harm.
    """

    def __init__(self, car: Car, due: NDArray[np.float32]) -> None:
        """due (G, C, 2, M) : chance of need within months 1..M given worn, given sound."""
        self.due = due
        self._worn_year, self._sound_year = (np.ascontiguousarray(due[:, :, k, -1]) for k in (0, 1))
        self.most_sound = self._sound_year.max(axis=0).astype(float)
        harms = [
            (i, car.index[d.component], -np.expm1(-d.rate * min(part.deferral_years, 6.0) / 2))
            for i, part in enumerate(car.parts)
            for d in part.damages
            if d.component in car.index
        ]
        spoiler, spoilt, chance = zip(*harms, strict=True) if harms else ((), (), ())
        self.spoiler, self.spoilt = np.array(spoiler, np.intp), np.array(spoilt, np.intp)
        self.chance = np.array(chance, float)

    def conditions(self, draws: Draws, rows: slice, rng: np.random.Generator) -> States:
        """(n, C) conditions of a stretch of draws with what the spent parts have spoilt, and what that has."""
        condition = draws.condition[rows].copy()
        cells = condition.reshape(-1)
        row, harm = struck(self.chance, len(condition), rng)
        row *= condition.shape[1]
        source, target = row + self.spoiler.take(harm), row + self.spoilt.take(harm)
        while target.size:
            open_ = np.flatnonzero(cells.take(target) != SPENT)
            source, target = source.take(open_), target.take(open_)
            hit = np.flatnonzero(cells.take(source) == SPENT)
            if not hit.size:
                break
            cells[target.take(hit)] = SPENT
        return condition

    def needs(
        self, condition: States, point: Ints, rng: np.random.Generator, parts: Flags | None = None
    ) -> Needs:
        """Events of some draws, (n, C) conditions and (n,) grid points; of some parts only, (C,) flags."""
        wanted = np.ones(condition.shape[1], dtype=bool) if parts is None else parts
        spent_draw, spent_part = _places((condition == SPENT) & wanted)
        worn_draw, worn_part = _places((condition == WORN) & wanted)
        u_worn = rng.random(worn_draw.size, dtype=np.float32)
        year = self._worn_year.take(point.take(worn_draw) * wanted.size + worn_part)
        falls, stays = np.flatnonzero(u_worn < year), np.flatnonzero(u_worn >= year)
        sound_draw, sound_part, u_sound = self._sound_due(condition, point, wanted, rng)
        due_draw = np.concatenate([worn_draw.take(falls), sound_draw])
        due_part = np.concatenate([worn_part.take(falls), sound_part])
        u = np.concatenate([u_worn.take(falls), u_sound])
        kind = np.repeat([0, 1], [falls.size, sound_draw.size])
        curve = self.due[point.take(due_draw), due_part, kind]  # (E, M)
        month = 1 + (u[:, None] >= curve).sum(axis=1)
        return Needs(
            spent_draw=spent_draw,
            spent_part=spent_part,
            due_draw=due_draw,
            due_part=due_part,
            due_month=np.minimum(month, self.due.shape[-1]),
            due_worn=kind == 0,
            worn_draw=worn_draw.take(stays),
            worn_part=worn_part.take(stays),
        )

    def block(self, draws: Draws, rows: slice, rng: np.random.Generator, parts: Flags | None = None) -> Needs:
        """Events of a stretch of draws, numbered from its start."""
        return self.needs(self.conditions(draws, rows, rng), draws.point[rows], rng, parts)

    def _sound_due(
        self, condition: States, point: Ints, wanted: Flags, rng: np.random.Generator
    ) -> tuple[Ints, Ints, NDArray[np.float32]]:
        """Draw, part and uniform of the sound parts that fall due; few, so that only candidates are looked at."""
        n, parts = condition.shape
        hit = np.zeros((n, parts), dtype=bool)
        hit[struck(self.most_sound * wanted, n, rng)] = True
        draw, part = _places(hit)
        u = (rng.random(draw.size) * self.most_sound[part]).astype(np.float32)
        due = (condition[draw, part] == SOUND) & (u < self._sound_year[point[draw], part])
        return draw[due], part[due], u[due]


def _places(flags: Flags) -> tuple[Ints, Ints]:
    """Row and column of every true flag, in order: np.nonzero, faster on few true among many."""
    row = np.repeat(np.arange(flags.shape[0]), flags.sum(axis=1, dtype=np.int16))
    return row, np.flatnonzero(flags) - row * flags.shape[1]
