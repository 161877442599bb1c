"""What is at stake when buying: what the car is worth to this buyer in every draw, and how a price comes about.

In every draw V = value - min(excess, cap): the value of a good example, less what this car will cost beyond what a
car sold at that value normally costs, but never below scrap, because an owner may stop. With a risk tolerance rho
the buyer judges by z = exp(-V / rho), so that the price he could pay at most is w = -rho ln E[z]; without one by V
itself, w = E[V].

All sums here are what changes hands in all: price, an auction's premium with its tax, carriage (see
estimator.decide.sales); they are turned into prices where they are told.

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
from estimator.decide.first_year import buyers_outlay
from estimator.decide.sales import Terms, is_owned, price_of, terms_of, winners_margin
from estimator.money.ranges import draw, pert_mean, quantile_table
from estimator.problems import InputError, Problem

Floats = NDArray[np.float64]
LOWEST_PRICE = (0.75, 0.92, 1.0)  # what a seller would take at least, as a share of what he asks (elicited)
SPLIT = 0.5  # where between his lowest price and mine the bargain ends
SCRAP_SHARE = 0.05  # of the low value of a good example
LEAST_EFFECTIVE = 200.0  # draws: below this a weighted mean rests on a handful of them
MOST_EXPONENT = 500.0  # of exp(-worth / tolerance): doubles end at 709
FEW_DRAWS = 1_000  # fewer leave every quantile rough: said
VALUES = 64  # points at which the value of a good example is taken
_FAR = 600.0  # exponents beyond this are as good as infinite


@dataclass(frozen=True)
class Settlement:
    """From the mean payoff (E[z], or E[V] without risk tolerance) to what the buyer gets out of it.

    lowest (M,) : equally likely values of the seller's lowest price, ascending, and asking, both as what changes hands
    in all at them; split : as in the module.
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
    value : of a good example. outlay : what the buyer pays for work in the first year. excess : what of it goes
    beyond `reference`, the mean of a car sold at that value. worth : V; mean_worth : E[V], averaged likewise.
    terms : what comes on top of a price. margin : kept back at an auction from what the car is worth, money in all.
    asking : the price that stands in the case; least : below which no seller of this car goes; likely_lowest : E[R];
    prices, not sums in all.
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
    least: float
    likely_lowest: float
    split: float
    rho: float | None
    budget: float | None
    confidence: float
    terms: Terms
    margin: float
    settlement: Settlement

    @property
    def by_value(self) -> float:
        """The price at which what changes hands is w: the most to pay for what the car is worth, whatever the
        budget.
        """
        return float(self.price_by_value(self.settlement.most(self.payoff.mean())))

    @property
    def by_budget(self) -> float | None:
        """b: the price up to which the budget holds at the wanted confidence; None without a budget."""
        if self.budget is None:
            return None
        return self.terms.price_for(self.budget - float(np.quantile(self.outlay, self.confidence)))

    def price_by_value(self, most: Floats) -> Floats:
        """The price (...) that goes with the most to pay in all (...), a winner's margin kept back; what it is worth
        where it is paid for already.
        """
        return most if self.settlement.owned else self.terms.price_for(most - self.margin)


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


def need(case: Case) -> None:
    """Refuse a case that lacks what a price needs; a car that is owned needs no price of its own.

    Raises
    ------
    InputError
        Naming money.asking and money.sound_example where they are missing.
    """
    problems = []
    if price_of(case) is None and not is_owned(case):
        text = "is needed: what the seller asks (or seller = [low, likely, high], the least he may take)"
        problems.append(Problem(case.name, None, "money.asking", text))
    if case.money.sound_example is None:
        text = "is needed: what a good example sells for, [low, likely, high]"
        problems.append(Problem(case.name, None, "money.sound_example", text))
    if problems:
        raise InputError(problems)


def lowest_prices(case: Case, asking: float) -> tuple[float, float, float]:
    """The range of the seller's lowest price, never above what is asked."""
    seller = case.money.seller
    low, likely, high = (
        (asking * share for share in LOWEST_PRICE) if seller is None else (min(x, asking) for x in seller)
    )
    return low, likely, high


def value_draws(case: Case, n: int, *, seed: int) -> Floats:
    """(n,) value of a good example: PERT over money.sound_example, evenly spread, in random order."""
    assert case.money.sound_example is not None
    rng = np.random.Generator(np.random.SFC64(np.random.SeedSequence([seed, 7_919])))
    u = (rng.permutation(n) + rng.random(n)) / n
    table = quantile_table(np.array([case.money.sound_example]))
    return draw(table, np.zeros(n, dtype=np.intp), u)


def stakes_of(result: Result, reference: float) -> Stakes:
    """What is at stake, from an assessment and the mean outlay of the reference car.

    Raises
    ------
    InputError
        If asking price or value are missing, or the risk tolerance is too small for the draws.
    """
    case = result.prepared.car.case
    need(case)
    money, owned = case.money, is_owned(case)
    outlay = buyers_outlay(result.prepared, result.draws, result.outlays)
    value = value_draws(case, outlay.size, seed=result.assessment.seed)
    scrap = scrap_of(case)
    excess = outlay - reference
    worth = worth_of(value, excess, scrap)
    rho = money.risk_tolerance
    if rho is not None:
        _refuse_small(case, worth, rho)
    shift = certain(worth, rho) if rho is not None else 0.0
    payoff, mean_worth = _payoffs(case, excess, rho=rho, shift=shift)
    price, terms = price_of(case), terms_of(case)
    asking = mean_worth if price is None else price
    lowest = lowest_prices(case, asking)
    split = 0.0 if case.car.sale == "auction" else SPLIT
    settlement = Settlement(
        lowest=terms.in_all(even_points(lowest, 1024)),
        asking=asking if owned else terms.in_all(asking),
        split=split,
        rho=rho,
        shift=shift,
        owned=owned,
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
        least=lowest[0],
        likely_lowest=float(pert_mean(np.array(lowest))),
        split=split,
        rho=rho,
        budget=money.budget,
        confidence=money.confidence,
        terms=terms,
        margin=winners_margin(case, value),
        settlement=settlement,
    )


def payoffs_at(case: Case, stakes: Stakes, outlay: Floats) -> Floats:
    """(n,) payoffs as in Stakes, were other sums `outlay` (n,) paid for work in the first year."""
    return _payoffs(case, outlay - stakes.reference, rho=stakes.rho, shift=stakes.settlement.shift)[0]


def _payoffs(case: Case, excess: Floats, *, rho: float | None, shift: float) -> tuple[Floats, float]:
    """(n,) payoffs and the mean worth, both averaged over what a good example may be worth."""
    assert case.money.sound_example is not None
    payoff, mean_worth, scrap = np.zeros(excess.size), 0.0, scrap_of(case)
    for one in even_values(case.money.sound_example):
        of_one = worth_of(one, excess, scrap)
        mean_worth += float(of_one.mean()) / VALUES
        payoff += (of_one if rho is None else _exp((shift - of_one) / rho)) / VALUES
    return payoff, mean_worth


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
    finest = float(worth.max() - worth.min()) / MOST_EXPONENT
    found = effective(worth, rho)
    if found >= least and rho >= finest:
        return
    enough = rho
    while effective(worth, enough) < least or enough < finest:
        enough *= 1.25
    why = (
        f"the price would rest on about {found:.0f} of them"
        if found < least
        else "no gain could be told from a loss"
    )
    text = (
        f"{rho:,.6g} is too small for {worth.size:,} draws: {why}; "
        f"allowed here is about {enough:,.0f} or more (or ask for more draws)"
    )
    raise InputError(Problem(case.name, None, "money.risk_tolerance", text))
