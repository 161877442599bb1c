"""What to renew while it is apart: against trying every choice, and turning at the stated break-even."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest

from estimator.decide.ahead import new_part_need
from estimator.decide.while_apart import Neighbours, best_choice, break_even, total_cost
from estimator.wear.life import Lives


def invented(seed: int, n: int) -> Neighbours:
    rng = np.random.default_rng(seed)
    now = rng.uniform(10, 200, n)
    return Neighbours(
        now=now,
        further=rng.random((n, 3)) < 0.4,
        step_cost=rng.uniform(0, 120, 3),
        later=now + rng.uniform(50, 600, n),
        need=rng.uniform(0, 0.9, n),
        need_new=rng.uniform(0, 0.1, n),
    )


def enumerated(found: Neighbours) -> float:
    """Second method: every choice there is, its cost in plain loops."""
    n = found.now.size
    least = float("inf")
    for renew in itertools.product((False, True), repeat=n):
        cost = 0.0
        for s in range(found.step_cost.size):
            if any(renew[i] and found.further[i, s] for i in range(n)):
                cost += found.step_cost[s]
        for i in range(n):
            cost += (
                found.now[i] + found.need_new[i] * found.later[i]
                if renew[i]
                else found.need[i] * found.later[i]
            )
        least = min(least, cost)
    return least


@pytest.mark.parametrize("seed", range(30))
def test_choice_equals_enumeration(seed):
    found = invented(seed, 1 + seed % 7)
    assert total_cost(found, best_choice(found)) == pytest.approx(enumerated(found), abs=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_the_choice_turns_at_the_stated_break_even(seed):
    """Just above the break-even the part is renewed in the best choice, just below it is put back."""
    found = invented(100 + seed, 5)
    turned = 0
    for i in range(5):
        edge = break_even(found, i)
        if not 0.001 < edge < 0.999:
            continue
        for shift, renewed in ((1e-4, True), (-1e-4, False)):
            need = found.need.copy()
            need[i] = edge + shift
            assert best_choice(dataclasses.replace(found, need=need))[i] == renewed
        turned += 1
    assert turned > 0


def test_break_even_of_one_part_by_hand():
    """By hand: part and labour 40, to be reached again 400, never again if renewed: break-even 40 / 400 = 0.1; with a
    new one failing one time in twenty 0.15; with a further step of 60 of its own 0.3."""
    one = Neighbours(
        now=np.array([40.0]), further=np.zeros((1, 0), bool), step_cost=np.zeros(0), later=np.array([400.0]),
        need=np.array([0.12]), need_new=np.array([0.0]),
    )  # fmt: skip
    assert break_even(one, 0) == pytest.approx(0.1)
    assert best_choice(one).tolist() == [True]
    weak = dataclasses.replace(one, need_new=np.array([0.05]))
    assert break_even(weak, 0) == pytest.approx(0.15)
    assert best_choice(weak).tolist() == [False]
    deep = dataclasses.replace(weak, further=np.ones((1, 1), bool), step_cost=np.array([60.0]))
    assert break_even(deep, 0) == pytest.approx(0.3)


def test_two_parts_behind_one_further_step_are_worth_it_together():
    """By hand: each saves 50 by itself, the step to both costs 80: alone neither, together both."""
    pair = Neighbours(
        now=np.array([50.0, 50.0]), further=np.ones((2, 1), bool), step_cost=np.array([80.0]),
        later=np.array([400.0, 400.0]), need=np.array([0.25, 0.25]), need_new=np.zeros(2),
    )  # fmt: skip
    assert best_choice(pair).tolist() == [True, True]
    alone = Neighbours(*(getattr(pair, f.name)[:1] for f in dataclasses.fields(pair)))
    assert best_choice(
        dataclasses.replace(alone, step_cost=pair.step_cost, further=pair.further[:1])
    ).tolist() == [False]
    assert (
        best_choice(
            Neighbours(*(np.zeros(0) for _ in range(1)), np.zeros((0, 0), bool), *(np.zeros(0),) * 4)
        ).size
        == 0
    )


def test_need_of_a_new_part():
    """Closed form: Weibull shape 3 scale 90,000 km at 6,000 a year for 5 years: 1 - exp(-(1/3)^3); spread over cars
    by Gauss-Hermite against plain simulation."""
    lives = Lives([3.0], [90_000.0], [1.0], [np.inf], [0.1])
    sure = new_part_need(lives, horizon_years=5, km_rate=[6000.0], years_rate=[1.0])
    assert sure == pytest.approx([1 - np.exp(-1 / 27)], abs=1e-12)
    rng = np.random.default_rng(1)
    factor = np.exp(0.4 * rng.standard_normal(400_000))
    plain = np.mean(1 - np.exp(-((30_000 / (90_000 * 0.8 * factor)) ** 3)))
    spread = new_part_need(
        lives, horizon_years=5, km_rate=[6000.0], years_rate=[1.0], life_share=0.8, log_sd=0.4
    )
    assert spread[0] == pytest.approx(plain, abs=0.002)
