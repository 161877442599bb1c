"""What happens inside one step: how failures are spread over it, and how many are still fitted at its end.

A part that fails early in a step has more time to be renewed before its end than one that fails late.
Failures of older cohorts grow with the hazard, or thin out fast where silence has removed what was
renewed; taken as uniform, P(spent) under coverage with a short deferral comes out up to 15 % too
high at quarterly steps. Taken as exponential, with the growth seen from step to step, halving the step
changes it by less than 0.5 %.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

AT_ONCE_YEARS = 1e-6  # a shorter deferral counts as this
_TINY = 1e-300
_MOST_GROWTH = 5.0


@dataclass(frozen=True)
class StepShares:
    """What a step of one length does, whatever the history; each (c, 1, Q, 1, 1).

    Parameters
    ----------
    left : e = exp(-h / D), share of the spent still fitted at its end.
    renewed : q1, share of those who fail in it, at a uniform moment, that are renewed before its end.
    held : exp(-a h), share of older parts without a precautionary renewal; held_half for half of it.
    """

    left: Floats
    renewed: Floats
    held: Floats
    held_half: Floats


def step_shares(*, deferral_years: Floats, precaution_rate: Floats, step_years: float) -> StepShares:
    """Shares for one length of step, in years of upkeep."""
    pace = step_years / np.maximum(deferral_years, AT_ONCE_YEARS)
    held_half = np.exp(-precaution_rate * (step_years / 2))
    return StepShares(np.exp(-pace), 1.0 - _phi(pace), held_half**2, held_half)


def _phi(y: Floats) -> Floats:
    """(1 - exp(-y)) / y, 1 at zero."""
    small = np.abs(y) < 1e-5
    safe = np.where(small, 1.0, y)
    return np.where(small, 1.0 - 0.5 * y, (1.0 - np.exp(-safe)) / safe)


class FailureGrowth:
    """Growth of the failures of older cohorts, from one step to the next, at every pass point.

    Parameters
    ----------
    nodes_years : (N + 1,) nodes; kept_years (N + 1,) years of upkeep at them, on which deferral runs.
    clocks : (c, H, 2, N + 1) effective clocks: where their pace jumps the growth is not known.
    deferral_years : (c, 1, Q, 1, 1).
    point_shape : (c, H, Q, Z, W).
    """

    def __init__(
        self,
        nodes_years: Floats,
        kept_years: Floats,
        clocks: Floats,
        deferral_years: Floats,
        point_shape: tuple[int, ...],
    ) -> None:
        self._nodes, self._kept = nodes_years, kept_years
        self._deferral = np.maximum(deferral_years, AT_ONCE_YEARS)
        self.density = np.zeros(point_shape)  # failures per year in the last step
        self._slope = np.zeros(point_shape)
        self._known = np.zeros(point_shape, dtype=bool)
        pace = np.diff(clocks, axis=-1) / np.diff(nodes_years)
        before = np.concatenate([pace[..., :1], pace[..., :-1]], axis=-1)
        steady = np.abs(pace - before) <= 0.2 * np.maximum(pace, before)
        self._steady = steady.all(axis=2)[:, :, None, None, None]  # (c, H, 1, 1, 1, N)

    def renewed_before_end(self, step: int, failed: Floats) -> Floats:
        """Share of those failing in this step that are renewed before its end; failed (X).

        With growth s over the step it is 1 - phi(s + u h / D) / phi(s), u the upkeep, phi(y) = (1 - exp(-y)) / y.
        The growth between the middles of two steps belongs to the node between them; half a step on
        it is extrapolated from the last two.
        """
        left, here, right = self._nodes[max(step - 1, 0)], self._nodes[step], self._nodes[step + 1]
        years = right - here
        density = failed / years
        known = (density > _TINY) & (self.density > _TINY) & self._steady[..., step]
        growth = np.zeros(density.shape)
        np.log(density / np.where(known, self.density, 1.0), out=growth, where=known)
        slope = growth / ((right - left) / 2)
        ahead = np.where(known & self._known, 1.5 * slope - 0.5 * self._slope, slope) * years
        self.density, self._slope, self._known = density, slope, known
        np.clip(ahead, -_MOST_GROWTH, _MOST_GROWTH, out=ahead)
        waited = (self._kept[step + 1] - self._kept[step]) / self._deferral
        return 1.0 - _phi(ahead + waited) / _phi(ahead)
