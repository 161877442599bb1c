"""A noisy-OR solved by listing every combination of conditions: slow, plain, no recursion."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from math import prod

import numpy as np


@dataclass(frozen=True)
class Enumerated:
    """evidence: P(findings); marginal: (C, K); pair: (C, K, C, K)."""

    evidence: float
    marginal: np.ndarray
    pair: np.ndarray


def enumerate_all(prior, sensitivity, leak, findings) -> Enumerated:
    """prior (C, K), sensitivity (F, C, K), leak (F,), findings (F,): -1 not made, else 0..1."""
    components, conditions = prior.shape
    evidence, pair = 0.0, np.zeros((components, conditions, components, conditions))
    for state in product(range(conditions), repeat=components):
        weight = prod(prior[i, k] for i, k in enumerate(state))
        for finding, belief in enumerate(findings):
            if belief == -1:
                continue
            silent = (1 - leak[finding]) * prod(1 - sensitivity[finding, i, k] for i, k in enumerate(state))
            weight *= belief * (1 - silent) + (1 - belief) * silent
        evidence += weight
        for i, k in enumerate(state):
            for j, m in enumerate(state):
                pair[i, k, j, m] += weight
    if evidence > 0:
        pair /= evidence
    marginal = np.array([np.diag(pair[i, :, i, :]) for i in range(components)])
    return Enumerated(evidence=evidence, marginal=marginal, pair=pair)
