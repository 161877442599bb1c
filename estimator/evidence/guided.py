"""Importance sampling for networks whose frontier is too wide to be solved exactly.

Findings are relaxed one after another until the rest can be solved. A relaxed finding leaves behind
a factor exp(lambda * theta) on each of its causes, theta = -log(1 - s), which bounds the probability
of the finding from above once lambda is chosen well; because it factorises, it only changes weights.
The relaxed network is then sampled exactly, and every draw is weighted by how much the relaxed
findings differ from their bounds. Weights are bounded, so their effective sample size means
something.

References
----------
Jaakkola & Jordan, "Variational probabilistic inference and the QMR-DT network", Journal of
Artificial Intelligence Research 10, 1999, section 4 (the bound); Owen, *Monte Carlo theory, methods
and examples*, chapter 9 (effective sample size of importance weights).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from estimator.evidence import subsets
from estimator.evidence.backward_draws import Counts, joint_draws
from estimator.evidence.frontier import plan
from estimator.evidence.network import Network, probability_of

Floats = NDArray[np.float64]

METHOD = "importance sampling"
_LARGEST_THETA = 8.0  # a guide may treat s = 1 as 0.9997
_SLOPE_RANGE = (1e-6, 20.0)
_ROUNDS = 4  # of improving the bounds together
_POSTERIOR_DRAWS = 200_000  # in all; at least the next line's number for each grid point
_LEAST_DRAWS = 2_000
_DRAWS_PER_RESULT = 8
_ROWS_AT_A_TIME = 200_000


@dataclass(frozen=True, slots=True)
class Guide:
    """A relaxed network that can be sampled, and the factors its draws were tilted by.

    net : the relaxed network; its log_scale includes what the tilted weights were divided by.
    relaxed : numbers of the relaxed findings in the original network.
    slope : (len(relaxed), G), lambda of each.
    """

    net: Network
    relaxed: NDArray[np.intp]
    slope: Floats


@dataclass(frozen=True, slots=True)
class Weighted:
    """Draws (n, C) of one grid point, their weights (n,), and the log of the evidence."""

    draws: NDArray[np.int8]
    weight: Floats
    log_evidence: float

    @property
    def ess(self) -> float:
        """Effective sample size, (sum w)**2 / sum w**2; 0 if no draw has weight."""
        square = float((self.weight**2).sum())
        return float(self.weight.sum()) ** 2 / square if square > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Estimate:
    """marginal (C, K, G), log_evidence (G,), and the effective sample size of each grid point."""

    marginal: Floats
    log_evidence: Floats
    ess: Floats


def guide_frontier(grid_points: int) -> int:
    """Most findings open at once in the relaxed network: fewer when it is solved at many points."""
    return max(11, 15 - (grid_points - 1).bit_length())


def estimate(net: Network) -> Estimate:
    """Marginals and evidence by importance sampling, the same on every call (seed 0)."""
    rng = np.random.default_rng(0)
    each = max(_LEAST_DRAWS, _POSTERIOR_DRAWS // net.grid_points)
    counts = np.full(net.grid_points, each, dtype=np.int64)
    marginal = net.weight.copy()
    log_evidence, ess = np.empty(net.grid_points), np.empty(net.grid_points)
    conditions = np.arange(net.weight.shape[1])
    for point, sample in enumerate(_weighted_draws(net, counts, rng)):
        log_evidence[point], ess[point] = sample.log_evidence, sample.ess
        if sample.weight.any():
            share = sample.weight / sample.weight.sum()
            for condition in conditions:
                marginal[:, condition, point] = share @ (sample.draws == condition)
    return Estimate(marginal=marginal, log_evidence=log_evidence, ess=ess)


def resampled_draws(
    net: Network, counts: Counts, rng: np.random.Generator
) -> tuple[NDArray[np.int8], Floats]:
    """Draws in proportion to their importance weights; arguments and result as `joint_draws`.

    Several draws are made for each one kept. One of high weight may be kept more than once.
    """
    kept, log_evidence = [], np.empty(net.grid_points)
    tried = np.where(counts > 0, np.maximum(_LEAST_DRAWS, _DRAWS_PER_RESULT * counts), _LEAST_DRAWS)
    for point, sample in enumerate(_weighted_draws(net, tried, rng)):
        log_evidence[point] = sample.log_evidence
        if not counts[point] or not sample.weight.any():
            kept.append(np.zeros((counts[point], net.weight.shape[0]), dtype=np.int8))
            continue
        level = np.cumsum(sample.weight)
        wanted = (np.arange(counts[point]) + rng.random()) * (level[-1] / counts[point])
        rows = np.minimum(np.searchsorted(level, wanted, side="right"), level.size - 1)
        kept.append(sample.draws[rng.permutation(rows)])
    return np.concatenate(kept), log_evidence


def relax(net: Network, frontier: int) -> Guide:
    """Relax the findings with most causes until no more than `frontier` are open at once."""
    links, dropped = list(net.links), list[int]()
    number_of_causes = {f: sum(mask >> f & 1 for mask in links) for f in range(net.leak.size)}
    while (width := plan(tuple(links)).width) > frontier:
        for _ in range(max(1, (width - frontier) // 2)):
            finding = max(number_of_causes, key=lambda f: (number_of_causes[f], f))
            del number_of_causes[finding]
            dropped.append(finding)
            links = [mask & ~(1 << finding) for mask in links]
    relaxed = np.array(sorted(dropped), dtype=np.intp)
    slope = np.zeros((relaxed.size, net.grid_points))
    for row, finding in enumerate(relaxed):
        weight = _tilted(net, relaxed, slope, tuple(links)).net.weight
        slope[row] = _slope_alone(weight, net, finding)
    for _ in range(_ROUNDS):
        guide = _tilted(net, relaxed, slope, tuple(links))
        slope = _slope_together(guide, net)
    return _tilted(net, relaxed, slope, tuple(links))


def _tilted(net: Network, relaxed: NDArray[np.intp], slope: Floats, links: tuple[int, ...]) -> Guide:
    """The network with tilted weights in place of the relaxed findings."""
    exponent = np.zeros_like(net.weight)
    for finding, each in zip(relaxed, slope, strict=True):
        exponent += _theta(net.catch[finding])[:, :, None] * each
    top = exponent.max(axis=1, keepdims=True)
    weight = net.weight * np.exp(exponent - top)
    total = weight.sum(axis=1, keepdims=True)
    log_scale = net.log_scale + (np.log(total) + top).sum(axis=(0, 1))
    tilted = replace(net, weight=weight / total, log_scale=log_scale, links=links)
    return Guide(net=tilted, relaxed=relaxed, slope=slope)


def _weighted_draws(net: Network, counts: Counts, rng: np.random.Generator) -> Iterator[Weighted]:
    """Weighted draws of one grid point after another."""
    start, frontier = 0, guide_frontier(net.grid_points)
    while start < net.grid_points:
        fits = int(np.searchsorted(np.cumsum(counts[start:]), _ROWS_AT_A_TIME, side="right"))
        stop = start + max(1, fits)
        guide = relax(net.part(start, stop), frontier)
        draws, log_evidence = joint_draws(guide.net, counts[start:stop], rng)
        point = np.repeat(np.arange(stop - start), counts[start:stop])
        log_weight = _log_weight(net, guide, draws, point)
        ends = np.cumsum(counts[start:stop])
        for number, end in enumerate(ends):
            rows = slice(end - counts[start + number], end)
            top = log_weight[rows].max()
            if np.isneginf(top) or np.isneginf(log_evidence[number]):
                yield Weighted(draws[rows], np.zeros(end - rows.start), -np.inf)
                continue
            weight = np.exp(log_weight[rows] - top)
            yield Weighted(draws[rows], weight, float(log_evidence[number] + top + np.log(weight.mean())))
        start = stop


def _log_weight(net: Network, guide: Guide, draws: NDArray[np.int8], point: NDArray[np.intp]) -> Floats:
    """Log of the relaxed findings' probability over the factors that stood in for it."""
    log_weight = np.zeros(draws.shape[0])
    for finding, slope in zip(guide.relaxed, guide.slope, strict=True):
        catch = net.catch[finding]
        silent = np.full(draws.shape[0], 1.0 - net.leak[finding])
        tilt = np.zeros(draws.shape[0])
        for component in np.flatnonzero(catch.any(axis=1)):
            condition = draws[:, component]
            silent *= (1.0 - catch[component]).take(condition)
            tilt += _theta(catch[component]).take(condition)
        with np.errstate(divide="ignore"):
            log_weight += np.log(probability_of(net.seen[finding], silent))
        log_weight -= slope[point] * tilt
    return log_weight


def _theta(catch: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        return np.minimum(-np.log1p(-catch), _LARGEST_THETA)


def _slope_alone(weight: Floats, net: Network, finding: int) -> Floats:
    """Lambda (G,) of the tightest bound on one finding: 1 / (exp E[sum of theta] - 1), components
    independent with weights tilted by this lambda.

    The right side falls as lambda grows, so the crossing is found by halving on a log scale.
    """
    theta = _theta(net.catch[finding])
    linked = theta.any(axis=1)
    weight, theta = weight[linked], theta[linked][:, :, None]
    low, high = np.full(weight.shape[2], np.log(_SLOPE_RANGE[0])), np.full(weight.shape[2], 3.0)
    for _ in range(30):
        middle = (low + high) / 2
        tilted = weight * np.exp(theta * np.exp(middle))
        mean = ((tilted * theta).sum(axis=1) / tilted.sum(axis=1)).sum(axis=0)
        too_small = np.exp(middle) < _slope_from_mean(mean, net, finding)
        low, high = np.where(too_small, middle, low), np.where(too_small, high, middle)
    return np.exp(low) * _conviction(net, finding)


def _slope_together(guide: Guide, net: Network) -> Floats:
    """One damped step towards the tightest joint bound: E under the relaxed network's posterior."""
    marginal, _ = subsets.solve(guide.net)
    slope = np.empty_like(guide.slope)
    for row, finding in enumerate(guide.relaxed):
        mean = (marginal * _theta(net.catch[finding])[:, :, None]).sum(axis=(0, 1))
        wanted = _slope_from_mean(mean, net, finding) * _conviction(net, finding)
        slope[row] = np.sqrt(wanted * np.maximum(guide.slope[row], 1e-12))
    return slope


def _slope_from_mean(mean: Floats, net: Network, finding: int) -> Floats:
    base = -np.log1p(-min(net.leak[finding], 0.999))
    return np.clip(1.0 / np.expm1(np.maximum(mean + base, 1e-9)), *_SLOPE_RANGE)


def _conviction(net: Network, finding: int) -> float:
    """A finding believed less than fully is tilted less; one doubted more than believed not at all."""
    return max(0.0, 2.0 * net.seen[finding] - 1.0)
