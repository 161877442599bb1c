"""Why a part is thought to need doing: steps in points that add up to the probability.

Catalogue (long run) -> this car's distance and age -> history -> shared factors -> for sale -> findings. The step of
the findings is shared among them by leaving each out in turn, at the posterior mean of the grid; what that does not
account for is shown as "together".
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.evidence.findings import SPENT
from estimator.evidence.noisy_or import NoisyOr
from estimator.pipeline import Prepared

Floats = NDArray[np.float64]
SMALL = 5e-4


@dataclass(frozen=True)
class Reason:
    """One step: what it is, what to call it, and how many points of P(spent) it adds."""

    step: str
    label: str
    points: float


@dataclass(frozen=True)
class Reasons:
    """steps : per part its reasons; finding_points (F, C) : effect of each finding by leaving it out."""

    steps: tuple[tuple[Reason, ...], ...]
    finding_points: Floats


def reasons(prepared: Prepared) -> Reasons:
    """Reasons for every part; each part's points sum to its P(spent)."""
    grid, wear, has = prepared.grid, prepared.wear, prepared.shared.has
    chain = [
        ("base", "any such part in the long run", wear.base[:, SPENT] * has),
        ("age", "this car's age and distance", wear.by_age[:, SPENT] * has),
        ("history", "its papers", wear.by_history[:, SPENT] * has),
        ("shared", "care, life, rust and the like", grid.mean(grid.unsold)[:, SPENT]),
        ("for-sale", "it is for sale", grid.mean(grid.prior)[:, SPENT]),
    ]
    final = grid.mean(grid.marginal)[:, SPENT]
    points = leave_one_out(prepared)
    checks = prepared.car.catalogue.checks
    names = [checks[c].name for c in prepared.evidence.checks]
    rows = []
    for c in range(final.size):
        steps, before = [], 0.0
        for step, label, value in chain:
            steps.append(Reason(step, label, float(value[c] - before)))
            before = float(value[c])
        left = float(final[c]) - before
        for f in np.argsort(-np.abs(points[:, c])):
            if abs(points[f, c]) >= SMALL:
                steps.append(Reason(f"finding:{prepared.evidence.checks[f]}", names[f], float(points[f, c])))
                left -= float(points[f, c])
        if names:
            steps.append(Reason("together", "findings together", left))
        rows.append(tuple(steps))
    return Reasons(tuple(rows), points)


def leave_one_out(prepared: Prepared) -> Floats:
    """(F, C) P(spent) with all findings less P(spent) without one of them, at the mean grid point.

    Where so much is present that it cannot be solved exactly, each solution takes long and differs from the next by
    its sampling error: then findings are not told apart (0 here, their effect stands under "together").
    """
    evidence = prepared.evidence
    count, parts = len(evidence.checks), prepared.shared.has.size
    if count == 0 or prepared.grid.method != "exact":
        return np.zeros((count, parts))
    prior, sensitivity, leak = mean_network(prepared)
    everything = NoisyOr(prior, sensitivity, leak).posterior(evidence.belief).marginal[:, SPENT]
    points = np.zeros((count, parts))
    absent = np.flatnonzero(evidence.belief == 0)
    points[absent] = _without_absent(prior, sensitivity, leak, evidence.belief, absent, everything)
    for f in np.flatnonzero(evidence.belief > 0):
        belief = evidence.belief.copy()
        belief[f] = -1.0
        points[f] = everything - NoisyOr(prior, sensitivity, leak).posterior(belief).marginal[:, SPENT]
    return points


def mean_network(prepared: Prepared) -> tuple[Floats, Floats, Floats]:
    """Prior (C, 3), sensitivity (F, C, 3) and leak (F,) at the posterior mean of the grid."""
    grid, evidence = prepared.grid, prepared.evidence
    viewing = np.bincount(grid.p, weights=grid.weight, minlength=len(evidence.sensitivity))
    sensitivity = np.tensordot(viewing, evidence.sensitivity, axes=1)
    return grid.mean(grid.prior), sensitivity, viewing @ evidence.leak


def _without_absent(
    prior: Floats,
    sensitivity: Floats,
    leak: Floats,
    belief: Floats,
    absent: NDArray[np.intp],
    everything: Floats,
) -> Floats:
    """Leave each absent finding out: all at once, as so many grid points with that finding folded out of the prior.

    An absent finding only multiplies its parts' conditions by 1 - s. So every absent finding is folded into the
    prior first, and each row divides its own one out again.
    """
    if absent.size == 0:
        return np.zeros((0, prior.shape[0]))
    quiet = np.maximum(1 - sensitivity[absent], 1e-9)  # (A, C, K)
    folded = prior * quiet.prod(axis=0)
    rows = folded[None] / quiet
    rows /= rows.sum(axis=-1, keepdims=True)
    rest = belief.copy()
    rest[absent] = -1.0
    without = NoisyOr(rows, sensitivity, leak).posterior(rest).marginal[..., SPENT]
    return np.asarray(everything[None] - without)
