"""What to offer: fair price, opening, target and the most to pay, with what each rests on.

    found = offer(case, catalogue)
    found.walk_away, found.binds, found.sentences["walk_away"]

Known work is deducted openly, hidden work as an allowance; both only beyond what a car sold at its value normally
carries (estimator.decide.reference). What a price means depends on the kind of sale (estimator.decide.sales): at an
auction there is one number, the highest bid; once the car is owned there is nothing to bid, and what was paid is set
against what it is worth by what is known now.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from estimator.assess import DRAWS, SEED, Result, assess_fully
from estimator.case import Case
from estimator.catalogue.load import Catalogue, load_catalogue
from estimator.decide.budget import holds
from estimator.decide.first_year import warranty_relief
from estimator.decide.reference import reference_outlay
from estimator.decide.sales import at_auction, is_owned
from estimator.decide.stakes import Stakes, certain, need, stakes_of, worth_of
from estimator.money.ranges import pert_mean

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
BY_VALUE, BY_BUDGET = "value", "budget"
OPENING = 0.1  # the first offer is no more than this quantile of what the car is worth
PRICES = 25  # points of the curve of the chance that the budget holds
STEP = 0.05  # of the asking price: a concession in money to be shown


@dataclass(frozen=True)
class Prices:
    """The four prices and the two rules behind the last, as the arithmetic leaves them (they may be negative).

    by_value : w. by_budget : b or None. target and opening follow from the most to pay.
    """

    fair: float
    opening: float
    target: float
    walk_away: float
    by_value: float
    by_budget: float | None

    @property
    def binds(self) -> str:
        """Which rule sets the most to pay."""
        return BY_BUDGET if self.by_budget is not None and self.by_budget < self.by_value else BY_VALUE


@dataclass(frozen=True)
class Concession:
    """Something the seller may give: what it raises the most to pay by (its worth, money) and, for work, what that
    work costs (low to high, eight bills in ten).
    """

    id: str
    name: str
    worth: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Offer:
    """Prices of one car for this buyer, money in the case's currency; none below zero.

    fair : what it is worth, E[V]. opening, target, walk_away : prices to the seller; at an auction walk_away is the
    highest bid at the hammer and the other two are None; all three and binds are None for a car that is owned.
    least, likely_lowest : what the seller may take at least, and on average at least.
    in_all : what changes hands at the asking price, or changed hands at the price paid: premium, its tax and carriage
    (`carriage`) on top. paid : the price paid, None before. known_work : mean of what was found; hidden_allowance :
    mean of the rest beyond the reference car, so that value less known_work less hidden_allowance is fair.
    fixed_first : the most to pay if the seller has what was found put right before the sale; None where nobody
    haggles. chance_budget_holds : (price, chance), empty without a budget.
    """

    case: str
    currency: str
    sale: str
    draws: int
    seed: int
    owned: bool
    asking: float
    paid: float | None
    in_all: float
    carriage: float
    value: float
    fair: float
    opening: float | None
    target: float | None
    walk_away: float | None
    binds: str | None
    by_value: float
    by_budget: float | None
    highest_bid: float | None
    bid_margin: float | None
    reference_outlay: float
    known_work: float
    hidden_allowance: float
    least: float
    likely_lowest: float
    chance_budget_holds: tuple[tuple[float, float], ...]
    concessions: tuple[Concession, ...]
    fixed_first: float | None
    warranty_carries: float | None
    failed_stops: tuple[tuple[str, str], ...]
    open_stops: tuple[tuple[str, str], ...]
    sentences: dict[str, str]
    warnings: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The JSON of `offer`, keys as in README."""
        same = (
            "case", "currency", "sale", "draws", "seed", "owned", "asking", "paid", "in_all", "carriage", "value",
            "fair", "opening", "target", "walk_away", "binds", "by_value", "by_budget", "highest_bid", "bid_margin",
            "reference_outlay", "known_work", "hidden_allowance", "likely_lowest", "fixed_first",
            "warranty_carries", "sentences",
        )  # fmt: skip
        stops = [{"check": c, "text": t, "state": "failed"} for c, t in self.failed_stops]
        stops += [{"check": c, "text": t, "state": "open"} for c, t in self.open_stops]
        return {
            "format": 1,
            **{key: getattr(self, key) for key in same},
            "chance_budget_holds": [{"price": p, "chance": c} for p, c in self.chance_budget_holds],
            "concessions": [
                {"id": c.id, "name": c.name, "worth": c.worth, "from": c.low, "to": c.high}
                for c in self.concessions
            ],
            "stops": stops,
            "warnings": list(self.warnings),
        }

    def frame(self) -> pd.DataFrame:
        """The curve of the chance that the budget holds: columns price, chance."""
        import pandas as pd

        return pd.DataFrame(self.chance_budget_holds, columns=["price", "chance"])


def offer(
    case: Case,
    catalogue: Catalogue | None = None,
    *,
    draws: int = DRAWS,
    seed: int = SEED,
    workers: int | None = None,
    progress: Callable[[float], None] | None = None,
    result: Result | None = None,
) -> Offer:
    """Prices of one car.

    Parameters
    ----------
    draws, seed : Monte Carlo draws, 20 to 2,000,000, and their seed, a whole number >= 0; the same seed gives the
        same result.
    workers : threads that price blocks of draws, by default the machine's cores, two at most; the result does not
        depend on it.
    progress : called with the share done, 0 to 1.
    result : an assessment of the same case, if there is one already; draws and seed are then its own.

    Raises
    ------
    InputError
        For a missing asking price or value of a good example, a risk tolerance too small for the draws, or draws or
        seed out of range.
    """
    need(case)
    known = catalogue or load_catalogue()
    if result is None:
        result = assess_fully(case, known, draws=draws, seed=seed, workers=workers, progress=progress)
    return offered(result, reference_outlay(case, known))


def offered(result: Result, reference: float) -> Offer:
    """The same from an assessment and the mean outlay of its reference car."""
    from estimator.decide.offer_words import sentences, warnings

    case, found = result.prepared.car.case, result.assessment
    owned, hammer = is_owned(case), at_auction(case)
    stakes = stakes_of(result, reference)
    prices = prices_of(stakes, friend=case.car.sale == "friend")
    most = max(prices.walk_away, 0.0)
    known = float(result.outlays.known.year.mean())
    value = float(pert_mean(np.array(case.money.sound_example)))
    relief = warranty_relief(result.prepared, result.draws, result.outlays)
    checks = result.prepared.car.catalogue.checks
    haggles = not owned and not hammer
    made = Offer(
        case=case.name,
        currency=case.money.currency,
        sale=case.car.sale,
        draws=found.draws,
        seed=found.seed,
        owned=owned,
        asking=stakes.asking,
        paid=None if case.bought is None else case.bought.price,
        in_all=stakes.terms.in_all(stakes.asking),
        carriage=stakes.terms.carriage,
        value=value,
        fair=max(prices.fair, 0.0),
        opening=max(prices.opening, 0.0) if haggles else None,
        target=max(prices.target, 0.0) if haggles else None,
        walk_away=None if owned else most,
        binds=None if owned else prices.binds,
        by_value=prices.by_value,
        by_budget=prices.by_budget,
        highest_bid=most if hammer else None,
        bid_margin=stakes.margin if hammer else None,
        reference_outlay=reference,
        known_work=known,
        hidden_allowance=value - stakes.mean_worth - known,
        least=stakes.least,
        likely_lowest=stakes.likely_lowest,
        chance_budget_holds=budget_curve(stakes, None if owned else most),
        concessions=concessions_of(result, stakes) if haggles else (),
        fixed_first=max(most_to_pay(stakes, relief=result.outlays.known.year), 0.0) if haggles else None,
        warranty_carries=None if relief is None else float(relief.mean()),
        failed_stops=found.stops,
        open_stops=tuple((c, checks[c].name) for c in found.open_stops),
        sentences={},
        warnings=(),
    )
    return replace(made, sentences=sentences(made, case), warnings=warnings(made, case))


def prices_of(stakes: Stakes, *, friend: bool = False) -> Prices:
    """The four prices.

    fair = E[V]; walk-away = min(w, b), each as the price it leaves when premium and carriage are off; target =
    min(walk-away, E[R] + t (min(asking, walk-away) - E[R])); opening = min(target, the greater of the 10 %
    quantile of V, carriage off, and the least such a seller may take: below it no talk begins.
    Between friends one price, fair to both, is all three.
    """
    w, b = stakes.by_value, stakes.by_budget
    most = w if b is None else min(w, b)
    if friend:
        price = min(stakes.mean_worth, most)
        return Prices(stakes.mean_worth, price, price, most, w, b)
    lowest = stakes.likely_lowest
    target = min(most, lowest + stakes.split * (min(stakes.asking, most) - lowest))
    safe = stakes.terms.price_for(float(np.quantile(stakes.worth, OPENING)))
    opening = min(target, max(safe, stakes.least))
    return Prices(stakes.mean_worth, opening, target, most, w, b)


def most_to_pay(stakes: Stakes, *, relief: Floats) -> float:
    """The most to pay if somebody else carried part of the outlay, draw by draw (n or fewer of the first draws)."""
    rows = slice(0, relief.size)
    before, after = (
        certain(worth_of(stakes.value[rows], stakes.excess[rows] - less, stakes.scrap), stakes.rho)
        for less in (0.0, relief)
    )
    by_value = stakes.by_value + (after - before) / (1 + stakes.terms.share)
    if stakes.budget is None:
        return by_value
    left = np.quantile(stakes.outlay[rows] - relief, stakes.confidence)
    return min(by_value, stakes.terms.price_for(stakes.budget - float(left)))


def concessions_of(result: Result, stakes: Stakes) -> tuple[Concession, ...]:
    """What single concessions are worth: a step off the price, and every part that was found, put right first."""
    step = STEP * stakes.asking
    made = [Concession("price", f"{STEP:.0%} off the asking price", step)] if step > 0 else []
    now = most_to_pay(stakes, relief=np.zeros(len(result.outlays.part)))
    for part in result.assessment.components:
        if not part.found or part.cost is None:
            continue
        column = result.prepared.car.index[part.id]
        relief = result.outlays.part[:, column].astype(float)
        worth = most_to_pay(stakes, relief=relief) - now
        made.append(Concession(part.id, part.name, worth, part.cost["p10"], part.cost["p90"]))
    return tuple(made)


def budget_curve(stakes: Stakes, walk_away: float | None) -> tuple[tuple[float, float], ...]:
    """Chance that what changes hands and the first year's work stay within the budget, at a range of prices; at the
    price paid alone where there is nothing left to offer (walk_away None).
    """
    if stakes.budget is None:
        return ()
    prices = [stakes.asking]
    if walk_away is not None:
        top = max(stakes.asking, walk_away, stakes.budget)
        prices = sorted({*np.linspace(0.0, top, PRICES).tolist(), stakes.asking, walk_away})
    chances = holds(stakes.outlay, stakes.budget - stakes.terms.in_all(np.array(prices)))
    return tuple((float(p), float(c)) for p, c in zip(prices, chances, strict=True))
