"""Exact joint draws of the conditions: back through the forward messages.

Every draw carries the subset of findings caused up to its step. Given that subset after a
component's turn, the component's condition and the subset before it are drawn; what remains at the
first step is the empty subset. Everything a draw needs is looked up in tables over subsets and grid
points, so a linked component costs little more than one that no finding touches.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from estimator.evidence import subsets
from estimator.evidence.frontier import Step
from estimator.evidence.network import Network
from estimator.evidence.subsets import Forward
from estimator.streams import whole_numbers

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]

_TOP = 2**32 - 1  # the largest whole number of 32 bits


def joint_draws(net: Network, counts: Counts, rng: np.random.Generator) -> tuple[NDArray[np.int8], Floats]:
    """Draw the conditions of all components given the findings.

    Parameters
    ----------
    counts : (G,) draws wanted at each grid point.

    Returns
    -------
    draws : (sum counts, C), draws of one grid point together and in grid order.
    log_evidence : (G,), minus infinity where the findings are impossible; draws of such a grid
        point mean nothing.
    """
    draws = _independent_draws(net.weight, counts, rng)
    log_evidence = net.log_scale.copy()
    ends = np.concatenate(([0], np.cumsum(counts)))
    for start, part in net.parts():
        stop = start + part.grid_points
        messages = subsets.forward(part)
        log_evidence[start:stop] += messages.log_evidence
        for component, condition in _tied_draws(part, messages, counts[start:stop], rng):
            draws[ends[start] : ends[stop], component] = condition
    return draws, log_evidence


def _independent_draws(weight: Floats, counts: Counts, rng: np.random.Generator) -> NDArray[np.int8]:
    """Draws of components that no open finding ties together: one number each against the thresholds between its
    conditions, to 32 binary places.
    """
    running = np.cumsum(weight, axis=1)
    running /= running[:, -1:]
    edges = np.ceil(running[:, :-1].transpose(2, 1, 0) * (_TOP + 1))  # (G, K - 1, C)
    edge = np.ascontiguousarray(np.minimum(edges, _TOP).astype(np.uint32))
    draws = np.zeros((int(counts.sum()), weight.shape[0]), dtype=np.int8)
    start = 0
    for g in np.flatnonzero(counts):
        block = draws[start : start + int(counts[g])]
        number = whole_numbers(rng, block.shape, np.uint32)
        np.minimum(
            number, _TOP - 1, out=number
        )  # below an edge of 1: a last condition of weight 0 is never drawn
        for above in edge[g]:
            block += number >= above
        start += len(block)
    return draws


def _tied_draws(
    net: Network, messages: Forward, counts: Counts, rng: np.random.Generator
) -> Iterator[tuple[int, NDArray[np.int8]]]:
    """Component by component, conditions (sum counts,) drawn from the last step back to the first."""
    grid = net.grid_points
    place = np.repeat(np.arange(grid), counts)  # subset * grid + grid point: index into a flat message
    for step, before in zip(reversed(net.plan.steps), reversed(messages.before), strict=True):
        running = subsets.by_condition(net, step, before)
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


def _draw_closed_bits(
    after: Floats, step: Step, seen: Floats, place: NDArray[np.intp], rng: np.random.Generator
) -> NDArray[np.intp]:
    """Put back the bits of the findings that closed here."""
    grid = after.shape[1]
    tables = [after]
    for finding, bit in step.close[:-1]:
        tables.append(subsets.close(tables[-1], bit, seen[finding]))
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
    active = max(subsets.active_catch(net, finding, step.component)[1] for finding, _ in step.bits)
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
