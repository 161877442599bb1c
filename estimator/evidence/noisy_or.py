"""Findings and their causes: a noisy-OR network solved exactly.

A check f is present with probability

    1 - (1 - leak_f) * prod_i (1 - s[f, i, condition_i]),

conditions of the components i being independent beforehand. The leak stands for a harmless or
unmodelled cause and is one more independent cause of its own (tools differ here: some fold the leak
into every link instead). One finding informs every component it could come from, and a cause that
is confirmed explains the finding away from the others.

Absent findings factorise over components and only change their weights. Findings present, or held
with a belief between 0 and 1, are solved by the recursion of `estimator.evidence.subsets` over the
findings open at the frontier of an elimination order.

References
----------
Pearl, *Probabilistic Reasoning in Intelligent Systems*, 1988, section 4.3 (noisy-OR).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estimator.evidence import guided, subsets
from estimator.evidence.backward_draws import joint_draws
from estimator.evidence.network import Network, fold

Floats = NDArray[np.float64]

MAX_FRONTIER = 18  # two to this many numbers a message; beyond, an approximate method is named


class ImpossibleEvidence(ValueError):
    """The findings cannot occur together: their probability is zero.

    finding : index of a finding that nothing in the network can account for, alone or, if
        `alone` is false, together with the findings of lower index.
    """

    def __init__(self, finding: int, *, alone: bool, present: bool) -> None:
        self.finding, self.alone, self.present = finding, alone, present
        state = "present" if present else "absent"
        given = "" if alone else " together with the findings before it"
        super().__init__(f"finding {finding} cannot be {state}{given}: its probability is zero.")


@dataclass(frozen=True, slots=True, kw_only=True)
class NoisyOrPosterior:
    """What the findings say about the components.

    marginal : (C, K) or (G, C, K), probability of each condition. At a grid point where the
        findings are impossible (log_evidence minus infinity) it is the prior.
    log_evidence : scalar or (G,), natural log of the probability of the findings.
    present : findings held with a belief above zero.
    frontier : most findings open at once in the recursion.
    method : "exact", or the name of the approximation.
    ess : effective sample size of an approximation (least over the grid), None if exact.
    """

    marginal: Floats
    log_evidence: Floats
    present: int
    frontier: int
    method: str
    ess: float | None


@dataclass(frozen=True, eq=False)
class NoisyOr:
    """A noisy-OR network of findings over components with K conditions each.

    Parameters
    ----------
    prior : (C, K) or (G, C, K)
        Probability of each condition, sums to 1 over K; G grid points share one structure.
    sensitivity : (F, C, K)
        Chance in [0, 1] that component i in condition k causes finding f. Normally zero for the
        last condition (sound).
    leak : (F,)
        Chance in [0, 1] that finding f is caused by nothing in the network.
    max_frontier : int
        Most findings open at once that are still solved exactly; beyond, importance sampling
        (`estimator.evidence.guided`) is used and named in the result.

    Raises
    ------
    ValueError
        If shapes do not fit, a number is NaN or outside [0, 1], or a prior does not sum to 1.
    """

    prior: Floats
    sensitivity: Floats
    leak: Floats
    max_frontier: int = MAX_FRONTIER

    def __post_init__(self) -> None:
        prior = _probabilities("prior", self.prior)
        sensitivity = _probabilities("sensitivity", self.sensitivity)
        leak = _probabilities("leak", self.leak)
        if prior.ndim not in (2, 3):
            raise ValueError(f"prior must have shape (C, K) or (G, C, K), got {prior.shape}.")
        if prior.ndim == 3 and prior.shape[0] == 0:
            raise ValueError("prior has no grid points.")
        if sensitivity.ndim != 3 or sensitivity.shape[1:] != prior.shape[-2:]:
            raise ValueError(
                f"sensitivity must have shape (F, {prior.shape[-2]}, {prior.shape[-1]}) to fit the prior, "
                f"got {sensitivity.shape}."
            )
        if leak.shape != sensitivity.shape[:1]:
            raise ValueError(
                f"leak must have shape {sensitivity.shape[:1]}, one per finding, got {leak.shape}."
            )
        total = prior.sum(axis=-1, keepdims=True)
        if (np.abs(total - 1.0) > 1e-6).any():
            place = tuple(int(i) for i in np.unravel_index(np.abs(total - 1).argmax(), total.shape)[:-1])
            raise ValueError(f"prior at {place} sums to {total[place][0]:.9g} over its conditions, not to 1.")
        for name, value in (("prior", prior / total), ("sensitivity", sensitivity), ("leak", leak)):
            value.setflags(write=False)
            object.__setattr__(self, name, value)

    @property
    def grid_points(self) -> int:
        """Number of grid points, 1 for a prior without a grid."""
        return self.prior.shape[0] if self.prior.ndim == 3 else 1

    def posterior(self, findings: ArrayLike) -> NoisyOrPosterior:
        """Probability of every condition of every component given the findings.

        Parameters
        ----------
        findings : (F,)
            -1 where the check was not made, else the belief in [0, 1] that it is present:
            0 absent, 1 present, between for a reading near its limit.

        Raises
        ------
        ValueError
            If the shape does not fit or a number is NaN or neither -1 nor in [0, 1].
        ImpossibleEvidence
            If the findings have probability zero at every grid point.
        """
        seen = self._findings(findings)
        net = self._network(seen)
        exact = net.plan.width <= self.max_frontier
        if exact:
            marginal, log_evidence = subsets.solve(net)
            method, ess = "exact", None
        else:
            estimate = guided.estimate(net)
            marginal, log_evidence = estimate.marginal, estimate.log_evidence
            method, ess = guided.METHOD, float(estimate.ess.min())
        if np.isneginf(log_evidence).all():
            raise self._impossible(seen)
        grid_first = np.moveaxis(marginal, 2, 0)
        batch = self.prior.ndim == 3
        return NoisyOrPosterior(
            marginal=np.ascontiguousarray(grid_first if batch else grid_first[0]),
            log_evidence=log_evidence if batch else log_evidence[0],
            present=int((seen > 0).sum()),
            frontier=net.plan.width,
            method=method,
            ess=ess,
        )

    def sample(self, findings: ArrayLike, n: int | ArrayLike, rng: np.random.Generator) -> NDArray[np.int8]:
        """Joint draws of all conditions given the findings.

        Parameters
        ----------
        findings : (F,), as for `posterior`.
        n : int, or (G,) counts for a prior with a grid.
        rng : generator; the same state gives the same draws.

        Returns
        -------
        (n, C) int8 condition numbers; with a grid (sum n, C), rows of one grid point together
        and in grid order.

        Raises
        ------
        ValueError, ImpossibleEvidence
            As `posterior`; also if `n` is negative or does not fit the grid, or if draws are
            wanted at a grid point where the findings are impossible.
        """
        seen = self._findings(findings)
        counts = self._counts(n)
        net = self._network(seen)
        if net.plan.width <= self.max_frontier:
            draws, log_evidence = joint_draws(net, counts, rng)
        else:
            draws, log_evidence = guided.resampled_draws(net, counts, rng)
        dead = np.isneginf(log_evidence) & (counts > 0)
        if dead.any():
            raise self._impossible(seen, int(dead.argmax()))
        return draws

    def leak_explains(self, findings: ArrayLike, conditions: ArrayLike) -> Floats:
        """Chance that a finding has none of the components behind it, given their conditions.

        With P0 = prod_i (1 - s) over the components as they are: leak P0 / (1 - (1 - leak) P0).

        Parameters
        ----------
        findings : (F,), as for `posterior`.
        conditions : (n, C) condition numbers, as from `sample`.

        Returns
        -------
        (n, F); for a belief q between 0 and 1 the chance that it is present and harmless; zero
        for findings absent or not made.
        """
        seen = self._findings(findings)
        state = np.asarray(conditions)
        if state.ndim != 2 or state.shape[1] != self.prior.shape[-2]:
            raise ValueError(f"conditions must have shape (n, {self.prior.shape[-2]}), got {state.shape}.")
        if state.size and (state.min() < 0 or state.max() >= self.prior.shape[-1]):
            raise ValueError(f"conditions must be 0 .. {self.prior.shape[-1] - 1}.")
        explains = np.zeros((state.shape[0], seen.size))
        linked = np.flatnonzero(self.sensitivity[seen > 0].any(axis=(0, 2)))
        column = dict(zip(linked.tolist(), np.ascontiguousarray(state[:, linked].T), strict=True))
        for finding in np.flatnonzero(seen > 0):
            quiet = np.ones(state.shape[0])
            for component in np.flatnonzero(self.sensitivity[finding].any(axis=1)):
                caught = self.sensitivity[finding, component]
                for condition in np.flatnonzero(caught):
                    quiet *= 1.0 - caught[condition] * (column[int(component)] == condition)
            leak, belief = self.leak[finding], seen[finding]
            harmless = belief * leak * quiet
            total = belief * (1.0 - (1.0 - leak) * quiet) + (1.0 - belief) * (1.0 - leak) * quiet
            explains[:, finding] = np.divide(harmless, total, out=np.zeros_like(total), where=total > 0)
        return explains

    def _findings(self, findings: ArrayLike) -> Floats:
        seen = np.asarray(findings, dtype=float)
        if seen.shape != self.leak.shape:
            raise ValueError(f"findings must have shape {self.leak.shape}, one per check, got {seen.shape}.")
        wrong = ~((seen == -1) | ((seen >= 0) & (seen <= 1)))
        if wrong.any():
            place = int(wrong.argmax())
            raise ValueError(f"finding {place} is {seen[place]:g}; allowed are -1 (not made) and 0 to 1.")
        return seen

    def _counts(self, n: int | ArrayLike) -> NDArray[np.int64]:
        counts = np.asarray(n)
        if counts.dtype.kind not in "iu":
            raise ValueError(f"n must be a whole number or whole numbers, got {counts.dtype}.")
        wanted: tuple[int, ...] = (self.grid_points,) if self.prior.ndim == 3 else ()
        if counts.shape != wanted:
            raise ValueError(f"n must have shape {wanted} to fit the prior's grid, got {counts.shape}.")
        if (counts < 0).any():
            raise ValueError(f"n must not be negative, got {counts.min()}.")
        return counts.reshape(-1).astype(np.int64)

    def _network(self, seen: Floats) -> Network:
        prior = self.prior if self.prior.ndim == 3 else self.prior[None]
        return fold(prior, self.sensitivity, self.leak, seen)

    def _impossible(self, seen: Floats, grid_point: int | None = None) -> ImpossibleEvidence:
        """Which finding has probability zero: alone if there is one, else after those before it."""
        prior = self.prior
        if grid_point is not None:
            prior = prior.reshape(-1, *prior.shape[-2:])[grid_point]
        net = NoisyOr(prior, self.sensitivity, self.leak, self.max_frontier)
        made = np.flatnonzero(seen >= 0)
        for single in made:
            if not net._possible(seen, made=np.array([single])):
                return ImpossibleEvidence(int(single), alone=True, present=bool(seen[single] > 0))
        low, high = 1, made.size  # the first `high` findings are impossible together
        while low < high:
            middle = (low + high) // 2
            if net._possible(seen, made=made[:middle]):
                low = middle + 1
            else:
                high = middle
        finding = int(made[high - 1])
        return ImpossibleEvidence(finding, alone=False, present=bool(seen[finding] > 0))

    def _possible(self, seen: Floats, *, made: NDArray[np.intp]) -> bool:
        some = np.full_like(seen, -1.0)
        some[made] = seen[made]
        net = self._network(some)
        if net.plan.width > self.max_frontier:
            return bool((guided.estimate(net).log_evidence > -np.inf).any())
        return bool((_evidence(net) > -np.inf).any())


def _evidence(net: Network) -> Floats:
    """Exact log evidence (G,), without the way back."""
    parts = [subsets.forward(part).log_evidence for _, part in net.parts()]
    return net.log_scale + np.concatenate(parts)


def _probabilities(name: str, value: ArrayLike) -> Floats:
    array = np.array(value, dtype=float)
    wrong = ~((array >= 0) & (array <= 1))
    if wrong.any():
        place = tuple(int(i) for i in np.argwhere(wrong)[0])
        raise ValueError(f"{name} at {place} is {array[place]:g}; it must lie in 0 to 1.")
    return array
