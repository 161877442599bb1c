"""Speed of the noisy-OR solver, as ratios within one run; no seconds are asserted."""

from __future__ import annotations

from time import perf_counter

import numpy as np
import pytest

from estimator.evidence.frontier import plan
from estimator.evidence.noisy_or import NoisyOr
from tests.evidence.networks import dense_network, neighbourly_network


def best_time(action, *, repeats: int = 5) -> float:
    """Shortest of several runs: the one least disturbed by whatever else the machine does."""
    times = []
    for _ in range(repeats):
        start = perf_counter()
        action()
        times.append(perf_counter() - start)
    return min(times)


@pytest.fixture
def case():
    """120 causes, 80 findings of 10 causes each; ten present, seventy not made."""
    return dense_network(np.random.default_rng(3))


def solve_afresh(net, seen):
    """The whole of it, elimination order included."""
    plan.cache_clear()
    return net.posterior(seen)


def test_at_most_half_of_pyagrums_time_with_the_rest_unseen(case):
    """pyAgrum must be told its targets: asked for everything, the seventy unseen findings with their
    ten parents each exhaust its memory."""
    gum = pytest.importorskip("pyagrum", reason="pyagrum (extra: oracles) is not installed")
    theirs = gum.BayesNet()
    causes = [theirs.add(gum.LabelizedVariable(f"c{i}", "", 2)) for i in range(120)]
    for cause, chance in zip(causes, case.prior, strict=True):
        theirs.cpt(cause).fillWith([chance[1], chance[0]])
    for f, leak in enumerate(case.leak):
        finding = theirs.addNoisyORNet(gum.LabelizedVariable(f"f{f}", "", 2), float(leak))
        for i in np.flatnonzero(case.sensitivity[f, :, 0]):
            theirs.addWeightedArc(causes[i], finding, float(case.sensitivity[f, i, 0]))

    def infer():
        engine = gum.LazyPropagation(theirs)
        engine.setEvidence({f"f{f}": 1 for f in np.flatnonzero(case.findings == 1)})
        for cause in causes:
            engine.addTarget(cause)
        engine.makeInference()
        return engine.evidenceProbability(), [engine.posterior(cause)[1] for cause in causes]

    evidence, marginal = infer()
    found = case.net.posterior(case.findings)

    np.testing.assert_allclose(found.marginal[:, 0], marginal, rtol=0, atol=1e-9)
    assert np.exp(found.log_evidence) == pytest.approx(evidence, rel=1e-9)
    net = case.net
    ours = best_time(lambda: solve_afresh(net, case.findings))
    assert ours <= 0.5 * best_time(infer)


def test_seventy_absent_findings_cost_at_most_as_much_again(case):
    net, absent = case.net, np.where(case.findings == -1, 0.0, case.findings)

    without = best_time(lambda: solve_afresh(net, case.findings))

    assert best_time(lambda: solve_afresh(net, absent)) <= 2 * without


def test_grid_points_share_one_pass():
    """Two hundred grid points together cost at most a tenth of two hundred single solves."""
    rng = np.random.default_rng(0)
    case = neighbourly_network(rng, present=20)
    priors = rng.dirichlet(np.ones(3), size=(200, 120))
    together = NoisyOr(priors, case.sensitivity, case.leak)
    single = NoisyOr(priors[0], case.sensitivity, case.leak)

    one = best_time(lambda: single.posterior(case.findings))

    assert best_time(lambda: together.posterior(case.findings)) <= 0.1 * 200 * one


def test_a_draw_costs_less_than_one_uniform_and_one_normal_per_component():
    """Ten present: the slope between 20,000 and 100,000 draws over 300 grid points."""
    rng = np.random.default_rng(0)
    case = neighbourly_network(rng, present=10)
    net = NoisyOr(rng.dirichlet(np.ones(3), size=(300, 120)), case.sensitivity, case.leak)
    few, many = (rng.multinomial(n, np.full(300, 1 / 300)) for n in (20_000, 100_000))

    def numbers():
        rng.random((5_000, 120))
        rng.standard_normal((5_000, 120))

    slope = best_time(lambda: net.sample(case.findings, many, rng), repeats=3) - best_time(
        lambda: net.sample(case.findings, few, rng), repeats=3
    )
    assert slope <= 80_000 / 5_000 * best_time(numbers)
