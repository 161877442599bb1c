"""Sums over subsets of findings already explained: messages forward, messages back, draws back.

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

from estimator.evidence.frontier import Plan, Step

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Network:
    """The part of a noisy-OR that several components and several findings tie together.

    weight : (C, K, G), probability of each condition before the open findings, sums to 1 over K.
    catch : (O, C, K), chance that a component in a condition causes an open finding.
    leak : (O,), chance that an open finding is caused by none of the components.
    seen : (O,), belief in (0, 1] that the finding is truly present.
    """

    weight: Floats
    catch: Floats
    leak: Floats
    seen: Floats
    plan: Plan

    def chunk(self, start: int, stop: int) -> Network:
        """The same network at some of the grid points."""
        return Network(
            np.ascontiguousarray(self.weight[:, :, start:stop]), self.catch, self.leak, self.seen, self.plan
        )

    @property
    def grid_points(self) -> int:
        return self.weight.shape[2]

    def bytes_per_grid_point(self) -> int:
        """Memory of all forward messages of one grid point."""
        return 8 * sum(1 << step.width for step in self.plan.steps)


@dataclass(frozen=True, slots=True)
class Forward:
    """Forward messages: `before[j]` (S_j, G) holds the open findings just before step j mixes.

    log_evidence : (G,), minus infinity where the findings cannot occur.
    """

    before: list[Floats]
    log_evidence: Floats


def forward(net: Network) -> Forward:
    """Pass over the components in order, keeping every message for the way back."""
    grid = net.grid_points
    log_evidence = np.zeros(grid)
    message = np.ones((1, grid))
    before = []
    for step in net.plan.steps:
        message = _enter(message, step, net.leak)
        before.append(message)
        message = _by_condition(net, step, message).sum(axis=0)
        if step.close:
            for finding, bit in step.close:
                message = _close(message, bit, net.seen[finding])
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


def draw(
    net: Network, messages: Forward, counts: NDArray[np.int64], rng: np.random.Generator
) -> Iterator[tuple[int, NDArray[np.int8]]]:
    """Exact joint draws of the conditions, going back through the forward messages.

    Every draw carries the subset of findings caused up to its step. Given that subset after a
    component's turn, the component's condition and the subset before are drawn jointly.

    Parameters
    ----------
    counts : (G,) draws wanted at each grid point.

    Yields
    ------
    component, (sum counts,) conditions, draws of one grid point together and in grid order.
    """
    grid = net.grid_points
    place = np.repeat(np.arange(grid), counts)  # subset * grid + grid point: index into a flat message
    for step, before in zip(reversed(net.plan.steps), reversed(messages.before), strict=True):
        running = _by_condition(net, step, before)
        if step.close:
            place = _draw_closed_bits(running.sum(axis=0), step, net.seen, place, rng)
        np.cumsum(running, axis=0, out=running)
        level = rng.random(place.size)
        level *= running[-1].ravel().take(place)
        condition = np.zeros(place.size, dtype=np.int8)
        for table in running[:-1]:
            condition += level >= table.ravel().take(place)
        yield step.component, condition
        _draw_subset_before(net, step, before, condition, place, rng)
        if step.enter:
            place %= grid << (step.width - len(step.enter))


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


def _close(message: Floats, bit: int, seen: float) -> Floats:
    """Require a finding as far as it was seen: weight `seen` if caused, 1 - `seen` if not."""
    grid = message.shape[1]
    pair = message.reshape(-1, 2, (1 << bit) * grid)
    if seen == 1.0:
        return pair[:, 1].reshape(-1, grid)
    return ((1.0 - seen) * pair[:, 0] + seen * pair[:, 1]).reshape(-1, grid)


def _reopen(message: Floats, step: Step, seen: Floats) -> Floats:
    """Transpose of the step's `_close`s."""
    grid = message.shape[1]
    for finding, bit in reversed(step.close):
        old = message.reshape(-1, (1 << bit) * grid)
        pair = np.empty((old.shape[0], 2, old.shape[1]))
        np.multiply(old, 1.0 - seen[finding], out=pair[:, 0])
        np.multiply(old, seen[finding], out=pair[:, 1])
        message = pair.reshape(-1, grid)
    return message


def _by_condition(net: Network, step: Step, message: Floats) -> Floats:
    """Message after the step for each condition, already weighted: (K, S, G)."""
    weight = net.weight[step.component]
    stack = weight[:, None, :] * message
    grid = message.shape[1]
    for finding, bit in step.bits:
        catch, active = _catch(net, finding, step.component)
        pair = stack[:active].reshape(active, -1, 2, (1 << bit) * grid)
        pair[:, :, 1] += catch * pair[:, :, 0]
        pair[:, :, 0] *= 1.0 - catch
    return stack


def _by_condition_back(net: Network, step: Step, message: Floats) -> Floats:
    """Backward message before the step for each condition, not weighted: (K, S, G)."""
    grid = message.shape[1]
    stack = np.repeat(message[None], net.weight.shape[1], axis=0)
    for finding, bit in step.bits:
        catch, active = _catch(net, finding, step.component)
        pair = stack[:active].reshape(active, -1, 2, (1 << bit) * grid)
        pair[:, :, 0] *= 1.0 - catch
        pair[:, :, 0] += catch * pair[:, :, 1]
    return stack


def _catch(net: Network, finding: int, component: int) -> tuple[Floats, int]:
    """Chances (A, 1, 1) of the first A conditions; the rest (usually: sound) cause nothing."""
    catch = net.catch[finding, component]
    active = int(np.flatnonzero(catch)[-1]) + 1
    return catch[:active, None, None], active


def _draw_closed_bits(
    after: Floats, step: Step, seen: Floats, place: NDArray[np.intp], rng: np.random.Generator
) -> NDArray[np.intp]:
    """Put back the bits of the findings that closed here."""
    grid = after.shape[1]
    tables = [after]
    for finding, bit in step.close[:-1]:
        tables.append(_close(tables[-1], bit, seen[finding]))
    for (finding, bit), table in zip(reversed(step.close), reversed(tables), strict=True):
        low = place % (grid << bit)
        place = 2 * place - low
        caused_place = place + (grid << bit)
        if seen[finding] == 1.0:
            place = caused_place
            continue
        flat = table.ravel()
        caused = seen[finding] * flat.take(caused_place)
        either = caused + (1.0 - seen[finding]) * flat.take(place)
        place = np.where(rng.random(place.size) * either < caused, caused_place, place)
    return place


def _draw_subset_before(
    net: Network,
    step: Step,
    before: Floats,
    condition: NDArray[np.int8],
    place: NDArray[np.intp],
    rng: np.random.Generator,
) -> None:
    """Draw the subset before the step given the one after and the condition; changes `place`.

    Each linked finding caused by now may have been caused by this component and not before. The
    bits are taken back one by one, in the reverse of the order in which they were applied.
    """
    active, undo = _undo_tables(net, step, before)
    rows = np.flatnonzero(condition < active)
    if not rows.size:
        return
    grid = before.shape[1]
    now = place.take(rows)
    offset = condition.take(rows) * np.intp(before.size)
    for (_, bit), table in zip(reversed(step.bits), reversed(undo), strict=True):
        is_new = rng.random(rows.size) < table.ravel().take(offset + now)
        now -= is_new * np.intp(grid << bit)
    place[rows] = now


def _undo_tables(net: Network, step: Step, before: Floats) -> tuple[int, list[Floats]]:
    """For each linked finding, the chance that a caused one was not yet caused before its bit.

    Returns
    -------
    active : number of leading conditions that cause anything.
    tables : per bit (active, S, G), zero where the finding is not caused; bits applied in order.
    """
    grid = before.shape[1]
    active = max(_catch(net, finding, step.component)[1] for finding, _ in step.bits)
    stack = np.repeat(before[None], active, axis=0)
    tables = []
    for finding, bit in step.bits:
        catch = net.catch[finding, step.component, :active, None, None]
        pair = stack.reshape(active, -1, 2, (1 << bit) * grid)
        new = catch * pair[:, :, 0]
        pair[:, :, 1] += new
        pair[:, :, 0] *= 1.0 - catch
        table = np.zeros_like(pair)
        np.divide(new, pair[:, :, 1], out=table[:, :, 1], where=pair[:, :, 1] > 0)
        tables.append(table)
    return active, tables
