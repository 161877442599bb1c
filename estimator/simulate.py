"""Joint draws of what a car needs: conditions today, and the month in which the rest falls due.

Draws are made for every grid point of the shared factors in proportion to its weight (systematic sampling),
conditions jointly by the exact noisy-OR sampler, then put in random order, so that any stretch of them is a fair
sample.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.evidence.grid import GridPosterior

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
SPENT, WORN, SOUND = 0, 1, 2
BLOCK = 5_000


@dataclass(frozen=True)
class Draws:
    """point (n,) grid point of each draw; condition (n, C) int8: 0 spent, 1 worn, 2 sound."""

    point: Ints
    condition: NDArray[np.int8]

    def __len__(self) -> int:
        return int(self.point.size)


@dataclass(frozen=True)
class Needs:
    """Work needed in a block of draws, one entry an event: draw and part index, month 0 (now) to 12.

    spent : the event belongs to now because the part is spent (these stand first); the others fall due in their
    month; worn : of those, what can be seen to be worn today. worn_draw, worn_part : parts worn today and not due
    within the year: renewed only where it costs no more strip-down.
    """

    draw: Ints
    part: Ints
    month: Ints
    spent: NDArray[np.bool_]
    worn: NDArray[np.bool_]
    worn_draw: Ints
    worn_part: Ints

    def of(self, parts: NDArray[np.bool_]) -> Needs:
        """Only the needs of some parts, (C,) flags."""
        some, also = np.flatnonzero(parts[self.part]), np.flatnonzero(parts[self.worn_part])
        return Needs(
            draw=self.draw.take(some),
            part=self.part.take(some),
            month=self.month.take(some),
            spent=self.spent.take(some),
            worn=self.worn.take(some),
            worn_draw=self.worn_draw.take(also),
            worn_part=self.worn_part.take(also),
        )


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
    point = np.minimum(np.searchsorted(edges, places * edges[-1], side="right"), grid.weight.size - 1)
    counts = np.bincount(point, minlength=grid.weight.size)
    condition = np.empty((n, grid.prior.shape[1]), dtype=np.int8)
    start = np.concatenate([[0], np.cumsum(counts)])
    for level in sorted(grid.networks):
        rows, network = grid.networks[level]
        made = network.sample(belief, counts[rows], rng)
        at = np.concatenate([np.arange(start[g], start[g + 1]) for g in rows]) if rows.size else rows
        condition[at] = made
    order = rng.permutation(n)
    return Draws(point[order].astype(np.intp), condition[order])


def side_stream(seed: np.random.SeedSequence, number: int) -> np.random.Generator:
    """Generator of a seed's child, the same however often it is asked for (`spawn` gives another every time)."""
    child = np.random.SeedSequence(entropy=seed.entropy, spawn_key=(*seed.spawn_key, number))
    return np.random.Generator(np.random.SFC64(child))


def damage_pairs(
    index: dict[str, int], damages: list[tuple[str, str, float, float]]
) -> tuple[tuple[int, int, float], ...]:
    """(i, j, chance) that a spent part i has spent part j too: (id, id, yearly rate, years it stays) given.

    It has been spent for half of the time it usually stays so, and not beyond three years' harm: a limit of the
    model, as is that only its cost is counted, not its being seen.
    """
    return tuple(
        (index[a], index[b], float(-np.expm1(-rate * min(years, 6.0) / 2)))
        for a, b, rate, years in damages
        if a in index and b in index
    )


def needs_of_block(
    draws: Draws,
    due: NDArray[np.float32],
    *,
    start: int,
    stop: int,
    damages: tuple[tuple[int, int, float], ...],
    rng: np.random.Generator,
) -> Needs:
    """Events of the draws start..stop.

    due (G, C, 2, M) : chance of need within months 1..M given worn, given sound. Draw numbers are counted from
    `start`. Secondary damage makes a part spent on top of what is seen: it acts on cost only.
    """
    condition = draws.condition[start:stop]
    point = draws.point[start:stop]
    parts = condition.shape[1]
    spent = _damaged(condition == SPENT, damages, rng)
    year = np.ascontiguousarray(due[..., -1])  # (G, C, 2)
    u = rng.random(condition.shape, dtype=np.float32)
    worn_draw, worn_part = _places((condition == WORN) & ~spent)
    u_worn = u[worn_draw, worn_part]
    falls = u_worn < year[point[worn_draw], worn_part, 0]
    maybe = np.flatnonzero(u < year[..., 1].max(axis=0))  # few: then looked at one by one
    draw = maybe // parts
    part = maybe - draw * parts
    sound = (condition.ravel()[maybe] == SOUND) & ~spent.ravel()[maybe]
    sound &= u.ravel()[maybe] < year[point[draw], part, 1]
    due_draw = np.concatenate([worn_draw[falls], draw[sound]])
    due_part = np.concatenate([worn_part[falls], part[sound]])
    kind = np.repeat([0, 1], [int(falls.sum()), int(sound.sum())])
    curve = due[point[due_draw], due_part, kind]  # (E, M)
    month = 1 + (u[due_draw, due_part][:, None] >= curve).sum(axis=1)
    now_draw, now_part = _places(spent)
    return Needs(
        draw=np.concatenate([now_draw, due_draw]),
        part=np.concatenate([now_part, due_part]),
        month=np.concatenate([np.zeros(now_draw.size, np.intp), np.minimum(month, due.shape[-1])]),
        spent=np.arange(now_draw.size + due_draw.size) < now_draw.size,
        worn=np.concatenate([np.zeros(now_draw.size, bool), kind == 0]),
        worn_draw=worn_draw[~falls],
        worn_part=worn_part[~falls],
    )


def _damaged(
    spent: NDArray[np.bool_], damages: tuple[tuple[int, int, float], ...], rng: np.random.Generator
) -> NDArray[np.bool_]:
    """What is spent, and what it has spoilt."""
    if not damages:
        return spent
    by_part = np.ascontiguousarray(spent.T)
    for i, j, chance in damages:
        hit = np.flatnonzero(by_part[i] > by_part[j])
        if hit.size:
            by_part[j, hit[rng.random(hit.size, dtype=np.float32) < chance]] = True
    return np.ascontiguousarray(by_part.T)


def _places(flags: NDArray[np.bool_]) -> tuple[Ints, Ints]:
    """Row and column of every true flag, in order: np.nonzero, faster on few true among many."""
    row = np.repeat(np.arange(flags.shape[0]), np.count_nonzero(flags, axis=1))
    return row, np.flatnonzero(flags) - row * flags.shape[1]
