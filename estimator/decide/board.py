"""The value of checks, alone and together, on one common set of draws.

Results of a set of checks are patterns; the weight of a draw in a pattern is the product of its chances. All
values are differences of a convex settlement at means over the same draws: never below zero, never above what
knowing the draw would be worth. Patterns whose weights rest on too few draws are pooled with their neighbours (a
coarser result, so a value that is if anything too low).

Up to eight checks are taken exactly, pattern by pattern. Longer sets are judged by a score: the payoff is
regressed on simulated results, every half of the draws with the other half's coefficients, and the score's bins
are taken as the result.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from estimator.decide.information import InformationValue, value
from estimator.decide.stakes import LEAST_EFFECTIVE, Settlement

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
EXACT = 8  # checks taken pattern by pattern
BINS = 24  # of the score of a longer set
TRIED_DRAWS = 4_000  # on which the way to judge a longer set is chosen
RIDGE = 1e-3  # of the regression, times the number of draws


@dataclass(frozen=True)
class Board:
    """chance (n, F) that each check's sign is there in each draw; payoff (n,); settlement.

    least : effective draws below which a result is not told apart. channel (F, R, 2) : chance of each result where
    the sign is there, where it is not (estimator.decide.readings); rows of zeros fill up. By default two results,
    present and absent, that say so.
    """

    chance: Floats
    payoff: Floats
    settlement: Settlement
    least: float = LEAST_EFFECTIVE
    seed: int = 0
    channel: Floats | None = None

    @property
    def draws(self) -> int:
        return int(self.payoff.size)

    @cached_property
    def results_of(self) -> Floats:
        """(F, R, 2) the channel."""
        if self.channel is None:
            return np.broadcast_to(np.eye(2), (self.chance.shape[1], 2, 2))
        return self.channel

    @cached_property
    def halves(self) -> Floats:
        """(F, 2, 2) the same with readings told apart at their limit only."""
        whole = self.results_of
        beyond = np.where((whole[..., 0] > whole[..., 1])[..., None], whole, 0.0).sum(axis=1)
        return np.stack([beyond, 1 - beyond], axis=1)

    @cached_property
    def graded(self) -> NDArray[np.bool_]:
        """(F,) whether a check has more than two results."""
        return np.asarray(self.results_of[:, 2:].any(axis=(1, 2)))

    @cached_property
    def columns(self) -> Floats:
        """(F, n) the chances, a row a check."""
        return np.ascontiguousarray(self.chance.T)

    @cached_property
    def rough(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """(F, n) the chances and their squares in single precision."""
        single = self.columns.astype(np.float32)
        return single, single * single

    @cached_property
    def now(self) -> float:
        """Worth of deciding without any further check."""
        return float(self.settlement(np.array([self.payoff.mean()])))

    @cached_property
    def perfect(self) -> float:
        """What knowing the draw itself would be worth, money."""
        known = float(self.settlement(self.payoff[:, None]).mean())
        return float(self.settlement.money(self.now, known - self.now))

    @cached_property
    def results(self) -> NDArray[np.float32]:
        """(n, F) what one simulated result of each check in each draw says of its sign, 1 that it is there."""
        rng = np.random.Generator(np.random.SFC64(np.random.SeedSequence([self.seed, 104_729])))
        out = (rng.random(self.chance.shape, dtype=np.float32) < self.chance).astype(np.float32)
        for f in np.flatnonzero((self.results_of[:, :2] != np.eye(2)).any(axis=(1, 2))):
            there, gone = self.results_of[f].T
            says = there / np.maximum(there + gone, 1e-300)
            u = rng.random(self.draws)
            for truth, share in ((1, there), (0, gone)):
                rows = out[:, f] == truth
                reached = np.searchsorted(np.cumsum(share), u[rows], side="right")
                out[rows, f] = says[np.minimum(reached, np.flatnonzero(there + gone)[-1])]
        return out

    def thinned(self, most: int, checks: Ints) -> Board:
        """The same on at most so many draws (a stride: they stand by grid point) and some of the checks."""
        stride = max(1, self.draws // most)
        rows = slice(None, None, stride)
        kept = self.payoff[rows].size
        return Board(
            np.ascontiguousarray(self.chance[rows][:, checks]),
            self.payoff[rows],
            self.settlement,
            self.least * kept / self.draws,
            self.seed,
            None if self.channel is None else self.channel[checks],
        )


@dataclass(frozen=True)
class Singles:
    """Every check alone: value and standard error (F,) in money, probability (F, R) of its results, mean payoff after
    each (F, R), and whether a result is too rare among the draws to be valued (value 0 then).

    Of a reading of which only a range is too rare, the value is that of reading which side of the limit it is on.
    """

    value: Floats
    error: Floats
    probability: Floats
    mean: Floats
    rare: NDArray[np.bool_]


def singles(board: Board) -> Singles:
    """Values of all checks by themselves: `information.value` for their results, all at once."""
    n, z = board.draws, board.payoff
    powers = np.stack([np.ones(n), z, z * z])  # (3, n)
    once, twice = powers @ board.chance / n, powers @ np.square(board.chance) / n  # (3, F)
    full = _singles(board, board.results_of, once, twice)
    again = full.rare & board.graded
    if not again.any():
        return full
    coarse = _singles(board, board.halves, once, twice)
    return Singles(
        value=np.where(again, coarse.value, full.value),
        error=np.where(again, coarse.error, full.error),
        probability=full.probability,
        mean=full.mean,
        rare=np.where(again, coarse.rare, full.rare),
    )


def _singles(board: Board, channel: Floats, once: Floats, twice: Floats) -> Singles:
    """From E[p], E[z p], E[z^2 p] (`once`) and the same of p^2 (`twice`): a result's chance is u + v p."""
    n, z, settle = board.draws, board.payoff, board.settlement
    u, v = channel[..., 1], channel[..., 0] - channel[..., 1]  # (F, R)
    centre = float(z.mean())
    probability = u + v * once[0][:, None]
    joint = u * centre + v * once[1][:, None]
    mean = np.where(probability > 0, joint / np.maximum(probability, 1e-300), centre)
    squares = u * u + 2 * u * v * once[0][:, None] + v * v * twice[0][:, None]
    effective = n * probability**2 / np.maximum(squares, 1e-300)
    rare = ((effective < board.least) & channel.any(axis=2)).any(axis=1)
    worth = settle(mean[..., None])
    gain = np.maximum((probability * worth).sum(axis=1) - board.now, 0.0)
    gain[rare] = 0.0
    slope = _slope(settle, mean)
    slope_now = float(_slope(settle, np.array([centre]))[0])
    flat = worth - slope * mean - (board.now - slope_now * centre)
    # influence of a draw: chance * (worth + slope (z - mean)) summed over results, less the same without a check,
    # that is p (a + c z) + b + d z
    a, b = (v * flat).sum(axis=1), (u * flat).sum(axis=1)
    c, d = (v * slope).sum(axis=1), (u * slope).sum(axis=1) - slope_now
    second = a * a * twice[0] + 2 * a * c * twice[1] + c * c * twice[2]
    second += 2 * (a * b * once[0] + (a * d + b * c) * once[1] + c * d * once[2])
    second += b * b + 2 * b * d * centre + d * d * float((z * z).mean())
    first_moment = a * once[0] + c * once[1] + b + d * centre
    error = np.sqrt(np.maximum(second - first_moment**2, 0.0) / n)
    return Singles(
        value=settle.money(board.now, gain),
        error=np.where(rare, 0.0, error * _money_slope(board)),
        probability=probability,
        mean=mean,
        rare=rare,
    )


@dataclass(frozen=True)
class SetValue:
    """Value of making a set of checks before deciding, in money, with its standard error.

    information : what `information.value` returned, in the settlement's unit. method : "exact" or "by score".
    pooled : share of the probability in results that were pooled.
    """

    value: float
    error: float
    perfect: float
    method: str
    pooled: float
    information: InformationValue = field(repr=False)


def set_value(board: Board, checks: Sequence[int]) -> SetValue:
    """Value of a set of checks (columns of the board) made together.

    A longer set is judged by its score, or by the most telling of it taken exactly, whichever tells more on a part of
    the draws: more results are never worth less.
    """
    if len(checks) <= EXACT:
        return _valued(board, exact_groups(board, checks), "exact")
    few = board.thinned(TRIED_DRAWS, np.array(checks, dtype=np.intp))
    telling = most_telling(few, range(len(checks)))
    if worth_of(few, score_groups(few, range(len(checks)))) > worth_of(few, exact_groups(few, telling)):
        return _valued(board, score_groups(board, checks), "by score")
    return _valued(board, exact_groups(board, [checks[i] for i in telling]), "exact")


def _valued(board: Board, groups: Floats, method: str) -> SetValue:
    n, z, settle = board.draws, board.payoff, board.settlement
    found = value(z[:, None], np.full(n, 1 / n), (groups / groups.sum(axis=0)).T, settle)
    mean, worth = found.mean[:, 0], found.worth
    slope = _slope(settle, mean)
    slope_now = float(_slope(settle, np.array([z.mean()]))[0])
    at = (worth - slope * mean) @ groups + z * (slope @ groups) - (found.now + slope_now * (z - z.mean()))
    return SetValue(
        value=max(0.0, float(settle.money(found.now, found.value))),
        error=float(at.std() / np.sqrt(n) * _money_slope(board)),
        perfect=float(settle.money(found.now, found.perfect)),
        method=method,
        pooled=float(found.probability[found.ess < board.least].sum()),
        information=found,
    )


def most_telling(board: Board, checks: Sequence[int], most: int = EXACT) -> list[int]:
    """The checks to be taken exactly: those that alone account for most of the payoff's spread."""
    if len(checks) <= most:
        return list(checks)
    spread = added(board, nothing_told(board), np.array(checks, dtype=np.intp), spread=True)
    return [checks[i] for i in np.argsort(-spread, kind="stable")[:most]]


def quick_value(board: Board, checks: Sequence[int], most: int = EXACT) -> float:
    """`set_value` without error and detail, money, no more than so many taken exactly: for comparing many sets on a
    thinned board.
    """
    if not checks:
        return 0.0
    exact = worth_of(board, exact_groups(board, most_telling(board, checks, most)))
    return exact if len(checks) <= most else max(exact, worth_of(board, score_groups(board, checks)))


def worth_of(board: Board, groups: Floats) -> float:
    """What knowing the group a draw belongs to is worth, money."""
    share = groups.mean(axis=1)
    mean = groups @ board.payoff / board.draws / share
    gain = float(share @ board.settlement(mean[:, None])) - board.now
    return float(board.settlement.money(board.now, max(gain, 0.0)))


def nothing_told(board: Board) -> Floats:
    """(1, n) the one group of all draws before anything is looked at."""
    return np.ones((1, board.draws))


def exact_groups(board: Board, checks: Sequence[int]) -> Floats:
    """(K, n) chance of every pattern of results in each draw, rare ones pooled."""
    groups = nothing_told(board)
    for check in checks:
        groups = refined(board, groups, check)
    return groups


def refined(board: Board, groups: Floats, check: int) -> Floats:
    """Patterns told further apart by one more check."""
    channel = board.results_of[check]
    told = channel[channel.any(axis=1)]
    present = board.columns[check]
    count = len(groups)
    out = np.empty((count * len(told), board.draws))
    for r, (there, gone) in enumerate(told):
        np.multiply(groups, gone + (there - gone) * present, out=out[r * count : (r + 1) * count])
    return pooled(board, out)


def pooled(board: Board, groups: Floats) -> Floats:
    """Patterns that rest on too few draws put together with those of like mean payoff until they do not."""
    total = groups.sum(axis=1)
    effective = total**2 / np.maximum(np.einsum("kn,kn->k", groups, groups), 1e-300)
    few = np.flatnonzero(effective < board.least)
    if few.size == 0:
        return groups
    mean = groups[few] @ board.payoff / np.maximum(total[few], 1e-300)
    kept = groups[effective >= board.least]
    added_up: list[Floats] = []
    gathered = np.zeros(board.draws)
    for row in few[np.argsort(mean)]:
        gathered += groups[row]
        if gathered.sum() ** 2 >= board.least * (gathered @ gathered):
            added_up.append(gathered)
            gathered = np.zeros(board.draws)
    if added_up:
        kept = np.concatenate([kept, np.stack(added_up)])
    if gathered.any():
        if len(kept) == 0:
            return gathered[None]
        own = board.payoff @ gathered / gathered.sum()
        kept[int(np.argmin(np.abs(kept @ board.payoff / kept.sum(axis=1) - own)))] += gathered
    return kept


def score_groups(board: Board, checks: Sequence[int]) -> Floats:
    """(bins, n) which bin of the score each draw falls in (0 or 1).

    The payoff is regressed on the simulated results (ridge) in each half of the draws; the other half is scored.
    """
    x = board.results[:, list(checks)]
    score = np.empty(board.draws)
    halves = (slice(0, None, 2), slice(1, None, 2))
    for fit, use in (halves, halves[::-1]):
        centre, paid = x[fit].mean(axis=0), board.payoff[fit]
        own = x[fit] - centre
        inner = (own.T @ own).astype(float) + RIDGE * len(own) * np.eye(len(checks))
        slope = np.linalg.solve(inner, own.T @ (paid - paid.mean()))
        score[use] = (x[use] - centre) @ slope
    bins = int(min(BINS, max(1, board.draws // max(board.least, 1.0))))
    edges = np.unique(np.quantile(score, np.arange(1, bins) / bins))
    which = np.searchsorted(edges, score, side="right")
    groups = (which == np.arange(edges.size + 1)[:, None]).astype(float)
    return pooled(board, groups[groups.any(axis=1)])


def added(board: Board, groups: Floats, checks: Ints, *, spread: bool = False) -> Floats:
    """(F',) worth, over deciding now, of the groups and one more check, for each of `checks`.

    spread : the share of the payoff's variance they account for instead, which also ranks checks that alone
    change no decision. A pattern is not told apart where that would leave too few effective draws; a reading is
    then told apart at its limit only, if that leaves enough.
    """
    n, z = board.draws, board.payoff
    squared, paid = groups * groups, groups * z
    rough = squared.astype(np.float32)  # only tells whether enough draws are left
    most = 2 * len(checks) > board.chance.shape[1]  # then no copy of the columns is worth its while
    taken = slice(None) if most else checks
    columns = board.columns[taken].T
    moments = _Moments(
        share=groups.mean(axis=1)[:, None],
        joint=paid.mean(axis=1)[:, None],
        whole=squared.mean(axis=1)[:, None],
        present=groups @ columns / n,
        present_joint=paid @ columns / n,
        cross=rough @ board.rough[0][taken].T / n,
        square=rough @ board.rough[1][taken].T / n,
    )
    if most:
        moments = moments.of(checks)
    centre, size = float(z.mean()), max(float(z.var()), 1e-300)

    def worth(mean: Floats) -> Floats:
        return (mean - centre) ** 2 / size if spread else board.settlement(mean[..., None])

    least = board.least / n
    untold = moments.share * worth(moments.joint / moments.share)
    total = _told(moments, board.halves[checks], worth, untold, least)
    fine = np.flatnonzero(board.graded[checks])
    if fine.size:
        total[:, fine] = _told(moments.of(fine), board.results_of[checks[fine]], worth, total[:, fine], least)
    return np.asarray(total.sum(axis=0) - (0.0 if spread else board.now))


@dataclass(frozen=True)
class _Moments:
    """Means over the draws of groups g and signs p: E g, E gz, E g^2 (K, 1); E gp, E gzp, E g^2 p, E g^2 p^2 (K, F)."""

    share: Floats
    joint: Floats
    whole: Floats
    present: Floats
    present_joint: Floats
    cross: Floats
    square: Floats

    def of(self, checks: Ints) -> _Moments:
        told = (self.present, self.present_joint, self.cross, self.square)
        return _Moments(self.share, self.joint, self.whole, *(table[:, checks] for table in told))


def _told(
    m: _Moments, channel: Floats, worth: Callable[[Floats], Floats], otherwise: Floats, least: float
) -> Floats:
    """(K, F) worth of every group told apart by every check's results; `otherwise` where one would be too rare."""
    total: Floats = np.zeros(m.present.shape)
    safe = np.ones(m.present.shape, dtype=bool)
    for r in range(channel.shape[1]):
        u, v = channel[:, r, 1], channel[:, r, 0] - channel[:, r, 1]  # the result's chance is u + v p
        there = (u != 0) | (v != 0)
        share = np.maximum(u * m.share + v * m.present, 0.0)
        squares = np.maximum(u * u * m.whole + 2 * u * v * m.cross + v * v * m.square, 0.0)
        enough = (share > 0) & (share**2 >= least * squares)
        safe &= enough | ~there
        mean = np.where(
            enough, (u * m.joint + v * m.present_joint) / np.where(enough, share, 1.0), m.joint / m.share
        )
        total += np.where(there, share * worth(mean), 0.0)
    return np.where(safe, total, otherwise)


def pairs(board: Board) -> Floats:
    """(F, F) value in money of every two checks made together, readings told apart at their limit only; the diagonal
    is 0.
    """
    n, z, settle = board.draws, board.payoff, board.settlement
    there, gone = board.halves[:, 0].T
    chance = gone + (there - gone) * board.chance
    both = chance.T @ chance / n
    both_joint = (chance * z[:, None]).T @ chance / n
    one, one_joint = chance.mean(axis=0), z @ chance / n
    squares = chance * chance
    both_square = squares.T @ squares / n
    cross = squares.T @ chance / n  # E[a^2 b]
    square = squares.mean(axis=0)
    centre = float(z.mean())
    quarters = (
        (both, both_joint, both_square),
        (one[:, None] - both, one_joint[:, None] - both_joint, square[:, None] - 2 * cross + both_square),
        (one[None] - both, one_joint[None] - both_joint, square[None] - 2 * cross.T + both_square),
        (
            1 - one[:, None] - one[None] + both,
            centre - one_joint[:, None] - one_joint[None] + both_joint,
            1 - 2 * one[:, None] - 2 * one[None] + square[:, None] + square[None] + 4 * both
            - 2 * cross - 2 * cross.T + both_square,
        ),
    )  # fmt: skip
    worth = np.zeros_like(both)
    safe = np.ones(both.shape, dtype=bool)
    for share, joint, weight in quarters:
        there = share > 1e-12
        mean = np.where(there, joint / np.where(there, share, 1.0), centre)
        worth += np.where(there, share * settle(mean[..., None]), 0.0)
        safe &= ~there | (n * share**2 >= board.least * np.maximum(weight, 0.0))
    gain = np.where(safe, np.maximum(worth - board.now, 0.0), 0.0)
    np.fill_diagonal(gain, 0.0)
    return settle.money(board.now, gain)


def _slope(settle: Settlement, mean: Floats) -> Floats:
    """Derivative of the settlement by a central difference."""
    step = 1e-5 * np.maximum(np.abs(mean), 1e-9)
    return np.asarray((settle((mean + step)[..., None]) - settle((mean - step)[..., None])) / (2 * step))


def _money_slope(board: Board) -> float:
    """Money per unit of the settlement near no gain."""
    rho = board.settlement.rho
    return 1.0 if rho is None else rho / -board.now
