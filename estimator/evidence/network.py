"""What is left of a noisy-OR network once every finding that does not tie components is folded in.

An absent finding, and a present one with a single possible cause, is a factor on the conditions of
one component at a time: it changes weights and is gone. Only findings that are (perhaps) present
and have two or more possible causes stay open and need the recursion of
`estimator.evidence.subsets`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from estimator.evidence.frontier import Plan, plan

Floats = NDArray[np.float64]

MESSAGE_BYTES = 64 << 20  # memory meant for the messages of the grid points solved at a time


@dataclass(frozen=True, slots=True)
class Network:
    """Components, the open findings that tie them, and what the folded ones left behind.

    weight : (C, K, G), probability of each condition before the open findings, sums to 1 over K.
    log_scale : (G,), log probability of the folded findings; minus infinity if they cannot be.
    catch : (O, C, K), chance that a component in a condition causes an open finding.
    leak : (O,), chance that an open finding is caused by none of the components.
    seen : (O,), belief in (0, 1] that the finding is truly present.
    links : C bit masks of the open findings a component can cause.
    """

    weight: Floats
    log_scale: Floats
    catch: Floats
    leak: Floats
    seen: Floats
    links: tuple[int, ...]

    @property
    def grid_points(self) -> int:
        return self.weight.shape[2]

    @property
    def plan(self) -> Plan:
        return plan(self.links)

    def part(self, start: int, stop: int) -> Network:
        """The same network at some of the grid points."""
        weight = np.ascontiguousarray(self.weight[:, :, start:stop])
        return Network(weight, self.log_scale[start:stop], self.catch, self.leak, self.seen, self.links)

    def parts(self) -> Iterator[tuple[int, Network]]:
        """Grid points, from which number on, in parts whose messages fit the memory meant for them.

        One grid point is always solved whole, even where its own messages are larger.
        """
        size = max(1, MESSAGE_BYTES // max(1, self._bytes_per_grid_point()))
        for start in range(0, self.grid_points, size):
            yield start, self.part(start, min(start + size, self.grid_points))

    def _bytes_per_grid_point(self) -> int:
        conditions = self.weight.shape[1]
        kept = sum(1 << step.width for step in self.plan.steps)
        passing = max((conditions * (2 + len(s.bits)) << s.width for s in self.plan.steps), default=0)
        return 8 * (kept + passing)


def fold(prior: Floats, sensitivity: Floats, leak: Floats, seen: Floats) -> Network:
    """Fold absent findings, and those with fewer than two possible causes, into the weights.

    Parameters
    ----------
    prior : (G, C, K), sensitivity : (F, C, K), leak : (F,), all probabilities.
    seen : (F,), -1 not made, else belief in [0, 1] that the finding is present.

    Returns
    -------
    Network
        Where the folded findings are impossible its weights are the prior's.
    """
    prior = np.moveaxis(prior, 0, 2)  # (C, K, G)
    absent = np.flatnonzero(seen == 0)
    weight = prior * np.prod(1.0 - sensitivity[absent], axis=0)[:, :, None]
    log_scale = np.full(weight.shape[2], _log(1.0 - leak[absent]).sum())

    candidates = np.flatnonzero(seen > 0)
    linked = ((sensitivity[candidates] > 0) & weight.any(axis=2)).any(axis=2)  # (candidates, C)
    causes = linked.sum(axis=1)
    for row in np.flatnonzero(causes <= 1):
        finding = candidates[row]
        quiet = 1.0 - leak[finding]
        if causes[row]:
            component = int(linked[row].argmax())
            silent = quiet * (1.0 - sensitivity[finding, component])
            weight[component] *= probability_of(seen[finding], silent)[:, None]
        else:
            log_scale += _log(probability_of(seen[finding], quiet))

    total = weight.sum(axis=1)  # (C, G)
    log_scale += _log(total).sum(axis=0)
    impossible = (total == 0)[:, None, :]
    weight = np.where(impossible, prior, weight)
    weight /= np.where(impossible, 1.0, total[:, None])

    tied = causes > 1
    links = tuple(sum(1 << int(f) for f in np.flatnonzero(column)) for column in linked[tied].T)
    still_open = candidates[tied]
    return Network(
        weight=weight,
        log_scale=log_scale,
        catch=sensitivity[still_open],
        leak=leak[still_open],
        seen=seen[still_open],
        links=links,
    )


def probability_of(belief: float, silent: Any) -> Any:
    """Weight of a finding held with some belief, whose causes are all silent with chance `silent`."""
    return belief * (1.0 - silent) + (1.0 - belief) * silent


def _log(value: Any) -> Any:
    with np.errstate(divide="ignore"):  # log 0 = -inf is meant: impossible
        return np.log(value)
