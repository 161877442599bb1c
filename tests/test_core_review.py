"""What a second pair of eyes found in the path from papers to outlay; each test failed before its cure."""

from __future__ import annotations

import datetime

import pytest

from estimator.car import resolve
from estimator.catalogue.load import load_catalogue
from estimator.history import odometer_hypotheses
from tests.cars import saloon


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


def test_two_odometers_replaced_on_one_day_are_read(catalogue):
    more = """
[[odometer_replaced]]
date = 1999-01-01
old = 50000
[[odometer_replaced]]
date = 1999-01-01
new = 100
"""
    assert odometer_hypotheses(resolve(saloon(more), catalogue))


@pytest.mark.parametrize("days", [0, 3, 60])
def test_a_car_days_old_has_not_turned_over(catalogue, days):
    """By hand: a million kilometres in two months would be 16,000 a day."""
    built = datetime.date(2026, 5, 4) - datetime.timedelta(days=days)
    found = odometer_hypotheses(resolve(saloon(built=str(built), odometer=5), catalogue))
    assert found[0].label == "as shown"
    assert found[0].weight > 0.99
