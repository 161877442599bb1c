"""What must hold of the value of information whatever the decision."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.decide.information import value


@st.composite
def decisions(draw):
    """payoff (N, A), weight (N,), likelihood (N, R), with impossible results and states among them."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    states, actions, results = (draw(st.integers(1, most)) for most in (8, 4, 5))
    likelihood = rng.dirichlet(np.full(results, draw(st.sampled_from([0.05, 1.0, 20.0]))), size=states)
    weight = rng.random(states) * (rng.random(states) < 0.8)
    weight[0] += 0.1
    return rng.normal(0, 100, (states, actions)), weight, likelihood


def price_struck(mean):
    """A settlement convex in the mean payoff: struck with a seller whose price is 0, 40 or 80."""
    return np.mean([np.maximum(mean[..., 0] - price, 0) / 2 for price in (0, 40, 80)], axis=0)


@pytest.mark.parametrize("settle", [None, price_struck])
@given(decision=decisions())
@settings(deadline=None)
def test_information_is_worth_something_and_no_more_than_perfect_information(settle, decision):
    found = value(*decision, settle=settle)

    assert -1e-9 <= found.value <= found.perfect + 1e-9


@given(decision=decisions())
@settings(deadline=None)
def test_the_value_is_that_of_deciding_state_by_state(decision):
    """Second method: plain loops over results, states and actions."""
    payoff, weight, likelihood = decision
    prior = weight / weight.sum()
    after = 0.0
    for result in range(likelihood.shape[1]):
        sums = [
            sum(prior[n] * likelihood[n, result] * payoff[n, a] for n in range(len(prior)))
            for a in range(payoff.shape[1])
        ]
        after += max(sums)
    now = max(sum(prior[n] * payoff[n, a] for n in range(len(prior))) for a in range(payoff.shape[1]))

    found = value(payoff, weight, likelihood)

    assert found.now == pytest.approx(now, abs=1e-9)
    assert found.value == pytest.approx(after - now, abs=1e-9)


@given(decision=decisions())
@settings(deadline=None)
def test_probabilities_sum_to_one_and_means_average_to_the_prior_means(decision):
    payoff, weight, _ = decision

    found = value(*decision)

    assert found.probability.sum() == pytest.approx(1)
    np.testing.assert_allclose(found.probability @ found.mean, weight @ payoff / weight.sum(), atol=1e-9)
    assert found.value == pytest.approx(found.probability @ found.worth - found.now, abs=1e-12)


@given(decision=decisions(), seed=st.integers(0, 1000))
@settings(deadline=None)
def test_a_blurred_result_is_worth_no_more(decision, seed):
    """Blackwell: passing the result through noise that does not look at the state cannot help."""
    payoff, weight, likelihood = decision
    results = likelihood.shape[1]
    noise = np.random.default_rng(seed).dirichlet(np.ones(results), size=results)

    assert value(payoff, weight, likelihood @ noise).value <= value(*decision).value + 1e-9


@given(decision=decisions(), rates=st.lists(st.floats(0.01, 1), min_size=1, max_size=5))
@settings(deadline=None)
def test_equal_rates_in_every_state_are_worth_nothing(decision, rates):
    payoff, weight, _ = decision
    same = np.tile(np.array(rates) / sum(rates), (len(payoff), 1))

    assert value(payoff, weight, same).value == pytest.approx(0, abs=1e-9)


@given(decision=decisions())
@settings(deadline=None)
def test_two_checks_together_are_worth_at_least_either(decision):
    """More results, sets of checks: the joint table of two conditionally independent checks."""
    payoff, weight, first = decision
    second = first[:, ::-1] ** 2 / (first[:, ::-1] ** 2).sum(axis=1, keepdims=True)
    both = (first[:, :, None] * second[:, None, :]).reshape(len(payoff), -1)

    together = value(payoff, weight, both).value

    assert together >= value(payoff, weight, first).value - 1e-9
    assert together >= value(payoff, weight, second).value - 1e-9


def test_a_result_that_cannot_happen_leaves_the_prior_means_and_no_effective_sample():
    found = value([[1.0, 0.0], [3.0, 2.5]], [1, 1], [[1.0, 0.0], [1.0, 0.0]])

    np.testing.assert_array_equal(found.probability, [1, 0])
    np.testing.assert_allclose(found.mean, [[2, 1.25], [2, 1.25]])
    np.testing.assert_allclose(found.ess, [2, 0])


def test_effective_sample_size_counts_the_draws_behind_a_result():
    """By hand: a result seen in 25 of 100 equal draws rests on 25 of them."""
    seen = np.zeros((100, 2))
    seen[:25, 0] = seen[25:, 1] = 1

    np.testing.assert_allclose(value(np.zeros((100, 1)), np.ones(100), seen).ess, [25, 75])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"payoff": [1.0, 2.0]}, "payoff must be a table"),
        ({"payoff": [[1.0], [np.nan]]}, r"payoff at \(1, 0\) is nan"),
        ({"weight": [1.0]}, "weight must have shape"),
        ({"weight": [1.0, -1.0]}, "weight 1 is -1"),
        ({"weight": [0.0, 0.0]}, "all weights are zero"),
        ({"weight": [1.0, np.inf]}, "weight 1 is inf"),
        ({"likelihood": [[1.0]]}, "likelihood has 1 rows"),
        ({"likelihood": [[0.5, 0.5], [0.5, 0.6]]}, "likelihood row 1"),
        ({"likelihood": [[1.5, -0.5], [0.5, 0.5]]}, "likelihood row 0"),
        ({"settle": lambda mean: mean}, "settle must turn"),
    ],
)
def test_wrong_input_is_refused_by_name(change, message):
    good = {"payoff": [[1.0], [2.0]], "weight": [1.0, 1.0], "likelihood": [[0.5, 0.5], [0.5, 0.5]]}

    with pytest.raises(ValueError, match=message):
        value(**{**good, **change})
