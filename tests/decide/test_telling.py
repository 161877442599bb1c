"""The order in which checks tell most, each beyond those before it."""

from __future__ import annotations

import numpy as np
import pytest

from estimator.decide.board import Board
from estimator.decide.stakes import Settlement
from estimator.decide.telling import MEAN_OVER_SD, telling_order

NONE = (-1, -1, -1, -1, -1, -1)


def board(n=40_000, *, rho=None, channel=None, seed=3):
    """Six checks on a car with three faults; the second looks at the same fault as the first, a little worse."""
    rng = np.random.Generator(np.random.PCG64(seed))
    faults = rng.random((n, 3)) < (0.4, 0.3, 0.2)
    worth = 6000 - faults @ np.array([2000.0, 900.0, 1500.0]) - rng.uniform(0, 300, n)
    seen = faults[:, (0, 0, 1, 2, 1, 2)]
    chance = np.where(seen, (0.9, 0.85, 0.9, 0.9, 0.5, 0.3), (0.05, 0.1, 0.1, 0.1, 0.5, 0.3))
    payoff = worth if rho is None else np.exp((worth.mean() - worth) / rho)
    shift = 0.0 if rho is None else float(worth.mean())
    settle = Settlement(np.linspace(3000, 5000, 64), 5000.0, 0.5, rho, shift)
    return Board(chance, payoff, settle, channel=channel), worth


def test_what_the_same_fault_told_already_comes_late():
    made, _ = board()
    order, moves = telling_order(made, [], np.zeros(6), NONE)
    assert order[0] == 0
    assert set(order[1:3]) == {2, 3}
    assert order[3] == 1  # alone it would be second
    alone = telling_order(made, [1], np.zeros(6), NONE)[1]
    assert alone[1] > max(moves[2], moves[3]) > moves[1]
    assert moves[4:] == pytest.approx(
        [0, 0], abs=30
    )  # as likely either way: nothing but the draws' own scatter


def test_order_and_distances_equal_a_regression_on_simulated_results():
    """Second method: what one more result adds to the variance explained by least squares."""
    made, worth = board()
    order, moves = telling_order(made, [], np.zeros(6), NONE)
    x = (np.random.Generator(np.random.PCG64(1)).random(made.chance.shape) < made.chance).astype(float)
    before = 0.0
    for k in range(1, 5):
        table = np.column_stack([np.ones(made.draws), x[:, order[:k]]])
        fitted = table @ np.linalg.lstsq(table, worth, rcond=None)[0]
        told = float(fitted.var())
        assert moves[order[k - 1]] == pytest.approx(
            MEAN_OVER_SD * np.sqrt(max(told - before, 0)), rel=0.03, abs=15
        )
        before = told


def test_money_of_one_who_minds_risk():
    """For a tolerance far beyond what is at stake the mean alone counts: the same distances (closed form, limit)."""
    plain = telling_order(board()[0], [], np.zeros(6), NONE)[1]
    calm = telling_order(board(rho=1e6)[0], [], np.zeros(6), NONE)[1]
    assert calm == pytest.approx(plain, rel=0.02, abs=3)


def test_cost_counts_and_what_must_be_opened_comes_first():
    made, _ = board()
    dear = np.array([5000.0, 0, 0, 0, 0, 0])
    order, _ = telling_order(made, [], dear, NONE)
    assert order[0] == 1
    assert order[-1] == 0
    order, _ = telling_order(made, [], np.zeros(6), (3, -1, -1, -1, -1, -1))
    assert order.index(3) < order.index(0)


def test_checks_made_are_counted_first_and_not_listed():
    made, _ = board()
    order, moves = telling_order(made, [1, 3], np.zeros(6), NONE)
    assert sorted(order) == [0, 2, 4, 5]
    assert moves[1] > 0
    assert moves[0] < telling_order(made, [], np.zeros(6), NONE)[1][0]


def test_a_coarse_reading_moves_the_worth_less_than_a_sharp_one():
    sharp = np.broadcast_to(np.eye(2), (6, 2, 2))
    blunt = sharp.copy()
    blunt[0] = [[0.7, 0.3], [0.3, 0.7]]
    fine, coarse = (telling_order(board(channel=c)[0], [0], np.zeros(6), NONE)[1][0] for c in (sharp, blunt))
    assert coarse == pytest.approx(
        0.4 * fine, rel=0.15
    )  # by hand: slope 0.4, the variance of the result about as before
