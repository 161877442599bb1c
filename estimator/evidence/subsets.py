"""Sums over subsets of the findings already explained: messages forward and back.

A message holds one number per subset of the open findings and per grid point, shape (S, G) with
S = 2**open and the grid last, so that every operation runs along contiguous memory. Bit p of the
row number says whether the finding at position p has been caused by something so far. A component
in condition k causes each linked finding with its own chance s: for one bit

    new[caused] = old[caused] + s old[not yet],      new[not yet] = (1 - s) old[not yet],

and a component's step is the mixture over its conditions of the product of these over its bits.
Every term is positive, so nothing cancels however unlikely the findings are.

References
----------
Heckerman, "A tractable inference algorithm for diagnosing multiple diseases", UAI 1989, solves the
same network by inclusion and exclusion, whose terms alternate in sign and whose work is two to the
number of findings present rather than two to the number open at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.evidence.frontier import Step
from estimator.evidence.network import Network

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Forward:
    """Forward messages: `before[j]` (S_j, G) holds the open findings just before step j mixes.

    log_evidence : (G,), minus infinity where the findings cannot occur.
    """

    before: list[Floats]
    log_evidence: Floats


def solve(net: Network) -> tuple[Floats, Floats]:
    """Exact marginals (C, K, G) and log evidence (G,)."""
    marginal, log_evidence = net.weight.copy(), net.log_scale.copy()
    for start, part in net.parts():
        grid = slice(start, start + part.grid_points)
        messages = forward(part)
        log_evidence[grid] += messages.log_evidence
        for component, chance in marginals(part, messages):
            marginal[component, :, grid] = chance
    return marginal, log_evidence


def forward(net: Network) -> Forward:
    """Pass over the components in order, keeping every message for the way back."""
    grid = net.grid_points
    log_evidence = np.zeros(grid)
    message = np.ones((1, grid))
    before = []
    for step in net.plan.steps:
        message = _enter(message, step, net.leak)
        before.append(message)
        message = by_condition(net, step, message).sum(axis=0)
        if step.close:
            for finding, bit in step.close:
                message = close(message, bit, net.seen[finding])
            total = message.sum(axis=0)
            with np.errstate(divide="ignore"):
                log_evidence += np.log(total)
            message = message / np.where(total > 0, total, 1.0)
    return Forward(before=before, log_evidence=log_evidence)


def marginals(net: Network, messages: Forward) -> Iterator[tuple[int, Floats]]:
    """Posterior probability of each condition, (K, G), of every component of the plan."""
    message = np.ones((1, net.grid_points))
    for step, before in zip(reversed(net.plan.steps), reversed(messages.before), strict=True):
        message = _reopen(message, step, net.seen)
        chances = _by_condition_back(net, step, message)
        weight = net.weight[step.component]
        joint = weight * np.einsum("sg,ksg->kg", before, chances)
        total = joint.sum(axis=0)
        possible = total > 0
        yield step.component, np.where(possible, joint / np.where(possible, total, 1.0), weight)
        message = _leave(np.einsum("kg,ksg->sg", weight, chances), step, net.leak)
        message /= np.maximum(message.max(axis=0), np.finfo(float).tiny)


def _enter(message: Floats, step: Step, leak: Floats) -> Floats:
    """Open the step's new findings: caused by their leak, or not yet."""
    for finding in step.enter:
        message = np.concatenate(((1.0 - leak[finding]) * message, leak[finding] * message))
    return message


def _leave(message: Floats, step: Step, leak: Floats) -> Floats:
    """Transpose of `_enter`."""
    for finding in reversed(step.enter):
        half = message.shape[0] // 2
        message = (1.0 - leak[finding]) * message[:half] + leak[finding] * message[half:]
    return message


def close(message: Floats, bit: int, seen: float) -> Floats:
    """Require a finding as far as it was seen: weight `seen` if caused, 1 - `seen` if not."""
    grid = message.shape[1]
    pair = message.reshape(-1, 2, (1 << bit) * grid)
    if seen == 1.0:
        return pair[:, 1].reshape(-1, grid)
    return ((1.0 - seen) * pair[:, 0] + seen * pair[:, 1]).reshape(-1, grid)


def _reopen(message: Floats, step: Step, seen: Floats) -> Floats:
    """Transpose of the step's `close`s."""
    grid = message.shape[1]
    for finding, bit in reversed(step.close):
        old = message.reshape(-1, (1 << bit) * grid)
        pair = np.empty((old.shape[0], 2, old.shape[1]))
        np.multiply(old, 1.0 - seen[finding], out=pair[:, 0])
        np.multiply(old, seen[finding], out=pair[:, 1])
        message = pair.reshape(-1, grid)
    return message


def by_condition(net: Network, step: Step, message: Floats) -> Floats:
    """Message after the step for each condition, already weighted: (K, S, G)."""
    weight = net.weight[step.component]
    stack = weight[:, None, :] * message
    grid = message.shape[1]
    for finding, bit in step.bits:
        catch, active = active_catch(net, finding, step.component)
        pair = stack[:active].reshape(active, -1, 2, (1 << bit) * grid)
        pair[:, :, 1] += catch * pair[:, :, 0]
        pair[:, :, 0] *= 1.0 - catch
    return stack


def _by_condition_back(net: Network, step: Step, message: Floats) -> Floats:
    """Backward message before the step for each condition, not weighted: (K, S, G)."""
    grid = message.shape[1]
    stack = np.repeat(message[None], net.weight.shape[1], axis=0)
    for finding, bit in step.bits:
        catch, active = active_catch(net, finding, step.component)
        pair = stack[:active].reshape(active, -1, 2, (1 << bit) * grid)
        pair[:, :, 0] *= 1.0 - catch
        pair[:, :, 0] += catch * pair[:, :, 1]
    return stack


def active_catch(net: Network, finding: int, component: int) -> tuple[Floats, int]:
    """Chances (A, 1, 1) of the first A conditions; the rest (usually: sound) cause nothing."""
    catch = net.catch[finding, component]
    active = int(np.flatnonzero(catch)[-1]) + 1
    return catch[:active, None, None], active
