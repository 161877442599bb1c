"""The forward pass against the event-by-event simulator of tests/reference/wear_events.py.

Second method throughout: the simulator draws lives, waits and precautions one event at a time; papers and
what was seen weigh each simulated car by their probability given its events. Agreement is asked within
four standard errors of the simulation and 0.5 % for the step.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence

import numpy as np
import pytest

from estimator.wear.records import Observation, PassInput, Renewal
from estimator.wear.renewal import forward_pass
from tests.reference.wear_events import (
    Part as FittedPart,
)
from tests.reference.wear_events import (
    Process,
    Tally,
    fit_part,
    fitted_at,
    history,
    silence,
)
from tests.wear.cars import Car, Part, pass_input, process

TODAY = 38.0
CARS = 12_000
TWO_CLOCKS = Part(b10_km=60e3, b50_km=110e3)
LAID_UP = Car(laid_up=((15.0, 27.0),), faster=((30.0, 60.0, 1.2),), events=(28.0,))
COLUMNS = (
    "spent",
    "worn",
    "sound",
    "age",
    "worn and due in 6 months",
    "sound and due in 12 months",
    "original",
)


def told_by(parts: Sequence[FittedPart]) -> tuple[float, ...]:
    """What the pass reports, of one simulated car."""
    part = parts[-1]
    condition, need = part.condition(TODAY), part.spent - TODAY
    return (
        condition == 0,
        condition == 1,
        condition == 2,
        TODAY - part.fitted,
        condition == 1 and need <= 0.5,
        condition == 2 and need <= 1.0,
        part.fitted == 0.0,
    )


def told_by_pass(inp: PassInput, point: int = 0) -> tuple[list[float], float]:
    """The same figures from the pass, and its log likelihood, at one life point."""
    result = forward_pass(inp)
    at = (0, 0, 0, 0, point)
    spent, worn, sound = result.condition[at]
    figures = [spent, worn, sound, result.mean_age_years[at]]
    figures += [worn * result.due[at][0, 5], sound * result.due[at][1, 11]]
    return [*figures, result.original_share[0]], float(result.log_likelihood[at])


def agree(tally: Tally, figures: Sequence[float], *, step: float = 0.005) -> None:
    """Every figure within four standard errors, plus `step` of it, plus one car in the sample."""
    one_car = 4 * max(tally.weights) / sum(tally.weights)
    for column, figure in enumerate(figures):
        mean, error = tally.mean(column)
        assert figure == pytest.approx(mean, abs=4 * error + step * mean + one_car), COLUMNS[column]


def evidence_agrees(tally: Tally, log_likelihood: float) -> None:
    mean, error = tally.evidence()
    assert math.exp(log_likelihood) == pytest.approx(mean, abs=4 * error + 0.005 * mean)


def simulate(
    machine: Process, weigh: Callable[[Sequence[FittedPart]], float], *, seed: int, cars: int = CARS
) -> Tally:
    rng, tally = random.Random(seed), Tally()
    for _ in range(cars):
        parts = history(machine, TODAY, rng)
        tally.add(weigh(parts), *told_by(parts))
    return tally


@pytest.mark.parametrize(
    ("part", "car"),
    [
        pytest.param(TWO_CLOCKS, LAID_UP, id="two clocks, laid up, second life, precautions"),
        pytest.param(Part(precaution_rate=0.0, replacement_life=1.0), Car(), id="time clock alone"),
        pytest.param(Part(b10_years=1.2, b50_years=2.5, deferral_years=0.1), Car(), id="short life"),
        pytest.param(Part(b10_years=12, b50_years=30, deferral_years=9.0), Car(), id="left spent for years"),
        pytest.param(
            Part(b10_km=90e3, b50_km=140e3, b10_years=np.nan, b50_years=np.nan, deferral_years=0.05),
            LAID_UP,
            id="distance clock alone",
        ),
    ],
)
def test_lives_without_papers(part, car):
    figures, log_likelihood = told_by_pass(pass_input(part, car))
    agree(simulate(process(part, car), lambda _: 1.0, seed=1), figures)
    assert log_likelihood == pytest.approx(0.0, abs=1e-9)


def recording_chance(when: float) -> float:
    """Papers complete to 0.9 from year 28 on, one renewal in ten on record before."""
    return 0.9 if when > 28 else 0.1


@pytest.mark.parametrize("deferral", [0.05, 0.6, 3.0])
@pytest.mark.parametrize("factor", [0.7, 1.2])
def test_silence_of_papers(deferral, factor):
    part = Part(b10_km=60e3, b50_km=110e3, deferral_years=deferral)
    inp = pass_input(part, LAID_UP, recording=recording_chance, life_factors=(factor,))
    tally = simulate(
        process(part, LAID_UP, life_factor=factor),
        lambda parts: silence(parts, recording_chance, between=(0, TODAY)),
        seed=2,
        cars=2 * CARS,
    )
    figures, log_likelihood = told_by_pass(inp)
    agree(tally, figures)
    evidence_agrees(tally, log_likelihood)


SEEN = [
    pytest.param([(31.0, (0.05, 0.3, 1.0))], id="seen sound"),
    pytest.param([(33.0, (0.1, 0.9, 0.2))], id="seen worn"),
    pytest.param([(36.0, (0.9, 0.2, 0.05))], id="seen spent"),
    pytest.param([(29.0, (0.2, 1.0, 1.0)), (35.0, (0.2, 1.0, 1.0))], id="annual tests passed"),
    pytest.param(
        [(24.0, (0.2, 1.0, 1.0)), (33.0, (0.1, 0.9, 0.2)), (36.5, (0.05, 0.4, 1.0))],
        id="passed, seen worn, seen sound",
    ),
]


@pytest.mark.parametrize("seen", SEEN)
def test_conditions_seen(seen):
    car = Car(laid_up=LAID_UP.laid_up, events=(28.0, *(date for date, _ in seen)))

    def weigh(parts):
        weight = silence(parts, recording_chance, between=(0, TODAY))
        for date, likelihood in seen:
            weight *= likelihood[fitted_at(parts, date).condition(date)]
        return weight

    inp = pass_input(
        TWO_CLOCKS,
        car,
        entries=lambda node: [Observation(node(date), likelihood) for date, likelihood in seen],
        recording=recording_chance,
    )
    tally = simulate(process(TWO_CLOCKS, car), weigh, seed=3, cars=2 * CARS)
    figures, log_likelihood = told_by_pass(inp)
    agree(tally, figures)
    evidence_agrees(tally, log_likelihood)


@pytest.mark.parametrize(
    ("credibility", "share", "extra", "seen"),
    [
        pytest.param(0.85, 1.0, 0.0, None, id="renewed, receipt"),
        pytest.param(0.6, 0.5, 0.0, None, id="overhauled, note"),
        pytest.param(0.97, 1.0, 6.0, None, id="old stock, invoice"),
        pytest.param(0.7, 0.9, 0.0, (36.0, (0.1, 0.6, 1.0)), id="renewed, seen since"),
    ],
)
def test_renewal_on_paper(credibility, share, extra, seen):
    """Two life points. A true entry at t0 has density k x (renewals per year at t0, silent before), then
    a fresh part goes its way; false, the car is as without it. The rate is counted over half a year
    around the date and over all cars, so its own error is allowed for."""
    date, factors = 32.0, (0.75, 1.4)
    car = Car(laid_up=LAID_UP.laid_up, events=(28.0, date, *([seen[0]] if seen else [])))
    inp = pass_input(
        TWO_CLOCKS,
        car,
        entries=lambda node: [
            Renewal(node(date), credibility, share, extra),
            *([Observation(node(seen[0]), seen[1])] if seen else []),
        ],
        recording=recording_chance,
        life_factors=factors,
    )

    def seen_weight(parts):
        return 1.0 if seen is None else seen[1][fitted_at(parts, seen[0]).condition(seen[0])]

    rng = random.Random(4)
    machines = [process(TWO_CLOCKS, car, life_factor=factor) for factor in factors]
    cars = [[history(machine, TODAY, rng) for _ in range(CARS)] for machine in machines]
    before = [[silence(parts, recording_chance, between=(0, date)) for parts in group] for group in cars]
    rates = [_rate(group, date) for group in cars]
    mass = [sum(weights) / CARS for weights in before]
    mean = sum(r * m for (r, _), m in zip(rates, mass, strict=True)) / sum(mass)
    for point, machine in enumerate(machines):
        tally = Tally()
        for parts in cars[point]:
            weight = silence(parts, recording_chance, between=(0, TODAY)) * seen_weight(parts)
            tally.add((1 - credibility) * weight, *told_by(parts))
        moved = credibility * mass[point] * rates[point][0] / mean
        for _ in range(CARS):
            first = fit_part(machine, date, rng, share=share, extra_age_years=extra)
            parts = history(machine, TODAY, rng, first=first)
            weight = silence(parts, recording_chance, between=(date, TODAY)) * seen_weight(parts)
            tally.add(moved * weight, *told_by(parts))
        figures, _ = told_by_pass(inp, point)
        # the share moved is as uncertain as the simulated rates; the original is reported over all points
        agree(tally, figures[:-1], step=0.005 + 2 * sum(error / rate for rate, error in rates))


def _rate(group: Sequence[Sequence[FittedPart]], date: float) -> tuple[float, float]:
    """Renewals per unit of mass silent so far within half a year around a date, and standard error."""
    low, high = date - 0.25, date + 0.25
    silent = [silence(parts, recording_chance, between=(0, low)) for parts in group]
    counts = [sum(low < part.fitted <= high for part in parts) for parts in group]
    total = sum(silent)
    rate = sum(s * c for s, c in zip(silent, counts, strict=True)) / total
    error = math.sqrt(sum((s * (c - rate)) ** 2 for s, c in zip(silent, counts, strict=True))) / total
    return rate, error


def test_the_likelihood_of_an_entry_favours_lives_that_fit_it():
    """Ratio of the two points' factors, all credibility on the entry: that of their simulated rates."""
    date, factors = 32.0, (0.75, 1.4)
    car = Car(laid_up=LAID_UP.laid_up, events=(28.0, date))
    told = [
        forward_pass(
            pass_input(TWO_CLOCKS, car, entries=entries, recording=lambda t: 0.0, life_factors=factors)
        ).log_likelihood[0, 0, 0, 0]
        for entries in (None, lambda node: [Renewal(node(date), 1.0)])
    ]
    ratio = math.exp((told[1] - told[0])[0] - (told[1] - told[0])[1])
    rng = random.Random(5)
    rates, errors = [], []
    for factor in factors:
        machine = process(TWO_CLOCKS, car, life_factor=factor)
        counts = []
        for _ in range(4 * CARS):
            parts = history(machine, date + 0.25, rng)
            counts.append(sum(date - 0.25 < part.fitted <= date + 0.25 for part in parts))
        rates.append(sum(counts) / len(counts))
        errors.append(1 / math.sqrt(sum(counts)))
    simulated = rates[0] / rates[1]
    assert ratio == pytest.approx(simulated, rel=4 * math.hypot(*errors) + 0.01)
