"""Importance sampling past the widest frontier: compared with the exact answer on the same network."""

from __future__ import annotations

import numpy as np
import pytest

from estimator.evidence import guided
from estimator.evidence.noisy_or import ImpossibleEvidence, NoisyOr
from tests.evidence.networks import Case, dense_network, pair_counts, pairs_by_conditioning


@pytest.fixture
def case() -> Case:
    """Sixteen present findings over forty components, one of them soft; frontier 12 or more."""
    made = dense_network(
        np.random.default_rng(5), components=40, findings=30, parents=8, conditions=3, present=16, rest=0.0
    )
    made.findings[3], made.findings[4] = 0.8, 0.4
    return made


@pytest.fixture
def narrow_guide(monkeypatch):
    """Relax all but a handful of the findings, so that the weights have work to do."""
    monkeypatch.setattr(guided, "guide_frontier", lambda grid_points: 5)


def approximate(case: Case) -> NoisyOr:
    return NoisyOr(case.prior, case.sensitivity, case.leak, max_frontier=6)


@pytest.mark.usefixtures("narrow_guide")
def test_marginals_and_evidence_agree_with_the_exact_solver(case):
    exact = case.net.posterior(case.findings)

    rough = approximate(case).posterior(case.findings)

    assert exact.method == "exact"
    assert rough.method == "importance sampling"
    assert rough.frontier == exact.frontier > 6
    assert rough.ess is not None
    assert 500 < rough.ess < 200_000
    error = np.sqrt(exact.marginal * (1 - exact.marginal) / rough.ess) + 1e-4
    assert (np.abs(rough.marginal - exact.marginal) / error).max() < 5
    assert rough.log_evidence == pytest.approx(exact.log_evidence, abs=5 / np.sqrt(rough.ess))


@pytest.mark.usefixtures("narrow_guide")
def test_resampled_draws_have_the_exact_pairs(case):
    n = 20_000
    net = approximate(case)
    ess = net.posterior(case.findings).ess

    draws = net.sample(case.findings, n, np.random.default_rng(1))

    pair = pairs_by_conditioning(case)
    error = np.sqrt(pair * (1 - pair) / min(n, ess)) + 2e-3
    assert draws.shape == (n, 40)
    assert (np.abs(pair_counts(draws, 3) - pair) / error).max() < 5.5


@pytest.mark.usefixtures("narrow_guide")
def test_a_grid_is_sampled_point_by_point_and_reports_its_least_effective_sample(case):
    grid = np.stack([case.prior, case.prior[::-1], case.prior])
    exact = NoisyOr(grid, case.sensitivity, case.leak).posterior(case.findings)
    net = NoisyOr(grid, case.sensitivity, case.leak, max_frontier=6)

    rough = net.posterior(case.findings)
    draws = net.sample(case.findings, [3_000, 0, 10], np.random.default_rng(0))

    np.testing.assert_allclose(rough.log_evidence, exact.log_evidence, atol=6 / np.sqrt(rough.ess))
    np.testing.assert_allclose(rough.marginal, exact.marginal, atol=3 / np.sqrt(rough.ess))
    assert draws.shape == (3_010, 40)
    np.testing.assert_array_equal(draws, net.sample(case.findings, [3_000, 0, 10], np.random.default_rng(0)))


def test_a_better_guide_has_a_larger_effective_sample(case, monkeypatch):
    ess = []
    for frontier in (2, 7, 11):
        monkeypatch.setattr(guided, "guide_frontier", lambda grid_points, most=frontier: most)
        ess.append(approximate(case).posterior(case.findings).ess)

    assert ess[0] < ess[1] < ess[2]


@pytest.mark.usefixtures("narrow_guide")
def test_impossible_evidence_is_named_here_too(case):
    leak, sensitivity = case.leak.copy(), case.sensitivity.copy()
    leak[2], sensitivity[2] = 0.0, 0.0
    net = NoisyOr(case.prior, sensitivity, leak, max_frontier=6)

    with pytest.raises(ImpossibleEvidence, match="finding 2 "):
        net.posterior(case.findings)


@pytest.mark.slow
def test_past_the_default_frontier_the_method_is_named_and_still_right():
    """Frontier above 18: the exact solver, allowed to go on, is the second method."""
    case = dense_network(np.random.default_rng(6), components=60, present=24, parents=10, rest=0.0)
    rough = case.net.posterior(case.findings)
    exact = NoisyOr(case.prior, case.sensitivity, case.leak, max_frontier=24).posterior(case.findings)

    assert rough.frontier == exact.frontier > 18
    assert (rough.method, exact.method) == ("importance sampling", "exact")
    assert rough.ess > 2_000
    np.testing.assert_allclose(rough.marginal, exact.marginal, atol=2.5 / np.sqrt(rough.ess))
