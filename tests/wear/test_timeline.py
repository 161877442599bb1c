"""The timeline: nodes, distance and clocks. Expected numbers are sums by hand unless marked."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.wear.timeline import node_grid, node_of, odometer_at, years_clock

PRIOR = [(0.0, 12_000.0), (10.0, 8_000.0)]


def drive(nodes, readings, *, today=40.0, ahead=3000.0, use=()):
    return odometer_at(
        np.asarray(nodes, float),
        readings=readings,
        annual_km_prior_by_age=PRIOR,
        today_years=today,
        future_annual_km=ahead,
        use=use,
    )


@given(
    today=st.floats(0.3, 70),
    events=st.lists(st.floats(0, 1), max_size=20),
    horizon=st.one_of(st.just(0.0), st.floats(0.01, 5)),
    fine=st.integers(1, 3),
)
def test_steps_are_short_enough_and_events_are_nodes(today, events, horizon, fine):
    """At most a quarter of a year in the last 20 years and the future, at most half a year before."""
    dates = np.array(events) * today
    nodes = node_grid(today, horizon_years=horizon, events=dates, fine=fine)
    steps = np.diff(nodes)
    recent = nodes[1:] > today - 20 + 1e-6
    assert (steps > 0).all()
    assert steps.max() <= 0.5 / fine + 1e-9
    assert steps[recent].max() <= 0.25 / fine + 1e-9
    assert nodes[0] == 0
    assert today in nodes
    assert nodes[-1] == today + horizon
    assert np.abs(nodes[node_of(nodes, dates)] - dates).max(initial=0) < 1 / 365


def test_fine_halves_every_step():
    nodes, halved = (node_grid(33.3, events=[7.1, 20.2], fine=f) for f in (1, 2))
    assert halved[::2] == pytest.approx(nodes, abs=1e-12)
    assert halved.size == 2 * nodes.size - 1


def test_distance_is_linear_between_readings_and_planned_from_today():
    """(0, 0), (10, 100,000), today (40, 160,000), then 3,000 a year."""
    km = drive([0, 5, 10, 25, 40, 41.5], [(40.0, 160e3), (10.0, 100e3)])
    assert km == pytest.approx([0, 50e3, 100e3, 130e3, 160e3, 164.5e3])


def test_distance_after_the_last_reading_follows_the_prior():
    """Reading 60,000 at 5 years; 12,000 a year to 10, then 8,000: 60 + 60 + 80 = 200 thousand at 20."""
    assert drive([5, 10, 20], [(5.0, 60e3)], today=20.0) == pytest.approx([60e3, 120e3, 200e3])


def test_a_laid_up_car_stands_still():
    """100,000 km between 10 and 40 years, laid up from 15 to 35: 10 years of use, 10,000 each."""
    km = drive([10, 15, 25, 35, 37, 40], [(10.0, 50e3), (40.0, 150e3)], use=[(15.0, 35.0, 0.0)])
    assert km == pytest.approx([50e3, 100e3, 100e3, 100e3, 120e3, 150e3])


def test_distance_driven_while_laid_up_throughout_is_not_lost():
    """Nothing but lay-up between two readings that differ: spread evenly."""
    km = drive([20, 25, 30], [(20.0, 50e3), (30.0, 51e3)], today=30.0, use=[(15.0, 35.0, 0.0)])
    assert km == pytest.approx([50e3, 50.5e3, 51e3])


def test_years_clock_integrates_periods_lived():
    """10 years at 1, 20 at 0.5, 5 at 1.5: 10, 20, 27.5; the later period rules where two overlap."""
    clock = years_clock([0, 10, 30, 35], [(10, 30, 0.5), (30, 35, 1.5)])
    assert clock == pytest.approx([0, 10, 20, 27.5])
    assert years_clock([0, 10], [(0, 10, 0.5), (5, 10, 2.0)]) == pytest.approx([0, 12.5])
    assert years_clock([0, 4, 8], [(3, 5, 0.0)]) == pytest.approx([0, 3, 6])  # ends between nodes


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: drive([0, 1], [(10.0, 9e4), (20.0, 8e4)]), "Readings fall from 90000 km"),
        (lambda: drive([0, 1], [(41.0, 9e4)]), "between 0 and today"),
        (lambda: drive([0, 1], [(10.0, float("nan"))]), "nan km"),
        (lambda: drive([0, 1], [(10.0, -5.0)]), "-5 km"),
        (lambda: drive([0, 1], [], ahead=-1.0), "planned annual distance"),
        (lambda: node_grid(0.0), "age today must be > 0"),
        (lambda: node_grid(float("nan")), "got nan"),
        (lambda: node_grid(20.0, horizon_years=-1.0), "horizon"),
        (lambda: node_grid(20.0, events=[25.0]), "An event at age 25 years lies outside"),
        (lambda: years_clock([0, 1], [(5, 4, 1.0)]), "ends"),
        (lambda: years_clock([0, 1], [(0, 1, -1.0)]), "rate"),
    ],
)
def test_bad_input_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()
