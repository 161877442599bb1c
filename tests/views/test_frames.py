"""Frames hold what the assessment says, arranged. Tags: by hand, closed form, second method."""

from __future__ import annotations

import math

import pytest

from estimator.assess import Assessment
from estimator.catalogue.records import SYSTEMS
from estimator.views import frames, plan, words


def test_dots_are_the_twenty_outcomes_each_inside_its_column(assessment: Assessment) -> None:
    """By hand: twenty rows, heights count up from one, every amount within its column."""
    frame = frames.dots(assessment)
    assert sorted(frame["amount"]) == sorted(assessment.dots)
    assert len(frame) == 20
    assert ((frame["left"] <= frame["amount"]) & (frame["amount"] <= frame["right"])).all()
    for _, column in frame.groupby("left"):
        assert sorted(column["height"]) == list(range(1, len(column) + 1))


@pytest.mark.parametrize("place", [0.0, 0.3, 1.7])
def test_no_column_of_dots_straddles_the_budget(assessment: Assessment, place: float) -> None:
    """By hand: with 0.3 and 1.7 times the middle outcome left, each column is on one side."""
    room = place * assessment.dots[10]
    frame = frames.dots(assessment, room=room)
    assert (frame.groupby("left")["side"].nunique() == 1).all()
    assert (frame["side"] == frames.BEYOND).sum() == sum(x > room for x in assessment.dots)


@pytest.mark.parametrize(
    ("span", "columns", "step"),
    [(100, 10, 10), (101, 10, 20), (4_999, 11, 500), (24, 10, 2.5), (0.9, 9, 0.1)],
)
def test_steps_are_round(span: float, columns: int, step: float) -> None:
    """By hand: the least of 1, 2, 2.5, 5 times a power of ten that needs no more columns."""
    assert frames.nice_step(span, columns) == pytest.approx(step)


def test_reasons_start_where_the_one_before_ended_and_add_up(assessment: Assessment) -> None:
    """Closed form: the points telescope to P(spent), grouped small findings included."""
    for part in assessment.components[:60]:
        frame = frames.why(part)
        assert list(frame["start"][1:]) == list(frame["end"][:-1])
        assert frame["start"].iloc[0] == 0
        assert math.isclose(frame["end"].iloc[-1], part.p_spent * 100, abs_tol=1e-7)


def test_every_system_stands_in_one_area_and_no_cost_is_lost(assessment: Assessment) -> None:
    """By hand: areas partition the systems. Second method: their means add to the total's, drawn as one sum; comfort
    and looks, priced by themselves, stand apart.
    """
    placed = [system for _, systems in frames.AREAS.values() for system in systems]
    assert sorted(placed) == sorted(SYSTEMS)
    frame = frames.areas(assessment)
    assert frame["mean"].sum() == pytest.approx(assessment.total.plan_year.mean, rel=1e-5)
    assert frame["comfort"].sum() == pytest.approx(assessment.comfort.mean, rel=1e-5)
    assert assessment.comfort.mean > 1
    lines = plan.legend(frame, assessment.currency)
    total = words.about(assessment.total.plan_year.mean, assessment.currency)
    assert f"Together, about {total}" in lines
    assert lines[-1].startswith("Apart: comfort and looks")
    assert frame["share"].sum() == pytest.approx(1)
    assert frame["mean"].is_monotonic_decreasing


def test_parts_are_those_with_a_cost_in_order_comfort_apart(assessment: Assessment) -> None:
    frame = frames.parts(assessment)
    assert frame["mean"].is_monotonic_decreasing
    assert words.NEEDS["comfort"] not in set(frame["need"])
    both = len(frame) + len(frames.parts(assessment, comfort=True))
    assert both == sum(c.mean_cost > 0 for c in assessment.components)
    known = frame.dropna(subset=["low"])
    assert ((known["low"] <= known["middle"]) & (known["middle"] <= known["high"])).all()


def test_found_and_hidden_means_add_to_the_total(assessment: Assessment) -> None:
    """Closed form: means add."""
    frame = frames.found_and_not(assessment)
    assert frame["mean"].sum() == pytest.approx(assessment.total.plan_year.mean)


def test_need_classes_add_to_all_parts(assessment: Assessment) -> None:
    """Second method: they add to the total, drawn as one sum, and comfort and looks stand apart."""
    *needs, together, comfort = frames.by_need(assessment)["mean"]
    assert sum(needs) == pytest.approx(assessment.total.plan_year.mean, rel=1e-5)
    assert together == pytest.approx(sum(needs))
    assert comfort == pytest.approx(assessment.comfort.mean, rel=1e-5)


def test_the_curve_falls_and_starts_at_zero(assessment: Assessment) -> None:
    frame = frames.exceedance(assessment)
    assert frame["amount"].is_monotonic_increasing
    assert frame["chance"].is_monotonic_decreasing
    assert frame["amount"].iloc[0] == 0
