"""How a price comes about: by hand, against plain quadrature, and convex, on which all values rest."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.decide.stakes import LOWEST_PRICE, Settlement, certain, effective, even_points
from estimator.money.ranges import pert_mean
from tests.reference.decide_brute_force import expected_loss


def settle(asking: float, *, rho: float | None = None, split: float = 0.5, shift: float = 0.0) -> Settlement:
    low, likely, high = (asking * share for share in LOWEST_PRICE)
    return Settlement(even_points((low, likely, high), 1024), asking, split, rho, shift)


@pytest.mark.parametrize("w", [500.0, 760.0, 850.0, 940.0, 999.0, 1000.0, 1300.0])
@pytest.mark.parametrize("rho", [None, 150.0, 2000.0])
def test_settlement_equals_quadrature(w, rho):
    """Second method: the expectation over the seller's lowest price by 4,000 quantiles of scipy's beta."""
    made = settle(1000.0, rho=rho, shift=900.0)
    mean = w if rho is None else np.exp(-(w - 900.0) / rho)
    exact = expected_loss(w, asking=1000.0, split=0.5, rho=rho)
    assert -float(made(np.array([mean]))) == pytest.approx(exact, abs=0.05 if rho is None else 1e-3)


def test_gain_by_hand():
    """Lowest prices 80 and 100 alike, asking 120, half way. Worth 90: strikes at 85 with the first only: (5 + 0) / 2.
    Worth 130: prices 100 and 110: (30 + 20) / 2. An owner who may sell at 120 has the better of both.
    """
    made = Settlement(np.array([80.0, 100.0]), 120.0, 0.5, None, 0.0)
    assert made(np.array([[90.0], [130.0], [70.0]])) == pytest.approx([2.5, 25.0, 0.0])
    owned = Settlement(np.array([80.0, 100.0]), 120.0, 0.5, None, 0.0, owned=True)
    assert owned(np.array([[90.0], [130.0]])) == pytest.approx([120.0, 130.0])


@given(
    st.lists(st.floats(0.01, 8.0), min_size=2, max_size=6),
    st.lists(st.floats(0.05, 1.0), min_size=6, max_size=6),
    st.booleans(),
    st.sampled_from([0.0, 0.5, 1.0]),
    st.booleans(),
)
def test_the_settlement_is_convex(points, weights, averse, split, owned):
    """Jensen: worth of the mean is never above the mean of the worths, so information never hurts."""
    rho = 300.0 if averse else None
    lowest = 1000.0 * np.linspace(0.75, 1.0, 64)
    made = Settlement(lowest, 1000.0, split, rho, 900.0, owned)
    payoff = np.array(points) if averse else 400.0 + 200.0 * np.array(points)
    share = np.array(weights[: payoff.size])
    share /= share.sum()
    mean = float(share @ payoff)
    assert float(made(np.array([mean]))) <= float(share @ made(payoff[:, None])) + 1e-9 * 1000


def test_certain_equivalent_of_a_normal_spread():
    """Closed form: mean - variance / (2 rho) for a normal worth."""
    z = np.random.default_rng(0).standard_normal(400_000)
    z = (z - z.mean()) / z.std()
    assert certain(5000.0 + 600.0 * z, 4000.0) == pytest.approx(5000.0 - 600.0**2 / 8000.0, abs=1.0)
    assert certain(5000.0 + 600.0 * z, None) == pytest.approx(5000.0)
    assert effective(np.full(1000, 7.0), 5.0) == pytest.approx(1000)


def test_points_of_a_range_keep_its_mean():
    """PERT (1, 2, 9): mean 3, closed form."""
    for count in (1, 64, 1024):
        points = even_points((1.0, 2.0, 9.0), count)
        assert points.mean() == pytest.approx(3.0, abs=1e-9)
        assert (np.diff(points) >= 0).all()
    assert float(pert_mean(np.array(LOWEST_PRICE))) == pytest.approx(0.905)  # by hand: (.75 + 3.68 + 1) / 6


def test_money_of_a_gain_is_what_it_is_worth():
    """A sure gain of 50 on top, judged by exp(-gain / rho), is worth 50 (closed form)."""
    made = settle(1000.0, rho=400.0, shift=1000.0)
    before = float(made(np.array([np.exp(-(1100.0 - 1000.0) / 400.0)])))
    after = before * np.exp(-50.0 / 400.0)
    assert float(made.money(before, after - before)) == pytest.approx(50.0)


def test_the_tolerance_is_what_the_screen_asks_for():
    """Closed form: an even chance of R or of losing R / 2 has a certainty equivalent of -R ln((e^-1 + e^.5) / 2), that
    is -0.8 % of R: as good as nothing (the usual rule for exponential utility, Howard 1988, Management Science 34).
    """
    for rho in (500.0, 8_000.0):
        even = certain(np.array([rho, -rho / 2]), rho)
        assert even == pytest.approx(-rho * np.log((np.exp(-1) + np.exp(0.5)) / 2), abs=1e-6)
        assert abs(even) < 0.01 * rho
        assert (
            certain(np.array([1.3 * rho, -1.3 * rho / 2]), rho) < -0.02 * rho < even
        )  # a larger bet is refused
