"""What finding something out is worth before deciding.

The state of the world n has weight P(n); acting a pays `payoff[n, a]`; a check or question has
results r with chances `likelihood[n, r]`. Its value is the expected worth of deciding after the
result, less the worth of deciding now:

    sum_r P(r) settle(E[payoff | r]) - settle(E[payoff]).

`settle` says what a decider gets out of the mean payoffs in front of him; by default the best of
them. Any convex `settle` makes information worth at least nothing, and at most what knowing the
state itself would be worth (Jensen); the function is the same for the textbook and for a price
that is settled between two people.

References
----------
Raiffa, *Decision Analysis*, 1968, chapters 2 and 7; Howard, "Information value theory", IEEE
Transactions on Systems Science and Cybernetics 2, 1966.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Settle = Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True, kw_only=True)
class InformationValue:
    """Value of one check or question, in the unit `settle` returns.

    value : expected gain from knowing the result before deciding.
    perfect : expected gain from knowing the state itself.
    now : worth of deciding without either.
    probability : (R,), chance of each result.
    mean : (R, A), mean payoffs after each result; the prior means where a result cannot happen.
    worth : (R,), worth of deciding after each result.
    ess : (R,), effective sample size (sum w)**2 / sum w**2 of the states' weights after each
        result; 0 where a result cannot happen.
    """

    value: float
    perfect: float
    now: float
    probability: Floats
    mean: Floats
    worth: Floats
    ess: Floats


def best(mean_payoff: Floats) -> Floats:
    """The largest of the mean payoffs (..., A): what a decider gets who picks one action."""
    return np.max(mean_payoff, axis=-1)


def value(
    payoff: ArrayLike, weight: ArrayLike, likelihood: ArrayLike, settle: Settle | None = None
) -> InformationValue:
    """Value of a check whose results are more or less likely in different states.

    Parameters
    ----------
    payoff : (N, A)
        What each action pays in each state or draw, in any unit.
    weight : (N,)
        Weights of the states, >= 0, not all zero; divided by their sum.
    likelihood : (N, R)
        Chance of each result in each state, rows sum to 1.
    settle : callable, optional
        From mean payoffs (..., A) to worth (...), convex; by default the largest. It is called
        with (A,), (R, A) and (N, A).

    Returns
    -------
    InformationValue

    Raises
    ------
    ValueError
        If shapes do not fit, a number is NaN or infinite, a weight or likelihood is negative,
        the weights are all zero, likelihoods do not sum to 1, or `settle` returns another shape.
    """
    pay, chance = _table("payoff", payoff), _table("likelihood", likelihood)
    prior = _weights(weight, len(pay))
    if len(chance) != len(pay):
        raise ValueError(f"likelihood has {len(chance)} rows, payoff {len(pay)}; each state needs one.")
    if (chance < 0).any() or (np.abs(chance.sum(axis=1) - 1.0) > 1e-9).any():
        row = int(np.maximum(np.abs(chance.sum(axis=1) - 1.0), -chance.min(axis=1)).argmax())
        raise ValueError(f"likelihood row {row} must be chances that sum to 1, got {chance[row]}.")
    settled = best if settle is None else settle

    joint = prior[:, None] * chance  # (N, R)
    probability = joint.sum(axis=0)
    happens = probability > 0
    share = joint / np.where(happens, probability, 1.0)
    prior_mean = prior @ pay
    mean = np.where(happens[:, None], share.T @ pay, prior_mean)
    square = (share**2).sum(axis=0)
    now = float(_settled(settled, prior_mean))
    worth = _settled(settled, mean)
    return InformationValue(
        value=float(probability @ worth) - now,
        perfect=float(prior @ _settled(settled, pay)) - now,
        now=now,
        probability=probability,
        mean=mean,
        worth=worth,
        ess=np.where(happens, 1.0 / np.where(happens, square, 1.0), 0.0),
    )


def _settled(settle: Settle, mean: Floats) -> Floats:
    worth = np.asarray(settle(mean), dtype=float)
    if worth.shape != mean.shape[:-1]:
        raise ValueError(f"settle must turn {mean.shape} into {mean.shape[:-1]}, got {worth.shape}.")
    return worth


def _table(name: str, table: ArrayLike) -> Floats:
    array = np.asarray(table, dtype=float)
    if array.ndim != 2 or array.size == 0:
        raise ValueError(f"{name} must be a table with a row for each state, got shape {array.shape}.")
    if not np.isfinite(array).all():
        place = tuple(int(i) for i in np.argwhere(~np.isfinite(array))[0])
        raise ValueError(f"{name} at {place} is {array[place]:g}; it must be a finite number.")
    return array


def _weights(weight: ArrayLike, states: int) -> Floats:
    array = np.asarray(weight, dtype=float)
    if array.shape != (states,):
        raise ValueError(f"weight must have shape ({states},), one per state, got {array.shape}.")
    if not (np.isfinite(array) & (array >= 0)).all():
        place = int((~(np.isfinite(array) & (array >= 0))).argmax())
        raise ValueError(f"weight {place} is {array[place]:g}; weights must be finite and not negative.")
    if not array.sum() > 0:
        raise ValueError("all weights are zero; at least one state must be possible.")
    return array / array.sum()
