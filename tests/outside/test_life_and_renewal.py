"""Lives and renewals against closed forms, handbook data and published renewal functions."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, optimize
from scipy.special import gamma

from estimator.wear.life import (
    Lives,
    condition_probabilities,
    failure_probability_within,
    mean_life_years,
    survival,
    weibull_from_quantiles,
)
from estimator.wear.renewal import PassInput, expected_renewals, forward_pass, long_run_spent_share

RENEWAL_TABLE = Path(__file__).parent / "data" / "weibull_renewal_function.csv"


def calendar_lives(shape, scale_years) -> Lives:
    """Parts with a time clock only."""
    shape, scale = np.broadcast_arrays(
        np.atleast_1d(np.asarray(shape, float)), np.asarray(scale_years, float)
    )
    one = np.ones(shape.size)
    return Lives(one, one * np.inf, shape, scale, one * 0.15)


@pytest.mark.parametrize(
    ("b10", "b50", "shape", "scale"), [(60, 100, 3.687862, 110.448988), (8, 15, 2.996864, 16.951376)]
)
def test_weibull_from_quantiles(b10, b50, shape, scale):
    """Closed form: shape = ln(ln 2 / -ln 0.9) / ln(B50 / B10), constant 1.8838544067."""
    found = weibull_from_quantiles(b10, b50)
    assert found[0] == pytest.approx(shape, abs=5e-7)
    assert found[1] == pytest.approx(scale, abs=5e-7)
    assert found[0] * np.log(b50 / b10) == pytest.approx(1.8838544067, abs=1e-10)
    assert 1 - np.exp(-((b10 / found[1]) ** found[0])) == pytest.approx(0.1, abs=1e-12)


def test_two_clocks_of_one_shape_are_one_weibull():
    """Closed form: same shape b, calendar scale ea, distance scale em at r a year: the shorter life is
    Weibull(b, (ea^-b + (em/r)^-b)^(-1/b)); b 2.5, ea 18 y, em 90,000, r 4,000 a year."""
    lives = Lives([2.5], [90_000.0], [2.5], [18.0], [0.1])
    t = np.linspace(0.1, 40, 50)
    one = np.exp(-((t / 15.019089) ** 2.5))
    assert survival(4000 * t[:, None], t[:, None], lives)[:, 0] == pytest.approx(one, abs=1e-7)
    assert mean_life_years(lives, km_per_year=4000) == pytest.approx([13.325895], abs=1e-6)


def test_two_clocks_of_different_shapes():
    """Second method (numerical integration, 6 digits): shapes 1.5 (18 y) and 3 (90,000 at 4,000 a year):
    mean 12.595132 y, P(fails in 5 y | alive at 10 y) 0.426010."""
    lives = Lives([3.0], [90_000.0], [1.5], [18.0], [0.1])
    assert mean_life_years(lives, km_per_year=4000) == pytest.approx([12.595132], abs=1e-6)
    chance = failure_probability_within(20_000, 5, survived_km=40_000, survived_years=10, lives=lives)
    assert chance == pytest.approx([0.426010], abs=5e-7)


def test_three_more_years_of_a_forty_year_old_part():
    """Closed form: clocks 45 y (2.2) and 110,000 (3.1), at 40 y / 60,000, three years at 2,000."""
    lives = Lives([3.1], [110_000.0], [2.2], [45.0], [0.1])
    chance = failure_probability_within(6000, 3, survived_km=60_000, survived_years=40, lives=lives)
    assert chance == pytest.approx([0.169391880], abs=5e-10)


def test_conditions_are_shares_of_one_life():
    """Closed form: P(sound) = S(m/(1-v), t/(1-v)), P(worn) = S(m, t) - P(sound)."""
    lives = Lives([3.0], [90_000.0], [1.5], [18.0], [0.2])
    spent, worn, sound = condition_probabilities(30_000, 7, lives)[0]
    at_use, at_more = (np.exp(-((m / 90_000) ** 3) - (t / 18) ** 1.5) for m, t in ((3e4, 7), (37_500, 8.75)))
    assert (spent, worn, sound) == pytest.approx((1 - at_use, at_use - at_more, at_more), abs=1e-12)


def test_forward_pass_of_the_shock_absorber_data():
    """Published: Weibull fit of 38 vehicle shock absorbers (O'Connor, Practical Reliability Engineering,
    1985; Meeker & Escobar 1998, Table C.2): shape 3.160470, scale 27718.7 km, S(10,000) = 0.960714 for the
    modes in series and B10 13,600 km. A car driven 13,600 km since new and never seen has spent 10 %
    where nothing spent is renewed (deferral long beyond its life)."""
    lives = Lives([3.160470], [27718.718], [1.0], [np.inf], [0.1])
    nodes = np.linspace(0, 3, 13)
    result = forward_pass(plain_car(lives, nodes, today=8, deferral=1e6, km_per_year=6800.0))
    assert result.condition[0, 0, 0, 0, 0, 0] == pytest.approx(0.1, abs=5e-6)


def plain_car(lives: Lives, nodes, *, today: int, deferral, km_per_year: float = 0.0) -> PassInput:
    """No papers, no precaution, one pass point."""
    c = len(lives)
    return PassInput(
        nodes_years=nodes,
        today=today,
        lives=lives,
        years_clock=np.tile(nodes, (c, 1)),
        km_clock=np.tile(nodes * km_per_year, (1, c, 1)),
        life_factor=np.ones((c, 1, 1)),
        deferral_years=np.broadcast_to(np.asarray(deferral, float), (c,))[:, None],
        precaution_rate=np.zeros((c, 1)),
        replacement_life=np.ones((c, 1)),
        recording=np.zeros((1, 1, nodes.size - 1)),
        weight=np.ones((1, 1, 1, 1)),
    )


@pytest.mark.parametrize("mean_life", [1.0, 3.0, 10.0, 30.0])
def test_long_run_share_spent(mean_life):
    """Theorem (alternating renewal, any distributions): P(down) = MTTR / (MTTF + MTTR), here D/(L+D)."""
    deferral = np.array([0.02, 0.1, 0.5, 2.0, 5.0])
    lives = calendar_lives(2.5, np.full(5, mean_life / gamma(1 + 1 / 2.5)))
    years = 8 * (mean_life + 5)
    nodes = np.linspace(0, years + 1, int(4 * (years + 1)) + 1)
    result = forward_pass(plain_car(lives, nodes, today=int(4 * years), deferral=deferral))
    expected = deferral / (mean_life + deferral)
    assert result.condition[:, 0, 0, 0, 0, 0] == pytest.approx(expected, rel=0.005)
    assert long_run_spent_share(mean_life, deferral) == pytest.approx(expected, rel=1e-12)
    assert result.log_likelihood == pytest.approx(0.0, abs=1e-12)  # nothing seen, nothing told


def test_exponential_alternating_renewal_in_time():
    """Closed form: exponential life 1/1000 and repair 1/50 per hour, up at t=20 0.983668896, at t=100
    0.958212211. One of our years stands for eight hours, so steps are two hours."""
    lives = calendar_lives(1.0, 1000.0 / 8)
    nodes = np.linspace(0, 16, 65)
    for hours, up in ((20, 0.983668896), (100, 0.958212211)):
        result = forward_pass(plain_car(lives, nodes, today=hours // 2, deferral=50.0 / 8))
        assert 1 - result.condition[0, 0, 0, 0, 0, 0] == pytest.approx(up, abs=2e-5)


@pytest.mark.parametrize("shape", [1.0, 1.5, 2.0, 3.0])
def test_weibull_renewal_function(shape):
    """Published method, three independent computations agreeing to 5e-9: M(t) of the Weibull renewal
    process, series of Smith & Leadbetter, Technometrics 5, 1963. Scale 10 years, quarterly steps."""
    with RENEWAL_TABLE.open() as file:
        table = {
            float(row["t_over_eta"]): float(row["M_series"])
            for row in csv.DictReader(file)
            if float(row["shape"]) == shape
        }
    nodes = np.linspace(0, 20, 81)
    count = np.cumsum(
        expected_renewals(
            nodes_years=nodes, lives=calendar_lives(shape, 10.0), years_clock=nodes, km_clock=0 * nodes
        )[0]
    )
    assert count[39] == pytest.approx(table[1.0], rel=0.005)
    assert count[79] == pytest.approx(table[2.0], rel=0.005)


@pytest.mark.parametrize("shape", [1.0, 1.5, 2.0, 3.0])
def test_the_pass_without_deferral_counts_the_same_renewals(shape):
    """Second method: renewals expected after today by the pass itself, from a car bought new."""
    nodes = np.linspace(0, 20, 81)
    car = plain_car(calendar_lives(shape, 10.0), nodes, today=1, deferral=0.0)
    ahead = forward_pass(PassInput(**{**car.__dict__, "future": True})).future_renewals
    direct = expected_renewals(nodes_years=nodes, lives=car.lives, years_clock=nodes, km_clock=0 * nodes)
    assert ahead.sum() == pytest.approx(direct[0, 1:].sum(), rel=0.002)


@pytest.mark.parametrize(
    ("age", "ahead", "count"), [(0.5, 1.0, 1.15158655), (1.0, 0.5, 0.78157676), (1.0, 1.0, 1.34388916)]
)
def test_renewals_of_a_part_already_aged(age, ahead, count):
    """Second method (renewal equation of the delayed process, 8 digits): shape 2, aged and alive."""
    nodes = np.linspace(0, 10 * ahead, int(40 * ahead) + 1)
    found = expected_renewals(
        nodes_years=nodes,
        lives=calendar_lives(2.0, 10.0),
        years_clock=nodes,
        km_clock=0 * nodes,
        initial_years=10 * age,
    )
    assert found.sum() == pytest.approx(count, rel=0.005)


@pytest.mark.parametrize(("ahead", "chance"), [(0.5, 0.71349520), (1.0, 0.95021293)])
def test_at_least_one_failure_of_an_aged_part(ahead, chance):
    """Closed form: 1 - exp(a^2 - (a + t)^2) at a = 1, shape 2."""
    lives = calendar_lives(2.0, 1.0)
    found = failure_probability_within(0, ahead, survived_km=0, survived_years=1.0, lives=lives)
    assert found == pytest.approx([chance], abs=5e-9)


def test_age_unknown_long_running():
    """Theorem: with the age in its long-run distribution, expected renewals are t / mean exactly."""
    shape, scale = 2.0, 10.0
    mean = scale * gamma(1 + 1 / shape)
    edges = np.linspace(0, 40, 401)
    middle = (edges[1:] + edges[:-1]) / 2
    mass = np.exp(-((middle / scale) ** shape)) * np.diff(edges) / mean
    nodes = np.linspace(0, 12, 49)
    found = expected_renewals(
        nodes_years=nodes,
        lives=calendar_lives(shape, scale),
        years_clock=nodes,
        km_clock=0 * nodes,
        initial_years=middle,
        initial_mass=mass / mass.sum(),
    )
    assert np.cumsum(found[0])[[3, 23, 47]] == pytest.approx(np.array([1, 6, 12]) / mean, rel=0.002)


def test_spent_share_with_precautions():
    """Closed form: D P / (E + D P), E the integral of S(t) exp(-a t), P = 1 - a E (renewal reward)."""
    shape, scale, rate, deferral = 2.5, 9.0, 0.06, 1.5
    up, _ = integrate.quad(lambda t: np.exp(-((t / scale) ** shape) - rate * t), 0, 60)
    lives = calendar_lives(shape, scale)
    assert mean_life_years(lives, km_per_year=0, precaution_rate=rate) == pytest.approx([up], rel=1e-9)
    nodes = np.linspace(0, 121, 485)
    car = plain_car(lives, nodes, today=480, deferral=deferral)
    result = forward_pass(PassInput(**{**car.__dict__, "precaution_rate": np.array([[rate]])}))
    spent = deferral * (1 - rate * up)
    assert result.condition[0, 0, 0, 0, 0, 0] == pytest.approx(spent / (up + spent), rel=0.005)


def test_quantiles_by_root_finding():
    """Second method: the B10 and B50 lives come back from the survival by bisection."""
    lives = Lives.from_quantiles(b10_km=[6e4], b50_km=[1e5], b10_years=[np.nan], b50_years=[np.nan])
    for share, life in ((0.1, 6e4), (0.5, 1e5)):
        root = optimize.brentq(lambda m, s=share: survival(m, 0, lives)[0] - (1 - s), 1, 1e6)
        assert root == pytest.approx(life, rel=1e-9)
