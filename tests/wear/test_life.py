"""Lives: properties and refusals; the numbers are in tests/outside/test_life_and_renewal.py."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.wear.life import (
    Lives,
    condition_probabilities,
    failure_probability_within,
    mean_life_years,
    survival,
    weibull_from_quantiles,
)

stretch = st.floats(0, 2)  # in units of the scale


def lives_of(shape_km=3.0, shape_years=1.5, share=0.2) -> Lives:
    return Lives([shape_km], [1e5], [shape_years], [20.0], [share])


@given(a=stretch, b=stretch, c=stretch)
def test_two_stretches_are_one_long_one(a, b, c):
    """S(a + b | s) = S(a | s) S(b | s + a) on both clocks."""

    def survive(further, so_far):
        chance = failure_probability_within(
            further * 1e5,
            further * 20,
            survived_km=so_far * 1e5,
            survived_years=so_far * 20,
            lives=lives_of(),
        )
        return 1 - chance[0]

    assert survive(a + b, c) == pytest.approx(survive(a, c) * survive(b, c + a), abs=1e-9)


@given(m=stretch, t=stretch, share=st.floats(0, 0.9))
def test_conditions_sum_to_one_and_age_only_one_way(m, t, share):
    now, later = (
        condition_probabilities(m * 1e5 * f, t * 20 * f, lives_of(share=share))[0] for f in (1, 1.1)
    )
    assert now.sum() == pytest.approx(1, abs=1e-12)
    assert (now >= 0).all()
    assert later[0] >= now[0] - 1e-12
    assert later[2] <= now[2] + 1e-12


def test_a_missing_clock_never_runs_out():
    lives = Lives.from_quantiles(b10_km=[np.nan], b50_km=[np.nan], b10_years=[8], b50_years=[15])
    assert survival(1e9, 15, lives) == pytest.approx([0.5])
    assert mean_life_years(lives, km_per_year=1e5) == pytest.approx(mean_life_years(lives, km_per_year=0))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: weibull_from_quantiles(15, 8), "0 < B10 < B50"),
        (lambda: weibull_from_quantiles([1, 2], [2, np.inf]), "at index"),
        (lambda: weibull_from_quantiles(np.nan, 8), "got B10 nan"),
        (lambda: Lives([1.0], [np.inf], [1.0], [np.inf], [0.1]), "neither a distance nor a time clock"),
        (lambda: Lives([1.0], [1.0], [1.0], [1.0], [1.0]), "warning_share of component 0"),
        (
            lambda: Lives([1.0, -2.0], [1.0, 1.0], [1.0, 1.0], [1.0, 1.0], [0.1, 0.1]),
            "shape_km of component 1",
        ),
        (lambda: Lives([1.0], [1.0, 1.0], [1.0], [1.0], [0.1]), "scale_km has 2 components"),
        (lambda: survival(-1, 1, lives_of()), "distance_km must be >= 0, got -1"),
        (lambda: survival(1, np.nan, lives_of()), "time_years"),
        (
            lambda: mean_life_years(Lives([1.0], [1e5], [1.0], [np.inf], [0.1]), km_per_year=0),
            "stand still",
        ),
    ],
)
def test_bad_input_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()
