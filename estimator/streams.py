"""Random numbers: streams that stay the same however often they are asked for, and cheap whole ones."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray


def generator(seed: np.random.SeedSequence) -> np.random.Generator:
    """The generator used for draws of a seed."""
    return np.random.Generator(np.random.SFC64(seed))


def side_stream(seed: np.random.SeedSequence, number: int) -> np.random.Generator:
    """Generator of a seed's child, the same however often it is asked for (`spawn` gives another every time)."""
    return generator(np.random.SeedSequence(entropy=seed.entropy, spawn_key=(*seed.spawn_key, number)))


def whole_numbers(rng: np.random.Generator, shape: tuple[int, ...], dtype: type[Any]) -> NDArray[Any]:
    """Independent numbers over the whole range of an unsigned type, cut out of 64-bit ones: some twice to four times
    as fast as uniform fractions, and to 16 or 32 binary places as good.
    """
    n = math.prod(shape)
    per_word = 8 // np.dtype(dtype).itemsize
    words = rng.integers(0, 2**64 - 1, size=-(-n // per_word), dtype=np.uint64, endpoint=True)
    return words.view(dtype)[:n].reshape(shape)


def struck(
    chance: NDArray[Any], n: int, rng: np.random.Generator
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows 0..n-1 and columns of the cells that are hit, each cell of a column with that column's chance.

    A Poisson process of -log(1 - chance) points a cell, so that the work grows with the hits and not with the
    cells; a cell with several points is listed as often. chance (C,) >= 0; above 1 - 1e-9 it counts as that.

    References
    ----------
    Lewis & Shedler, Naval Research Logistics Quarterly 26(3), 1979, 403-413 (the process, to be thinned).
    """
    points = rng.poisson(-n * np.log1p(-np.minimum(chance, 1 - 1e-9)))
    column = np.repeat(np.arange(points.size), points)
    return rng.integers(0, n, size=column.size, dtype=np.uint32).astype(np.intp), column
