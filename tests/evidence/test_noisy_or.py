"""The noisy-OR solver against enumeration, and the properties every such network must have."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.evidence import network
from estimator.evidence.noisy_or import ImpossibleEvidence, NoisyOr
from tests.evidence.networks import Case, cases, neighbourly_network, pair_counts, pairs_by_conditioning
from tests.reference.noisy_or_brute_force import enumerate_all

TWO_CAUSES = Case(
    prior=np.array([[0.1, 0.9], [0.1, 0.9]]),
    sensitivity=np.array([[[0.8, 0.0], [0.8, 0.0]], [[0.05, 0.0], [0.95, 0.0]]]),
    leak=np.array([0.01, 0.0]),
    findings=np.array([1.0, -1.0]),
)


@given(case=cases())
@settings(deadline=None, max_examples=150)
def test_marginals_and_evidence_equal_enumeration(case):
    """Second method: every combination of conditions listed. Soft findings and absent ones included."""
    listed = enumerate_all(case.prior, case.sensitivity, case.leak, case.findings)

    found = case.net.posterior(case.findings)

    assert found.method == "exact"
    assert found.ess is None
    assert found.present == (case.findings > 0).sum()
    assert found.log_evidence == pytest.approx(np.log(listed.evidence), abs=1e-10)
    np.testing.assert_allclose(found.marginal, listed.marginal, rtol=0, atol=1e-11)


@given(case=cases())
@settings(deadline=None, max_examples=40)
def test_pairs_equal_enumeration(case):
    """Second method: pairs from enumeration; ours by fixing one component at a time."""
    listed = enumerate_all(case.prior, case.sensitivity, case.leak, case.findings)

    np.testing.assert_allclose(pairs_by_conditioning(case), listed.pair, rtol=0, atol=1e-10)


@pytest.mark.parametrize("seed", range(12))
def test_joint_draws_have_the_exact_pairs(seed):
    """Second method: shares of 40,000 draws lie within five standard errors of enumerated pairs."""
    rng = np.random.default_rng(seed)
    k = 2 + seed % 2
    sensitivity = rng.random((4, 4, k)) * (rng.random((4, 4, 1)) < 0.8)
    sensitivity[..., -1] *= seed % 3 == 0
    case = Case(
        prior=rng.dirichlet(np.ones(k), size=4),
        sensitivity=sensitivity,
        leak=np.array([0.02, 0.0, 0.1, 0.05]) + (0.01 if seed % 4 else 0.0),
        findings=np.array([1.0, 1.0 if seed % 4 else 0.6, 0.7, [-1.0, 0.0, 1.0][seed % 3]]),
    )
    listed = enumerate_all(case.prior, case.sensitivity, case.leak, case.findings)
    n = 40_000

    shares = pair_counts(case.net.sample(case.findings, n, rng), k)

    error = np.sqrt(listed.pair * (1 - listed.pair) / n) + 1e-9
    assert (np.abs(shares - listed.pair) / error).max() < 5


def test_whole_configurations_are_drawn_in_proportion():
    """Second method: all 27 joint states of three tied components, not only pairs (chi-square)."""
    rng = np.random.default_rng(4)
    prior = rng.dirichlet(np.ones(3), size=3)
    sensitivity = rng.random((3, 3, 3)) * np.array([1.0, 0.5, 0.0])
    leak, seen = np.array([0.01, 0.05, 0.2]), np.array([1.0, 1.0, 1.0])
    weight = np.zeros(27)
    for code in range(27):
        state = [code // 9, code // 3 % 3, code % 3]
        weight[code] = np.prod([prior[i, state[i]] for i in range(3)])
        for finding in range(3):
            silent = (1 - leak[finding]) * np.prod([1 - sensitivity[finding, i, state[i]] for i in range(3)])
            weight[code] *= 1 - silent
    weight /= weight.sum()
    n = 50_000

    draws = NoisyOr(prior, sensitivity, leak).sample(seen, n, rng)

    observed = np.bincount(draws @ np.array([9, 3, 1]), minlength=27)
    assert ((observed - n * weight) ** 2 / (n * weight)).sum() < 26 + 6 * np.sqrt(2 * 26)


@given(case=cases(), grid=st.integers(1, 5), seed=st.integers(0, 1000))
@settings(deadline=None, max_examples=30)
def test_a_grid_of_priors_equals_one_after_another(case, grid, seed):
    rng = np.random.default_rng(seed)
    priors = rng.dirichlet(np.ones(case.prior.shape[1]), size=(grid, case.prior.shape[0]))

    together = NoisyOr(priors, case.sensitivity, case.leak).posterior(case.findings)

    assert together.marginal.shape == priors.shape
    for point, prior in enumerate(priors):
        alone = NoisyOr(prior, case.sensitivity, case.leak).posterior(case.findings)
        assert together.log_evidence[point] == pytest.approx(alone.log_evidence, abs=1e-12)
        np.testing.assert_allclose(together.marginal[point], alone.marginal, rtol=0, atol=1e-12)


def test_memory_limit_changes_nothing_but_memory(monkeypatch):
    """Solved in one part or one grid point at a time, the answer is the same."""
    rng = np.random.default_rng(8)
    case = neighbourly_network(rng, present=12)
    priors = rng.dirichlet(np.ones(3), size=(7, 120))
    net = NoisyOr(priors, case.sensitivity, case.leak)
    whole = net.posterior(case.findings)
    monkeypatch.setattr(network, "MESSAGE_BYTES", 1)

    parts = net.posterior(case.findings)

    np.testing.assert_allclose(parts.marginal, whole.marginal, rtol=0, atol=1e-13)
    np.testing.assert_allclose(parts.log_evidence, whole.log_evidence, rtol=0, atol=1e-12)


def test_grid_draws_come_in_grid_order_with_each_points_own_marginals():
    rng = np.random.default_rng(0)
    case = neighbourly_network(rng, present=8)
    priors = rng.dirichlet(np.ones(3), size=(3, 120))
    net = NoisyOr(priors, case.sensitivity, case.leak)
    counts = np.array([20_000, 0, 10_000])

    draws = net.sample(case.findings, counts, rng)

    assert draws.shape == (30_000, 120)
    assert draws.dtype == np.int8
    exact = net.posterior(case.findings).marginal
    for point, rows in ((0, draws[:20_000]), (2, draws[20_000:])):
        for condition in range(3):
            chance = exact[point, :, condition]
            error = np.sqrt(chance * (1 - chance) / len(rows)) + 1e-9
            assert (np.abs((rows == condition).mean(axis=0) - chance) / error).max() < 5


def test_same_generator_state_gives_the_same_draws_and_zero_is_a_seed():
    case = neighbourly_network(np.random.default_rng(1), present=10)

    def drawn(seed):
        return case.net.sample(case.findings, 500, np.random.default_rng(seed))

    np.testing.assert_array_equal(drawn(0), drawn(0))
    assert (drawn(0) != drawn(1)).any()


@given(case=cases(beliefs=(-1.0, 0.0)))
@settings(deadline=None, max_examples=40)
def test_only_absent_findings_keep_causes_independent(case):
    """Theorem: absent findings factorise, so every pair is the product of its marginals."""
    marginal = case.net.posterior(case.findings).marginal

    pair = pairs_by_conditioning(case)

    for i in range(len(marginal)):
        for j in range(len(marginal)):
            if i != j:
                np.testing.assert_allclose(pair[i, :, j], np.outer(marginal[i], marginal[j]), atol=1e-11)


@given(case=cases(beliefs=(-1.0, 0.0), conditions=(2,)), which=st.integers(0, 4))
@settings(deadline=None, max_examples=40)
def test_an_absent_finding_lowers_its_causes_when_nothing_is_present(case, which):
    """Theorem, true only in this case: see the counter-example below."""
    sensitivity = case.sensitivity.copy()
    sensitivity[..., 1] = 0.0
    net, more = NoisyOr(case.prior, sensitivity, case.leak), case.findings.copy()
    more[which % more.size] = 0.0

    assert (net.posterior(more).marginal[:, 0] <= net.posterior(case.findings).marginal[:, 0] + 1e-12).all()


def test_an_absent_finding_may_raise_a_cause_when_another_is_present():
    """By hand: with finding p present, absence of n clears cause b and so convicts cause a.

    P(p | a, b) = 1 - .99 * .2^(a + b) and P(not n | a, b) = .95^a * .05^b, priors .1 and .1.
    """
    both = {
        (a, b): 0.1 ** (a + b) * 0.9 ** (2 - a - b) * (1 - 0.99 * 0.2 ** (a + b))
        for a in (0, 1)
        for b in (0, 1)
    }
    before = (both[1, 0] + both[1, 1]) / sum(both.values())
    clear = {(a, b): weight * 0.95**a * 0.05**b for (a, b), weight in both.items()}
    after = (clear[1, 0] + clear[1, 1]) / sum(clear.values())

    unseen = TWO_CAUSES.net.posterior([1.0, -1.0]).marginal[0, 0]
    absent = TWO_CAUSES.net.posterior([1.0, 0.0]).marginal[0, 0]

    assert unseen == pytest.approx(before, abs=1e-12) == pytest.approx(0.5046401422, abs=1e-10)
    assert absent == pytest.approx(after, abs=1e-12) == pytest.approx(0.8549721011, abs=1e-10)


@given(case=cases())
@settings(deadline=None, max_examples=40)
def test_a_finding_not_made_changes_nothing(case):
    made = case.findings != -1
    fewer = NoisyOr(case.prior, case.sensitivity[made], case.leak[made]).posterior(case.findings[made])

    whole = case.net.posterior(case.findings)

    np.testing.assert_allclose(whole.marginal, fewer.marginal, rtol=0, atol=1e-12)
    assert whole.log_evidence == pytest.approx(fewer.log_evidence, abs=1e-12)


@given(case=cases(), which=st.integers(0, 4))
@settings(deadline=None, max_examples=40)
def test_leak_one_present_and_belief_one_half_tell_nothing(case, which):
    """Theorem: a finding that is always there, or a report that is a coin toss, carries no news."""
    which %= case.findings.size
    silent = case.findings.copy()
    silent[which] = -1.0
    before = case.net.posterior(silent)
    always = case.leak.copy()
    always[which] = 1.0
    there, toss = silent.copy(), silent.copy()
    there[which], toss[which] = 1.0, 0.5

    certain = NoisyOr(case.prior, case.sensitivity, always).posterior(there)
    coin = case.net.posterior(toss)

    np.testing.assert_allclose(certain.marginal, before.marginal, rtol=0, atol=1e-11)
    assert certain.log_evidence == pytest.approx(before.log_evidence, abs=1e-11)
    np.testing.assert_allclose(coin.marginal, before.marginal, rtol=0, atol=1e-11)
    assert coin.log_evidence == pytest.approx(before.log_evidence + np.log(0.5), abs=1e-11)


@given(case=cases())
@settings(deadline=None, max_examples=40)
def test_link_zero_is_no_link(case):
    """Theorem: a component that causes nothing keeps its prior and changes no other."""
    stranger = np.full((1, case.prior.shape[1]), 1 / case.prior.shape[1])
    no_links = np.zeros((case.leak.size, 1, case.prior.shape[1]))
    wider = NoisyOr(
        np.vstack([case.prior, stranger]), np.concatenate([case.sensitivity, no_links], axis=1), case.leak
    ).posterior(case.findings)

    np.testing.assert_allclose(wider.marginal[-1], stranger[0], rtol=0, atol=1e-12)
    np.testing.assert_allclose(
        wider.marginal[:-1], case.net.posterior(case.findings).marginal, rtol=0, atol=1e-12
    )


@given(case=cases(), seed=st.integers(0, 1000))
@settings(deadline=None, max_examples=40)
def test_the_order_in_which_things_are_listed_does_not_matter(case, seed):
    rng = np.random.default_rng(seed)
    parts, checks = rng.permutation(len(case.prior)), rng.permutation(case.leak.size)
    shuffled = NoisyOr(case.prior[parts], case.sensitivity[checks][:, parts], case.leak[checks]).posterior(
        case.findings[checks]
    )

    whole = case.net.posterior(case.findings)

    np.testing.assert_allclose(shuffled.marginal, whole.marginal[parts], rtol=0, atol=1e-11)


@given(case=cases(), share=st.floats(0, 1), which=st.integers(0, 4))
@settings(deadline=None, max_examples=40)
def test_a_soft_finding_is_the_mixture_of_present_and_absent(case, share, which):
    """Closed form: P(e, q) = q P(e, present) + (1 - q) P(e, absent), and so are the joints."""
    which %= case.findings.size
    joint = {}
    for belief in (0.0, 1.0, share):
        seen = case.findings.copy()
        seen[which] = belief
        found = case.net.posterior(seen)
        joint[belief] = np.exp(found.log_evidence) * found.marginal

    np.testing.assert_allclose(joint[share], share * joint[1.0] + (1 - share) * joint[0.0], atol=1e-12)


def test_a_confirmed_cause_explains_the_finding_away_from_the_other():
    rival = NoisyOr(np.array([[0.1, 0.9], [1.0, 0.0]]), TWO_CAUSES.sensitivity, TWO_CAUSES.leak).posterior(
        TWO_CAUSES.findings
    )

    assert rival.marginal[0, 0] < TWO_CAUSES.net.posterior(TWO_CAUSES.findings).marginal[0, 0]
    assert rival.marginal[0, 0] > 0.1  # the finding still speaks for it a little


def test_forty_present_findings_with_faint_causes_lose_no_digits():
    """By hand: forty copies of one small network multiply, P = p^40, however small p is."""
    p_spent, s, leak = 1e-6, 0.7, 1e-7
    prior = np.tile([p_spent, 1 - p_spent], (80, 1))
    sensitivity = np.zeros((40, 80, 2))
    for finding in range(40):
        sensitivity[finding, [finding, 40 + finding], 0] = s
    one = 1 - (1 - leak) * (1 - p_spent * s) ** 2
    one_log = np.log(leak + (1 - leak) * -np.expm1(2 * np.log1p(-p_spent * s)))  # the same, keeping digits

    found = NoisyOr(prior, sensitivity, np.full(40, leak)).posterior(np.ones(40))

    assert found.log_evidence == pytest.approx(40 * one_log, rel=1e-12)
    assert np.log(one) == pytest.approx(one_log, rel=1e-8)


@pytest.mark.parametrize(
    ("leak", "seen", "finding", "alone"),
    [
        ([0.0, 0.5], [1.0, -1.0], 0, True),  # nothing causes finding 0
        ([0.1, 1.0], [1.0, 0.0], 1, True),  # finding 1 is always there, said to be absent
        ([0.1, 0.0], [-1.0, 0.0], 1, True),  # its only cause is certain and never silent
    ],
)
def test_impossible_evidence_names_the_finding(leak, seen, finding, alone):
    prior = np.array([[1.0, 0.0], [0.5, 0.5]])
    sensitivity = np.zeros((2, 2, 2))
    sensitivity[1, 0, 0] = 1.0

    with pytest.raises(ImpossibleEvidence, match=f"finding {finding} ") as error:
        NoisyOr(prior, sensitivity, leak).posterior(seen)

    assert (error.value.finding, error.value.alone) == (finding, alone)


def test_findings_impossible_only_together_name_the_last_of_the_conflict():
    """Cause a would show finding 0 for certain; finding 0 is absent, yet finding 2 needs a."""
    prior = np.full((2, 2), 0.5)
    sensitivity = np.zeros((3, 2, 2))
    sensitivity[0, 0, 0] = sensitivity[1, 1, 0] = 1.0
    sensitivity[2, :, 0] = 0.5
    net = NoisyOr(prior, sensitivity, np.zeros(3))

    with pytest.raises(ImpossibleEvidence, match="together") as error:
        net.posterior([0.0, 0.0, 1.0])
    with pytest.raises(ImpossibleEvidence):
        net.sample([0.0, 0.0, 1.0], 10, np.random.default_rng(0))

    assert error.value.finding == 2
    assert not error.value.alone


def test_a_grid_point_that_excludes_the_findings_gets_no_weight_and_gives_no_draws():
    possible, not_fitted = [[0.2, 0.8], [0.2, 0.8]], [[0.0, 1.0], [0.0, 1.0]]
    net = NoisyOr([possible, not_fitted], TWO_CAUSES.sensitivity, np.zeros(2))

    found = net.posterior([1.0, -1.0])

    assert np.isfinite(found.log_evidence[0])
    assert np.isneginf(found.log_evidence[1])
    np.testing.assert_array_equal(found.marginal[1], not_fitted)
    assert net.sample([1.0, -1.0], [5, 0], np.random.default_rng(0)).shape == (5, 2)
    with pytest.raises(ImpossibleEvidence, match="finding 0 "):
        net.sample([1.0, -1.0], [5, 1], np.random.default_rng(0))


def test_leak_explains_equals_listing_which_causes_fired():
    """Second method: list which of leak and components fired; count the leak alone among any at all."""
    rng = np.random.default_rng(2)
    leak = 0.3
    sensitivity = rng.random((1, 3, 3)) * np.array([1.0, 0.5, 0.0])
    states = np.array([[0, 2, 1], [2, 2, 2], [0, 0, 0], [1, 1, 2]])

    explained = NoisyOr(np.full((3, 3), 1 / 3), sensitivity, [leak]).leak_explains([1.0], states)

    for row, state in enumerate(states):
        chance = [leak, *(sensitivity[0, i, k] for i, k in enumerate(state))]
        weight = {
            fired: np.prod([c if f else 1 - c for f, c in zip(fired, chance, strict=True)])
            for fired in product((0, 1), repeat=4)
        }
        any_fired = sum(w for fired, w in weight.items() if any(fired))
        assert explained[row, 0] == pytest.approx(weight[1, 0, 0, 0] / any_fired, abs=1e-12)
    assert explained[1, 0] == pytest.approx(1.0)  # all sound: only the leak is left


def test_leak_explains_is_zero_for_absent_and_unmade_findings_and_shared_for_soft_ones():
    net = NoisyOr([[0.5, 0.5]], np.zeros((3, 1, 2)), [0.2, 0.2, 0.2])

    explained = net.leak_explains([0.0, -1.0, 0.5], np.array([[1]]))

    np.testing.assert_allclose(explained, [[0.0, 0.0, 0.5 * 0.2 / (0.5 * 0.2 + 0.5 * 0.8)]])


GOOD = {"prior": [[0.1, 0.9]], "sensitivity": [[[0.5, 0.0]]], "leak": [0.1]}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"prior": [[0.1, np.nan]]}, r"prior at \(0, 1\) is nan"),
        ({"prior": [[-0.1, 1.1]]}, r"prior at \(0, 0\) is -0.1"),
        ({"prior": [[0.1, 0.8]]}, "sums to 0.9"),
        ({"prior": [0.1, 0.9]}, "prior must have shape"),
        ({"sensitivity": [[[1.5, 0.0]]]}, r"sensitivity at \(0, 0, 0\) is 1.5"),
        ({"sensitivity": [[[0.5, 0.0, 0.0]]]}, "sensitivity must have shape"),
        ({"sensitivity": [[0.5, 0.0]]}, "sensitivity must have shape"),
        ({"leak": [np.inf]}, r"leak at \(0,\) is inf"),
        ({"leak": [0.1, 0.1]}, "leak must have shape"),
    ],
)
def test_a_wrong_network_is_refused_by_name(change, message):
    with pytest.raises(ValueError, match=message):
        NoisyOr(**{**GOOD, **change})


@pytest.mark.parametrize(
    ("seen", "message"),
    [
        ([np.nan], "finding 0 is nan"),
        ([1.2], "finding 0 is 1.2"),
        ([-0.5], "finding 0 is -0.5"),
        ([0.0, 1.0], "findings must have shape"),
    ],
)
def test_wrong_findings_are_refused_by_number(seen, message):
    with pytest.raises(ValueError, match=message):
        NoisyOr(**GOOD).posterior(seen)


@pytest.mark.parametrize(
    ("n", "message"), [(-1, "negative"), (2.5, "whole number"), ([3, 4], "shape"), (True, "whole number")]
)
def test_wrong_numbers_of_draws_are_refused(n, message):
    with pytest.raises(ValueError, match=message):
        NoisyOr(**GOOD).sample([1.0], n, np.random.default_rng(0))


def test_nothing_made_gives_the_prior_and_no_draws_are_no_rows():
    net = NoisyOr(**GOOD)

    found = net.posterior([-1.0])

    np.testing.assert_allclose(found.marginal, GOOD["prior"])
    assert found.log_evidence == 0.0
    assert (found.present, found.frontier) == (0, 0)
    assert net.sample([1.0], 0, np.random.default_rng(0)).shape == (0, 1)
