"""What the odometer may really have turned."""

from __future__ import annotations

import datetime

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from estimator.car import resolve
from estimator.catalogue.load import load_catalogue
from estimator.history import odometer_hypotheses
from estimator.odometer import Shown, hypotheses, usual_km
from tests.cars import saloon

SETTINGS = load_catalogue().settings.evidence
TURN_KM = 100_000 * 1.609344


def _weights(shown, **more):
    found = hypotheses(
        shown, prior=SETTINGS.distance, settings=SETTINGS.odometer,
        **{"imported": False, "turn_km": TURN_KM, **more},
    )  # fmt: skip
    assert sum(h.weight for h in found) == pytest.approx(1.0)
    assert all(h.weight >= SETTINGS.odometer.floor for h in found)
    assert len(found) <= SETTINGS.odometer.most
    return {h.label: h for h in found}


def test_candidates_are_whole_turns_apart():
    """Candidate true distances are reading + k turns (49 CFR 580 App. B: a five-digit odometer's mechanical limit)."""
    found = _weights([Shown(30.0, 30_000.0)])
    for label, turns in (("as shown", 0), ("turned over once", 1), ("turned over twice", 2)):
        if label in found:
            assert found[label].today_km == pytest.approx(30_000 + turns * TURN_KM)
    assert found["turned over once"].weight > 0.2


def test_an_old_car_driven_little_is_as_shown_and_a_fleet_car_has_turned_over():
    """Published yearly distances (household and historic-vehicle surveys): what is usual is likelier."""
    records = [Shown(3.0, 45_000.0), Shown(10.0, 120_000.0), Shown(25.0, 150_000.0), Shown(45.0, 159_000.0)]
    assert _weights(records)["as shown"].weight > 0.6
    fleet = [Shown(12.0, 2_000.0)]
    assert (
        _weights(fleet)["turned over once"].weight > _weights(fleet).get("as shown", fleet and _Zero()).weight
    )


class _Zero:
    weight = 0.0


def test_a_fall_between_readings_is_a_turn_over_or_tampering():
    found = _weights([Shown(5.0, 100_000.0), Shown(10.0, 20_000.0)])
    assert all(h.today_km > 100_000 for h in found.values())
    assert (
        found["tampered with"].weight
        > _weights([Shown(5.0, 100_000.0), Shown(10.0, 140_000.0)]).get("tampered with", _Zero()).weight
    )


def test_on_the_day_of_the_replacement_a_reading_is_the_old_ones():
    """By hand: 80,000 read and replaced at eight years, 30,000 at twelve: 110,000, not 80,000 twice."""
    shown = [Shown(8.0, 80_000.0), Shown(12.0, 30_000.0)]
    found = _weights(shown, replaced=[(8.0, 80_000.0, 0.0)])
    assert found["as shown"].today_km == pytest.approx(110_000)


def test_a_replaced_odometer_is_added():
    """By hand: 80,000 on the old one, started again at 0, shows 30,000: 110,000 in all."""
    found = _weights([Shown(5.0, 60_000.0), Shown(12.0, 30_000.0)], replaced=[(8.0, 80_000.0, 0.0)])
    assert found["as shown"].today_km == pytest.approx(110_000)


def test_imports_are_tampered_with_more_often():
    """Published: 5-12 % of national, 30-50 % of cross-border used sales (European Parliament, May 2018)."""
    assert 0.05 <= SETTINGS.odometer.tampered_home <= 0.12
    assert 0.30 <= SETTINGS.odometer.tampered_import <= 0.50
    shown = [Shown(9.0, 60_000.0)]
    home, abroad = _weights(shown), _weights(shown, imported=True)
    assert abroad["tampered with"].weight > home["tampered with"].weight


def test_idle_years_do_not_count_as_driven():
    """By hand: a car idle for all but two years does two years' distance."""
    two = usual_km(2.0, prior=SETTINGS.distance)
    assert usual_km(22.0, prior=SETTINGS.distance, idle=[(2.0, 22.0, 0.0)]) == pytest.approx(two, rel=0.01)


def test_many_unusual_years_leave_the_last_reading_to_be_judged():
    """Sixty years far beyond what is usual used to make every story impossible (exp of -800 is 0): as shown, then."""
    shown = [Shown(float(age), 2_000_000.0 * age) for age in range(1, 61)] + [Shown(61.0, 1_000.0)]
    found = hypotheses(
        shown, turn_km=1e10, prior=SETTINGS.distance, settings=SETTINGS.odometer, imported=True
    )
    assert found[0].label == "tampered with"
    assert sum(h.weight for h in found) == pytest.approx(1.0)


def test_a_car_driven_little_before_and_after_a_gap_did_not_turn_over_within_it():
    """Common practice: a book that shows a few thousand km a year on both sides of five silent years is believed."""
    steady = [Shown(float(age), 4_000.0 * age) for age in (1, 2, 3, 4, 5, 10, 11, 12, 13, 14, 20)]
    assert _weights(steady)["as shown"].weight > 0.9
    busy = [Shown(float(age), 30_000.0 * age) for age in (1, 2, 3, 4, 5)]
    busy += [Shown(age, 150_000.0 + 14_000.0 + 25_000.0 * (age - 10)) for age in (10.0, 11.0, 12.0, 13.0)]
    assert _weights(busy)["turned over once"].weight > 0.9


def _mean_sd(years: int) -> float:
    """Spread of the mean of so many years, by adding up the covariances of all pairs of moments in them."""
    settings, moments = SETTINGS.odometer, (np.arange(4_000) + 0.5) * years / 4_000
    pairs = np.exp(-np.abs(moments[:, None] - moments[None, :]) / settings.steady_years).mean()
    own = (1 - settings.steadiness) / years  # a year's own luck, gone in the next
    return settings.log_sd * float(np.sqrt(own + settings.steadiness * pairs))


def test_intervals_near_in_time_are_weighed_together():
    """Second method (scipy.stats.multivariate_normal): log density ratio of two stories of the same three intervals."""
    shown = [Shown(4.0, 30_000.0), Shown(10.0, 45_000.0), Shown(14.0, 60_000.0)]
    found = _weights(shown)
    middles, alike = np.array([2.0, 7.0, 12.0]), np.eye(3)
    for i, j in ((0, 1), (0, 2), (1, 2)):
        alike[i, j] = alike[j, i] = SETTINGS.odometer.steadiness * np.exp(
            -abs(middles[i] - middles[j]) / SETTINGS.odometer.steady_years
        )

    def density(km):
        gone = np.diff([0.0, *km])
        usual = [usual_km(b, prior=SETTINGS.distance) - usual_km(a, prior=SETTINGS.distance)
                 for a, b in ((0, 4), (4, 10), (10, 14))]  # fmt: skip
        ratio = np.log(gone / usual)
        above = np.array([_mean_sd(years) for years in (4, 6, 4)])
        score = ratio / np.where(ratio > 0, above, 2 * SETTINGS.odometer.log_sd)
        return multivariate_normal(np.zeros(3), alike).logpdf(score)

    once = density([30_000.0, 45_000.0 + TURN_KM, 60_000.0 + TURN_KM]) - density(
        [30_000.0, 45_000.0, 60_000.0]
    )
    told = np.log(found["turned over once"].weight / found["as shown"].weight)
    assert told == pytest.approx(once, abs=1e-5)


@pytest.mark.parametrize("old", ["", "old = 61000"])
def test_the_record_and_the_engine_add_the_same_for_a_replaced_odometer(old):
    """Second method: the case's own readings against the engine's. By hand where the old one's last figure is unknown:
    the engine adds the usual distance since the last reading, the record by itself nothing."""
    more = f"""
[[reading]]
date = 1990-05-01
odometer = 50000
[[odometer_replaced]]
date = 1992-05-01
{old}
new = 10
"""
    car = resolve(saloon(more, odometer=70_000), load_catalogue())
    as_shown = next(h for h in odometer_hypotheses(car) if h.label == "as shown").today_km
    record = car.case.dated_readings[-1].km
    if old:
        assert record == as_shown == pytest.approx(61_000 + 70_000 - 10)
        return
    ages = [(datetime.date(year, 5, 1) - car.case.car.built).days / 365.25 for year in (1990, 1992)]
    since = usual_km(ages[1], prior=SETTINGS.distance) - usual_km(ages[0], prior=SETTINGS.distance)
    assert record == pytest.approx(50_000 + 70_000 - 10)
    assert as_shown == pytest.approx(record + since, rel=1e-3)


def test_a_replaced_odometer_that_had_turned_over_loses_no_distance():
    """By hand: read 90,000 and last showed 5,000 (turned over): the distance read stays, in record and engine."""
    more = """
[[reading]]
date = 1990-05-01
odometer = 90000
[[odometer_replaced]]
date = 1992-05-01
old = 5000
"""
    car = resolve(saloon(more, odometer=70_000), load_catalogue())
    assert car.case.dated_readings[-1].km == pytest.approx(160_000)
    as_shown = next(h for h in odometer_hypotheses(car) if h.label == "as shown")
    assert as_shown.today_km == pytest.approx(160_000)


@pytest.mark.parametrize("shown_km", [20_000.0, 60_000.0, 138_400.0, 300_000.0])
def test_nobody_drove_an_old_car_a_million_km(shown_km):
    """Published (household travel survey 2017): cars of one to five years do some 12,000 miles (19,300 km) a year,
    those over nine 7,800. Six whole figures turned over at 41 years would be more than that in every year of them."""
    age, turn_km = 41.0, 1_000_000.0
    assert (shown_km + turn_km) / age > 12_000 * 1.609344 > SETTINGS.distance.yearly_km(0.0)
    found = _weights([Shown(age, shown_km)], turn_km=turn_km)
    assert "as shown" in found
    assert not [label for label in found if label.startswith("turned over")]
