"""What is at stake when buying: what the car is worth to this buyer in every draw, and how a price comes about.

In every draw V = value - min(excess, cap): the value of a good example, less what this car will cost beyond what a
car sold at that value normally costs, but never below scrap, because an owner may stop. With a risk tolerance rho
the buyer judges by z = exp(-V / rho), so that the price he could pay at most is w = -rho ln E[z]; without one by V
itself, w = E[V].

The seller's lowest price R is unknown. A deal is struck at p = R + t (min(asking, w) - R) when w >= R. What the
buyer gets out of it, averaged over R, is convex in V and concave in z (as a loss), so that information is worth at
least nothing and at most what knowing the draw itself would be worth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.assess import Result
from estimator.case import Case
from estimator.money.ranges import draw, pert_mean, quantile_table
from estimator.problems import InputError, Problem

Floats = NDArray[np.float64]
LOWEST_PRICE = (0.75, 0.92, 1.0)  # what a seller would take at least, as a share of what he asks (elicited)
SPLIT = 0.5  # where between his lowest price and mine the bargain ends
SCRAP_SHARE = 0.05  # of the low value of a good example
LEAST_EFFECTIVE = 200.0  # draws: below this a weighted mean rests on a handful of them
VALUES = 64  # points at which the value of a good example is taken
_FAR = 600.0  # exponents beyond this are as good as infinite


@dataclass(frozen=True)
class Settlement:
    """From the mean payoff (E[z], or E[V] without risk tolerance) to what the buyer gets out of it.

    lowest (M,) : equally likely values of the seller's lowest price, ascending. asking, split : as in the module.
    owned : the car is the buyer's already; the choice is between keeping it and selling it at `asking`.
    shift : payoffs are z = exp(-(V - shift) / rho).
    """

    lowest: Floats
    asking: float
    split: float
    rho: float | None
    shift: float
    owned: bool = False

    def __call__(self, mean: Floats) -> Floats:
        """Worth (...) of mean payoffs (..., 1): minus the expected loss E[exp(-gain / rho)], or the gain."""
        z = np.asarray(mean, float)[..., 0]
        return self._gain(z) if self.rho is None else -self._loss(z, self.rho)

    def most(self, mean: Floats) -> Floats:
        """The most to pay, w (...), given mean payoffs (...)."""
        z = np.asarray(mean, float)
        if self.rho is None:
            return z
        return np.asarray(self.shift - self.rho * np.log(np.maximum(z, 1e-300)))

    def money(self, now: float, gain: Floats | float) -> Floats:
        """A gain in worth over `now`, in money that is as good (certainty equivalent)."""
        if self.rho is None:
            return np.asarray(gain, float)
        return np.asarray(-self.rho * np.log1p(np.minimum(np.asarray(gain, float), -now * (1 - 1e-15)) / now))

    def _gain(self, v: Floats) -> Floats:
        if self.owned:
            return np.maximum(v, self.asking)
        t, count = self.split, self.lowest.size
        below = np.concatenate([[0.0], np.cumsum(self.lowest)])
        reached = np.searchsorted(self.lowest, v, side="right")
        haggled = (1 - t) * (reached * v - below[reached]) / count
        paid = (1 - t) * below[-1] / count + t * self.asking
        return np.asarray(np.where(v >= self.asking, v - paid, haggled))

    def _loss(self, z: Floats, rho: float) -> Floats:
        if self.owned:
            return np.minimum(z, _exp((self.shift - self.asking) / rho))
        t, count = self.split, self.lowest.size
        share = _exp((1 - t) * (self.lowest - self.shift) / rho)
        below = np.concatenate([[0.0], np.cumsum(share)])
        w = self.most(z)
        reached = np.searchsorted(self.lowest, w, side="right")
        haggled = (z ** (1 - t) * below[reached] + count - reached) / count
        straight = z * float(share.mean()) * _exp(t * (self.asking - self.shift) / rho)
        return np.asarray(np.where(w >= self.asking, straight, haggled))


@dataclass(frozen=True)
class Stakes:
    """Draws (n,) of what decides about buying, in the case's currency.

    payoff : what means are taken of: z = exp(-(V - shift) / rho), or V without a risk tolerance, averaged over
    what a good example may be worth (that no check on this car will tell).
    value : of a good example. outlay : the total and the unlisted over the plan year. excess : what of it goes
    beyond `reference`, the mean of a car sold at that value. worth : V; mean_worth : E[V], averaged likewise.
    likely_lowest : E[R].
    """

    payoff: Floats
    value: Floats
    outlay: Floats
    excess: Floats
    worth: Floats
    mean_worth: float
    reference: float
    scrap: float
    asking: float
    likely_lowest: float
    split: float
    rho: float | None
    budget: float | None
    confidence: float
    settlement: Settlement

    @property
    def by_value(self) -> float:
        """w: the most to pay for what the car is worth, whatever the budget."""
        return float(self.settlement.most(self.payoff.mean()))

    @property
    def fair(self) -> float:
        """E[V]."""
        return self.mean_worth

    @property
    def by_budget(self) -> float | None:
        """b = budget - quantile of the outlay at the wanted confidence; None without a budget."""
        if self.budget is None:
            return None
        return self.budget - float(np.quantile(self.outlay, self.confidence))


def _exp(x: Floats | float) -> Floats:
    return np.exp(np.clip(x, -_FAR, _FAR))


def certain(worth: Floats, rho: float | None) -> float:
    """Certainty equivalent of draws (n,): -rho ln mean exp(-V / rho), the mean without rho."""
    if rho is None:
        return float(worth.mean())
    low = float(worth.min())
    return low - rho * float(np.log(np.exp(-(worth - low) / rho).mean()))


def effective(worth: Floats, rho: float) -> float:
    """Effective sample size of the weights exp(-V / rho)."""
    z = np.exp(-(worth - worth.min()) / rho)
    return float(z.sum() ** 2 / (z**2).sum())


def need(case: Case, *, value: bool = True, price: bool = True) -> None:
    """Refuse a case that lacks what a price needs.

    Raises
    ------
    InputError
        Naming money.asking and money.sound_example where they are missing.
    """
    problems = []
    if price and case.money.asking is None and case.money.seller is None:
        text = "is needed: what the seller asks (or seller = [low, likely, high], the least he may take)"
        problems.append(Problem(case.name, None, "money.asking", text))
    if value and case.money.sound_example is None:
        text = "is needed: what a good example sells for, [low, likely, high]"
        problems.append(Problem(case.name, None, "money.sound_example", text))
    if problems:
        raise InputError(problems)


def lowest_prices(case: Case) -> tuple[float, tuple[float, float, float]]:
    """What is asked, and the range of the seller's lowest price (never above it)."""
    money = case.money
    if money.seller is not None:
        asking = money.seller[2] if money.asking is None else money.asking
        low, likely, high = (min(x, asking) for x in money.seller)
        return asking, (low, likely, high)
    asking = money.asking or 0.0
    low, likely, high = (asking * share for share in LOWEST_PRICE)
    return asking, (low, likely, high)


def value_draws(case: Case, n: int, *, seed: int) -> Floats:
    """(n,) value of a good example: PERT over money.sound_example, evenly spread, in random order."""
    assert case.money.sound_example is not None
    rng = np.random.Generator(np.random.SFC64(np.random.SeedSequence([seed, 7_919])))
    u = (rng.permutation(n) + rng.random(n)) / n
    table = quantile_table(np.array([case.money.sound_example]))
    return draw(table, np.zeros(n, dtype=np.intp), u)


def stakes_of(result: Result, reference: float, *, relieved: Floats | None = None) -> Stakes:
    """What is at stake, from an assessment and the mean outlay of the reference car.

    relieved : (n,) part of the outlay somebody else carries (a trader's warranty, work done before the sale).

    Raises
    ------
    InputError
        If asking price or value are missing, or the risk tolerance is too small for the draws.
    """
    case = result.prepared.car.case
    need(case)
    money = case.money
    asking, lowest = lowest_prices(case)
    outlay = result.outlays.total.year + result.outlays.unlisted
    if relieved is not None:
        outlay = outlay - relieved
    value = value_draws(case, outlay.size, seed=result.assessment.seed)
    scrap = scrap_of(case)
    excess = outlay - reference
    worth = worth_of(value, excess, scrap)
    rho = money.risk_tolerance
    if rho is not None:
        _refuse_small(case, worth, rho)
    split = 0.0 if case.car.sale == "auction" else SPLIT
    shift = certain(worth, rho) if rho is not None else 0.0
    assert money.sound_example is not None
    payoff, mean_worth = np.zeros(outlay.size), 0.0
    for one in even_values(money.sound_example):
        of_one = worth_of(one, excess, scrap)
        mean_worth += float(of_one.mean()) / VALUES
        payoff += (of_one if rho is None else _exp((shift - of_one) / rho)) / VALUES
    settlement = Settlement(
        lowest=even_points(lowest, 1024),
        asking=asking,
        split=split,
        rho=rho,
        shift=shift,
        owned=case.car.sale == "owned" or case.bought is not None,
    )
    return Stakes(
        payoff=payoff,
        value=value,
        outlay=outlay,
        excess=excess,
        worth=worth,
        mean_worth=mean_worth,
        reference=reference,
        scrap=scrap,
        asking=asking,
        likely_lowest=float(pert_mean(np.array(lowest))),
        split=split,
        rho=rho,
        budget=money.budget,
        confidence=money.confidence,
        settlement=settlement,
    )


def scrap_of(case: Case) -> float:
    """What the car fetches if its owner gives up on it; by default a share of the low value of a good example."""
    money = case.money
    assert money.sound_example is not None
    return SCRAP_SHARE * money.sound_example[0] if money.scrap is None else money.scrap


def worth_of(value: Floats | float, excess: Floats, scrap: float) -> Floats:
    """V: value less excess outlay, never below scrap (a car of less value than that is worth its value)."""
    return np.asarray(value - np.minimum(excess, np.maximum(value - scrap, 0.0)))


def even_points(triple: tuple[float, float, float], count: int) -> Floats:
    """(count,) equally likely values of a PERT range, ascending, with its mean; count divides 1024."""
    table = quantile_table(np.array([triple]))[0]
    return np.asarray(((table[1:] + table[:-1]) / 2).reshape(count, -1).mean(axis=1))


def even_values(sound_example: tuple[float, float, float]) -> Floats:
    """(VALUES,) equally likely values of a good example."""
    return even_points(sound_example, VALUES)


def _refuse_small(case: Case, worth: Floats, rho: float) -> None:
    least = min(LEAST_EFFECTIVE, worth.size / 2)
    found = effective(worth, rho)
    if found >= least:
        return
    enough = rho
    while effective(worth, enough) < least:
        enough *= 1.25
    text = (
        f"{rho:,.0f} is too small for {worth.size:,} draws: the price would rest on about {found:.0f} of them; "
        f"allowed here is about {enough:,.0f} or more (or ask for more draws)"
    )
    raise InputError(Problem(case.name, None, "money.risk_tolerance", text))
