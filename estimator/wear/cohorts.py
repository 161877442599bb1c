"""Cohorts of parts fitted at one time, and how many of each are not yet spent at a later clock.

A *column* is one cohort: the part the car was built with, the parts fitted in one step (born at
its middle), or the part of one entry (born at its node). Columns stand in order of birth, so those
already fitted are always a prefix. Everything per (component, odometer hypothesis, column) is
prepared once; per pass point only a product of two small matrices and one exponential remain:

    S = exp( -(A_km * f**-beta_km + A_years * f**-beta_years) ),   f the life factor of the point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.wear.life import Lives

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_TINY = 1e-300  # log of no use at all; its power still underflows to zero


@dataclass(frozen=True)
class Columns:
    """Births of the cohorts of a chunk of components.

    Parameters
    ----------
    birth_clock : (c, H, 2, L) clock readings (km, years) at birth.
    birth_years : (L,) calendar time of birth, never falling.
    share : (c, Q, L) life share of what was fitted.
    before_step : (N + 1,) number of columns born before each step.
    of_entry : node -> column, for nodes with a renewal entry.
    """

    birth_clock: Floats
    birth_years: Floats
    share: Floats
    before_step: Ints
    of_entry: dict[int, int]


def lay_out(
    nodes_years: Floats, clocks: Floats, replacement_life: Floats, *, steps: int, entry_nodes: list[int]
) -> Columns:
    """Columns for `steps` steps: built, then per step its births and the entry at its end, if any.

    clocks is (c, H, 2, N + 1), replacement_life (c, Q).
    """
    middle = (clocks[..., :-1] + clocks[..., 1:]) / 2
    births, years = [clocks[..., 0]], [nodes_years[0]]
    shares = [np.ones(replacement_life.shape)]
    before = np.empty(steps + 1, dtype=np.intp)
    of_entry: dict[int, int] = {}
    for step in range(steps):
        before[step] = len(births)
        births.append(middle[..., step])
        years.append((nodes_years[step] + nodes_years[step + 1]) / 2)
        shares.append(replacement_life)
        if step + 1 in entry_nodes:
            of_entry[step + 1] = len(births)
            births.append(clocks[..., step + 1])
            years.append(nodes_years[step + 1])
            shares.append(np.ones(replacement_life.shape))
    before[steps] = len(births)
    return Columns(
        birth_clock=np.stack(births, axis=-1),
        birth_years=np.array(years),
        share=np.stack(shares, axis=-1),
        before_step=before,
        of_entry=of_entry,
    )


class Survival:
    """Survival of every column of a chunk at any clock reading.

    Parameters
    ----------
    lives : of the chunk's c components.
    life_factor : (c, Q, Z).
    columns : the chunk's columns; `columns.share` must be final (see `refresh`).
    """

    def __init__(self, lives: Lives, life_factor: Floats, columns: Columns) -> None:
        self._shape = np.stack([lives.shape_km, lives.shape_years], axis=-1)  # (c, 2)
        self._log_scale = np.log(np.stack([lives.scale_km, lives.scale_years], axis=-1))
        self._columns = columns
        # minus: the product with the exponents is then the logarithm of the survival
        self.minus_power = -(life_factor[..., None] ** -self._shape[:, None, None, :])[:, None]
        self.warned = (1 - lives.warning_share)[:, None] ** -self._shape  # (c, 2)
        self._share_power = columns.share[:, :, None, :] ** -self._shape[:, None, :, None]
        c, h = columns.birth_clock.shape[:2]
        q, z = life_factor.shape[1:]
        self._used = np.empty(columns.birth_clock.size)
        self._buffer = np.empty(c * h * q * z * columns.birth_years.size)

    def exponents(self, clock_now: Floats, n: int) -> Floats:
        """(c, H, Q, 2, n) cumulative hazards of the first n columns at life factor 1.

        clock_now : (c, H, 2) clock readings now.
        """
        c, h = clock_now.shape[:2]
        used = self._used[: c * h * 2 * n].reshape(c, h, 2, n)
        np.subtract(clock_now[..., None], self._columns.birth_clock[..., :n], out=used)
        np.maximum(used, _TINY, out=used)
        np.log(used, out=used)
        used -= self._log_scale[:, None, :, None]
        used *= self._shape[:, None, :, None]
        np.exp(used, out=used)
        return used[:, :, None] * self._share_power[:, None, :, :, :n]

    def of_step(self, used: Floats, share: Floats) -> Floats:
        """(c, H, Q, Z, N) survival of parts born at mid step to its end.

        used : (c, H, 2, N) clock run from mid step to its end; share : (c, Q) their life share.
        """
        hazard = np.exp(
            (np.log(np.maximum(used, _TINY)) - self._log_scale[:, None, :, None])
            * self._shape[:, None, :, None]
        )
        power = share[:, :, None] ** -self._shape[:, None, :]
        return np.exp(self.minus_power @ (hazard[:, :, None] * power[:, None, :, :, None]))

    def alive(self, exponents: Floats) -> Floats:
        """(c, H, Q, Z, n) survival; the array is reused by the next call."""
        c, h, q, _, n = exponents.shape
        z = self.minus_power.shape[3]
        out = self._buffer[: c * h * q * z * n].reshape(c, h, q, z, n)
        np.matmul(self.minus_power, exponents, out=out)
        return np.exp(out, out=out)
