"""In which order checks tell most about what a car is worth, each beyond those before it.

Where no check changes the deal by itself, values say nothing about which to make first. Every check still moves what
the car is worth to the buyer, and two that speak of the same rust move it once. They are taken one by one: next comes
the check that moves the worth farthest beyond what those before it already tell, less what it costs.

What is told is linear in the results, so that the covariances of results and worth are all that is needed; they are
exact over the draws, and no result is simulated.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from estimator.decide.board import Board

Floats = NDArray[np.float64]
MEAN_OVER_SD = float(
    np.sqrt(2 / np.pi)
)  # mean distance of a normal quantity from its mean, in standard deviations
NOTHING_LEFT = 1e-9  # of a result's variance: told by the others already


def telling_order(
    board: Board, made: Sequence[int], cost: Floats, opens: Sequence[int]
) -> tuple[list[int], Floats]:
    """The checks beside those made, most telling first; and (F,) how far each moves the worth beyond those before it.

    Parameters
    ----------
    made : checks made in any case, in order.
    cost : (F,) money each costs, its minutes included.
    opens : (F,) position of the check that must come before each, because it opens the place; -1 for none.

    Returns
    -------
    order : positions of the other checks. moves : (F,) money, on average; those of `made` in their own order.
    """
    inner, outer = covariances(board)
    variance = np.diag(inner).copy()
    unit = money_per_payoff(board) * MEAN_OVER_SD
    opener = np.asarray(opens, dtype=np.intp)
    free = np.ones(len(outer), dtype=bool)
    moves = np.zeros(len(outer))
    order: list[int] = []
    for step in range(len(outer)):
        left = np.diag(inner)
        told = np.where(
            left > NOTHING_LEFT * np.maximum(variance, 1e-300), outer**2 / np.maximum(left, 1e-300), 0.0
        )
        far = unit * np.sqrt(told)
        now = free & ((opener < 0) | ~free[opener])
        take = made[step] if step < len(made) else int(np.argmax(np.where(now, far - cost, -np.inf)))
        moves[take], free[take] = far[take], False
        if step >= len(made):
            order.append(take)
        if told[take] > 0:
            row = inner[take] / left[take]
            outer = outer - row * outer[take]
            inner = inner - np.outer(row, inner[take])
    return order, moves


def covariances(board: Board) -> tuple[Floats, Floats]:
    """(F, F) of what the results of all checks say of their signs, and (F,) of that with the payoff."""
    there, gone = board.results_of[..., 0], board.results_of[..., 1]
    says = there / np.maximum(there + gone, 1e-300)
    low, slope = (gone * says).sum(axis=1), ((there - gone) * says).sum(axis=1)
    twice_low, twice_slope = (gone * says**2).sum(axis=1), ((there - gone) * says**2).sum(axis=1)
    present = board.chance.mean(axis=0)
    off = (board.chance - present).astype(
        np.float32
    )  # the errors of sampling are a thousand times those of rounding
    inner = slope[:, None] * slope * (off.T @ off / board.draws).astype(float)
    inner[np.diag_indices(len(inner))] = twice_low + twice_slope * present - (low + slope * present) ** 2
    paid = board.payoff - board.payoff.mean()
    return inner, slope * ((paid / board.draws).astype(np.float32) @ off)


def money_per_payoff(board: Board) -> float:
    """How far the most to pay moves with the mean payoff."""
    rho = board.settlement.rho
    return 1.0 if rho is None else rho / float(board.payoff.mean())
