"""Years in which nobody keeps the car up: nothing is renewed, and what was fitted is as old as the lay-up."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from estimator.wear.life import survival
from estimator.wear.renewal import forward_pass
from tests.wear.cars import Car, Part, pass_input

PART = Part(b10_km=90_000.0, b50_km=180_000.0, deferral_years=0.9, precaution_rate=0.05)


def test_half_the_upkeep_is_twice_the_deferral_and_half_the_precautions() -> None:
    """Closed form: both only ever appear as pace times time."""
    half = forward_pass(dataclasses.replace(pass_input(PART, Car()), upkeep=0.5))
    slow = dataclasses.replace(PART, deferral_years=1.8, precaution_rate=0.025)
    same = forward_pass(pass_input(slow, Car()))
    np.testing.assert_allclose(half.condition, same.condition, rtol=1e-12)
    np.testing.assert_allclose(half.fitted_age, same.fitted_age, atol=1e-12)


def test_without_any_upkeep_the_first_part_is_still_fitted() -> None:
    """Closed form: P(spent) = 1 - S(km, years) of the part fitted when the car was built."""
    car = Car(laid_up=((20.0, 38.0),))
    inp = dataclasses.replace(pass_input(PART, car), upkeep=0.0)
    alive = survival(inp.km_clock[0, :, inp.today], inp.years_clock[:, inp.today], PART.lives())
    found = forward_pass(inp)
    assert found.condition[0, 0, 0, 0, 0, 0] == pytest.approx(1 - float(alive[0]), rel=1e-9)
    assert found.mean_age_years.ravel()[0] == pytest.approx(38.0)


def test_a_car_that_stood_has_the_parts_it_was_put_away_with() -> None:
    """By hand: put away for the last 18 of 38 years, nothing fitted can be younger than 18."""
    car = Car(laid_up=((20.0, 38.0),))
    inp = pass_input(PART, car)
    middle = (inp.nodes_years[1:] + inp.nodes_years[:-1]) / 2
    forgotten = dataclasses.replace(inp, upkeep=np.where((middle > 20) & (middle < 38), 0.0, 1.0))
    stood, kept = forward_pass(forgotten), forward_pass(inp)
    younger = stood.age_edges[1:] <= 18.0
    assert stood.fitted_age[0, younger].sum() == pytest.approx(0.0, abs=1e-12)
    assert kept.fitted_age[0, younger].sum() > 0.3
    assert stood.condition[..., 0].sum() > kept.condition[..., 0].sum()


def test_upkeep_out_of_range_is_named() -> None:
    with pytest.raises(ValueError, match="upkeep"):
        dataclasses.replace(pass_input(PART, Car()), upkeep=-0.1)
