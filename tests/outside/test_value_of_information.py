"""The value of information against textbook decisions whose answers are known."""

from __future__ import annotations

from math import comb

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate
from scipy.stats import norm

from estimator.decide.information import value


def unit_normal_loss(u: float) -> float:
    """Closed form: L(u) = phi(u) - u (1 - Phi(u)), the mean of max(X - u, 0) for a standard X."""
    return float(norm.pdf(u) - u * norm.sf(u))


def normal_states(mean: float, sd: float, points: int) -> tuple[np.ndarray, np.ndarray]:
    """Midpoints and weights of equal strips over eight standard deviations either way."""
    edges = np.linspace(mean - 8 * sd, mean + 8 * sd, points + 1)
    return (edges[:-1] + edges[1:]) / 2, np.diff(norm.cdf(edges, mean, sd))


def binned_readings(state: np.ndarray, *, error_sd: float, bins: int) -> np.ndarray:
    """Chance (N, bins) that a reading with normal error falls in each of equal bins."""
    edges = np.linspace(state.min() - 6 * error_sd, state.max() + 6 * error_sd, bins + 1)
    edges[0], edges[-1] = -np.inf, np.inf
    return np.diff(norm.cdf(edges[None, :], state[:, None], error_sd), axis=1)


def test_oil_wildcatter():
    """Raiffa, *Decision Analysis*, 1968: dry, wet, soaking; seismic test for 10. Inputs published;
    answers recomputed, and as recalled: without 20, EVPI 35, EVSI 12.5, with the test net 22.5.

    By hand, drilling after no, open, closed structure (chances .41 .35 .24), each times its chance:
    -21 + 4.5 + 4 = -12.5, so 0; -10.5 + 6 + 16 = 11.5; -3.5 + 4.5 + 20 = 21; together 32.5.
    """
    drill = np.array([-70.0, 50.0, 200.0])
    seismic = [[0.6, 0.3, 0.1], [0.3, 0.4, 0.3], [0.1, 0.4, 0.5]]

    found = value(np.stack([drill, 0 * drill], axis=1), [0.5, 0.3, 0.2], seismic)

    np.testing.assert_allclose(found.probability, [0.41, 0.35, 0.24], atol=1e-12)
    assert found.now == pytest.approx(20)
    assert found.perfect == pytest.approx(35)
    assert found.value == pytest.approx(12.5)
    assert found.now + found.value - 10 == pytest.approx(22.5)
    np.testing.assert_allclose(found.probability * found.worth, [0, 11.5, 21], atol=1e-12)


def test_goferbroke():
    """Hillier & Lieberman, *Introduction to Operations Research*, the Goferbroke Company: drill or
    sell the land. From memory: without 100, EVPI 142.5, expected value of the survey 53."""
    payoff = [[700, 90], [-100, 90]]
    survey = [[0.6, 0.4], [0.2, 0.8]]  # favourable, unfavourable, given oil and dry

    found = value(payoff, [0.25, 0.75], survey)

    assert found.now == pytest.approx(100)
    assert found.perfect == pytest.approx(142.5)
    assert found.value == pytest.approx(53)


PEACH_OR_LEMON = {"payoff": [[60, 20, 0], [-100, 40, 0]], "weight": [0.8, 0.2]}  # buy, guarantee, refuse


def bad_among(checked: int) -> np.ndarray:
    """Chance of 0, 1, ... bad ones among the checked of ten subsystems; a peach has 1, a lemon 6."""
    return np.array(
        [
            [comb(bad, k) * comb(10 - bad, checked - k) / comb(10, checked) for k in range(checked + 1)]
            for bad in (1, 6)
        ]
    )


@pytest.mark.parametrize(
    ("checked", "price", "gross", "net"), [(1, 9, 41.6, 32.6), (2, 13, 45.866667, 32.866667)]
)
def test_the_used_car_buyer(checked, price, gross, net):
    """Howard, "The used car buyer", in *Readings on Decision Analysis*, 1976 (from memory): worth of
    buying now 28, of knowing 28 more; with one subsystem checked 41.6, with two 45.87.

    By hand for one: found good, peach .72 of .80, so buy: .72 * 60 - .08 * 100 = 35.2; found bad,
    .08 and .12, so buy with guarantee: 1.6 + 4.8 = 6.4; together 41.6.
    """
    found = value(**PEACH_OR_LEMON, likelihood=bad_among(checked))

    assert found.now == pytest.approx(28)
    assert found.perfect == pytest.approx(28)
    assert found.now + found.value == pytest.approx(gross, abs=5e-7)
    assert found.now + found.value - price == pytest.approx(net, abs=5e-7)


@pytest.mark.parametrize(
    ("u", "printed"), [(0, 0.3989423), (0.5, 0.1977966), (1, 0.08331547), (2, 0.008490703)]
)
def test_unit_normal_loss(u, printed):
    """Closed form, the table of every text on decisions under uncertainty; and our own engine: the
    value of knowing a standard normal exactly when the other action pays u and u >= 0."""
    state, weight = normal_states(0.0, 1.0, 20_000)
    payoff = np.stack([state, np.full_like(state, u)], axis=1)

    found = value(payoff, weight, np.ones((state.size, 1)))

    assert unit_normal_loss(u) == pytest.approx(printed, abs=5e-8)
    assert integrate.quad(lambda x: (x - u) * norm.pdf(x), u, 12)[0] == pytest.approx(printed, abs=5e-8)
    assert found.perfect == pytest.approx(printed, abs=1e-6)
    assert found.value == pytest.approx(0, abs=1e-12)


def test_two_actions_on_a_normal_quantity():
    """Closed form: gain X ~ N(-200, 800^2) against 0; EVPI = 800 L(.25) = 229.075759; a reading with
    error sd 600 gives means of sd 800^2 / 1000 = 640, EVSI = 640 L(200 / 640) = 167.689532."""
    state, weight = normal_states(-200.0, 800.0, 1_600)
    payoff = np.stack([state, 0 * state], axis=1)

    found = value(payoff, weight, binned_readings(state, error_sd=600.0, bins=1_600))

    assert 800 * unit_normal_loss(200 / 800) == pytest.approx(229.075759, abs=5e-7)
    assert 640 * unit_normal_loss(200 / 640) == pytest.approx(167.689532, abs=5e-7)
    assert found.now == 0
    assert found.perfect == pytest.approx(229.075759, abs=0.02)  # strips 8 wide
    assert found.value == pytest.approx(167.689532, abs=0.02)


def test_two_actions_on_a_normal_quantity_from_draws():
    """The same within four standard errors, as the real path computes it: on draws, equal weights."""
    rng = np.random.default_rng(0)
    n = 20_000
    state = rng.normal(-200, 800, n)
    payoff = np.stack([state, 0 * state], axis=1)

    found = value(payoff, np.ones(n), binned_readings(state, error_sd=600.0, bins=80))

    assert found.perfect == pytest.approx(229.075759, abs=4 * np.maximum(state, 0).std() / np.sqrt(n))
    assert found.value == pytest.approx(167.689532, abs=4 * 800 / np.sqrt(n))


FAULTY_OR_SOUND = {"payoff": [[-2500, 0], [600, 0]], "weight": [0.3, 0.7]}  # buy, leave


def binary(sensitivity: float, specificity: float) -> list[list[float]]:
    return [[sensitivity, 1 - sensitivity], [1 - specificity, specificity]]


def test_one_binary_check():
    """By hand: buying now is worth .7 * 600 - .3 * 2500 = -330, so 0 by leaving; clear has chance
    .3 * .15 of a faulty and .7 * .9 of a sound one: .63 * 600 - .045 * 2500 = 265.5; knowing: 420."""
    found = value(**FAULTY_OR_SOUND, likelihood=binary(0.85, 0.9))

    assert found.now == 0
    assert found.value == pytest.approx(265.5)
    assert found.perfect == pytest.approx(420)


@given(
    sensitivity=st.floats(0, 1),
    fault=st.floats(0.01, 0.99),
    gain=st.floats(-1000, 1000),
    loss=st.floats(-1000, 1000),
)
def test_a_check_as_likely_either_way_is_worth_nothing(sensitivity, fault, gain, loss):
    """Theorem: sensitivity + specificity = 1 means the result does not depend on the state."""
    found = value([[loss, 0], [gain, 0]], [fault, 1 - fault], binary(sensitivity, 1 - sensitivity))

    assert found.value == pytest.approx(0, abs=1e-9)


@given(fault=st.floats(0.01, 0.99), gain=st.floats(-1000, 1000), loss=st.floats(-1000, 1000))
def test_a_perfect_check_is_worth_perfect_information(fault, gain, loss):
    """Theorem: sensitivity and specificity 1 reveal the state."""
    found = value([[loss, 0], [gain, 0]], [fault, 1 - fault], binary(1, 1))

    assert found.value == pytest.approx(found.perfect, abs=1e-9)
