"""The shared grid: Gauss nodes against the full fine grid, splines, odds, likelihood."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from estimator.catalogue.load import load_catalogue
from estimator.evidence.grid import for_sale_odds, may_be_missing, posterior_grid, shift_odds
from estimator.evidence.life_grid import gauss_nodes, spline_matrix
from estimator.pipeline import prepare
from tests.cars import saloon

MORE = """
[[coverage]]
from = 2005-01-01
to = 2026-01-01
completeness = 0.8
[[work]]
date = 2015-03-01
component = "water-pump"
evidence = "invoice"
[[work]]
date = 2018-03-01
component = "clutch"
evidence = "invoice"
[[finding]]
check = "take-up"
result = "present"
[[finding]]
check = "vibration-band"
result = "present"
[[finding]]
check = "tap-press-sill-bottoms-arch-lips"
result = "present"
[[finding]]
check = "coolant-strength-tester"
value = -15
"""


@pytest.fixture(scope="module")
def prepared():
    case = saloon(
        MORE.replace(
            'check = "coolant-strength-tester"\nvalue = -15', 'check = "take-up"\nresult = "present"'
        )
    )
    return prepare(case, load_catalogue())


def test_spline_matrix_is_the_not_a_knot_spline():
    """Reference library: scipy.interpolate.CubicSpline."""
    coarse, fine = np.linspace(-3, 3, 9), np.linspace(-3, 3, 31)
    for curve in (np.sin, np.exp, lambda x: np.log1p(x**2)):
        np.testing.assert_allclose(
            spline_matrix(coarse, fine) @ curve(coarse), CubicSpline(coarse, curve(coarse))(fine), atol=1e-12
        )


def test_gauss_nodes_reproduce_moments():
    """Closed form: an n-point Gauss rule is exact for polynomials up to degree 2 n - 1 (Gautschi 2004)."""
    rng = np.random.default_rng(0)
    points, weight = np.sort(rng.normal(size=40)), rng.random(40)
    nodes, share = gauss_nodes(points, weight, 6)
    for degree in range(12):
        assert share @ nodes**degree == pytest.approx(weight @ points**degree, rel=1e-8)


def test_hermite_nodes_come_out_of_a_normal_weight():
    """Reference library: numpy's Gauss-Hermite nodes, from a fine discretisation of the normal density."""
    x = np.linspace(-9, 9, 2001)
    nodes, _ = gauss_nodes(x, np.exp(-(x**2) / 2), 5)
    np.testing.assert_allclose(nodes, np.polynomial.hermite_e.hermegauss(5)[0], atol=1e-6)


def test_seven_nodes_are_as_good_as_the_whole_grid(prepared):
    """P(spent), the evidence and the posterior of life by 7 nodes a slice against all 31 points of it."""
    few = prepared.grid
    full = posterior_grid(prepared.wear.table, prepared.shared, prepared.evidence, nodes=31)
    assert few.weight.size < 0.4 * full.weight.size
    np.testing.assert_allclose(few.mean(few.marginal), full.mean(full.marginal), atol=5e-4)
    assert few.log_evidence == pytest.approx(full.log_evidence, abs=2e-3)
    assert few.weight @ few.common == pytest.approx(full.weight @ full.common, abs=2e-3)


def test_posterior_weights_and_conditions_are_probabilities(prepared):
    grid = prepared.grid
    assert grid.weight.sum() == pytest.approx(1.0)
    for array in (grid.prior, grid.unsold, grid.marginal):
        np.testing.assert_allclose(array.sum(axis=-1), 1.0, atol=1e-9)
        assert (array >= 0).all()


def test_shifting_odds():
    """By hand: odds 1/3 times 3 are evens; worn and sound keep their ratio."""
    out = shift_odds(np.array([[0.25, 0.25, 0.5]]), np.array([3.0]))
    np.testing.assert_allclose(out, [[0.5, 0.5 / 3, 1.0 / 3]])


def test_for_sale_is_evidence_of_what_all_repairs_cost_together():
    """Second method: every combination of spent parts, weighed by 1 + the sum of its pulls, summed up."""
    spent, pull = np.array([0.05, 0.3, 0.6]), np.array([2.0, 0.4, 0.1])
    combinations = np.array(np.meshgrid(*[[0, 1]] * 3, indexing="ij")).reshape(3, -1).T
    weight = np.where(combinations == 1, spent, 1 - spent).prod(axis=1) * (1 + combinations @ pull)
    wanted = weight @ combinations / weight.sum()
    condition = np.stack([spent, 0.5 * (1 - spent), 0.5 * (1 - spent)], axis=-1)
    np.testing.assert_allclose(shift_odds(condition, for_sale_odds(condition, pull))[:, 0], wanted)


def test_a_part_by_itself_is_raised_by_its_own_pull_alone():
    """By hand: 1 + pull."""
    np.testing.assert_allclose(for_sale_odds(np.array([[0.2, 0.3, 0.5]]), np.array([1.5])), [2.5])


def test_a_part_that_may_be_missing_counts_as_sound_where_it_is():
    """By hand: half the cars have it."""
    out = may_be_missing(np.array([[0.2, 0.4, 0.4]]), np.array([0.5]))
    np.testing.assert_allclose(out, [[0.1, 0.2, 0.7]])
