"""Networks that the noisy-OR tests share: random small ones, and large ones of two shapes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from hypothesis import strategies as st

from estimator.evidence.noisy_or import NoisyOr


@dataclass(frozen=True)
class Case:
    """prior (C, K), sensitivity (F, C, K), leak (F,), findings (F,)."""

    prior: np.ndarray
    sensitivity: np.ndarray
    leak: np.ndarray
    findings: np.ndarray

    @property
    def net(self) -> NoisyOr:
        return NoisyOr(self.prior, self.sensitivity, self.leak)


@st.composite
def cases(draw, *, beliefs=(-1.0, 0.0, 1.0, 1.0, 0.3, 0.85), conditions=(2, 3), leak_low=0.001):
    """Small random networks whose findings are possible; sound components may cause findings too."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    k = draw(st.sampled_from(conditions))
    components, findings = draw(st.integers(1, 5)), draw(st.integers(1, 5))
    density = draw(st.sampled_from([0.3, 0.6, 1.0]))
    sensitivity = rng.random((findings, components, k)) * (rng.random((findings, components, 1)) < density)
    if draw(st.booleans()):
        sensitivity[..., -1] = 0.0
    return Case(
        prior=rng.dirichlet(np.ones(k), size=components),
        sensitivity=sensitivity,
        leak=rng.uniform(leak_low, 0.4, size=findings),
        findings=rng.choice(beliefs, size=findings),
    )


def dense_network(
    rng, *, components=120, findings=80, parents=10, conditions=2, present=10, rest=-1.0
) -> Case:
    """Every finding linked to components picked from anywhere; the first findings present."""
    spent = rng.uniform(0.01, 0.2, components)
    prior = np.zeros((components, conditions))
    prior[:, 0] = spent
    prior[:, 1:] = ((1 - spent) / (conditions - 1))[:, None]
    sensitivity = np.zeros((findings, components, conditions))
    for finding in range(findings):
        linked = rng.choice(components, parents, replace=False)
        for condition in range(conditions - 1):
            sensitivity[finding, linked, condition] = rng.uniform(0.1, 0.95, parents) / (condition + 1)
    seen = np.full(findings, float(rest))
    seen[:present] = 1.0
    return Case(prior, sensitivity, rng.uniform(0.005, 0.05, findings), seen)


def neighbourly_network(rng, *, components=120, findings=80, present=40) -> Case:
    """As sparse as a catalogue: a finding's causes lie near each other, one in ten has a far one."""
    spent = rng.uniform(0.01, 0.3, components)
    prior = np.stack([spent, 0.7 * spent, 1 - 1.7 * spent], axis=1)
    sensitivity = np.zeros((findings, components, 3))
    for finding in range(findings):
        near = rng.integers(0, components) + rng.normal(0, 4, rng.integers(2, 7))
        linked = np.unique(np.clip(near.astype(int), 0, components - 1))
        if rng.random() < 0.1:
            linked = np.unique(np.append(linked, rng.integers(0, components)))
        sensitivity[finding, linked, 0] = rng.uniform(0.1, 0.95, linked.size)
        sensitivity[finding, linked, 1] = 0.4 * sensitivity[finding, linked, 0]
    seen = np.zeros(findings)
    seen[rng.choice(findings, present, replace=False)] = 1.0
    return Case(prior, sensitivity, rng.uniform(0.005, 0.05, findings), seen)


def pairs_by_conditioning(case: Case) -> np.ndarray:
    """P(i in k and j in m | findings), (C, K, C, K): fix i in k, solve again, weigh by evidence."""
    evidence = case.net.posterior(case.findings).log_evidence
    components, conditions = case.prior.shape
    pair = np.zeros((components, conditions, components, conditions))
    for i in range(components):
        for k in range(conditions):
            fixed = case.prior.copy()
            fixed[i] = np.arange(conditions) == k
            given = NoisyOr(fixed, case.sensitivity, case.leak).posterior(case.findings)
            pair[i, k] = case.prior[i, k] * np.exp(given.log_evidence - evidence) * given.marginal
    return pair


def pair_counts(draws: np.ndarray, conditions: int) -> np.ndarray:
    """Shares of draws with i in k and j in m, (C, K, C, K)."""
    n, components = draws.shape
    is_in = (draws[:, :, None] == np.arange(conditions)).reshape(n, -1).astype(float)
    return (is_in.T @ is_in / n).reshape(components, conditions, components, conditions)
