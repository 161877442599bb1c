"""Whether the budget holds: what changes hands for the car and its first year of work, against the budget.

The one definition of it, for the offer, the cost page and the report: price, premium and carriage in all, and what
the buyer pays for work in the first year, unlisted work and a trader's promise reckoned in; comfort and looks apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.assess import Result
from estimator.case import Case
from estimator.decide.first_year import buyers_outlay
from estimator.decide.sales import paid_in_all

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class BudgetRoom:
    """What a budget leaves for work at the car's price, money in the case's currency.

    in_all : what changes hands for the car; left : what is then left for work, once bought less the bills since, below
    zero where they come to more. chance : that the budget holds through the first year. reach : the sum of listed
    work that as many first years exceed as break the budget: where to draw the line among them (at most left, where
    nobody else pays).
    owned : it was paid, not asked.
    """

    currency: str
    budget: float
    in_all: float
    left: float
    chance: float
    reach: float
    owned: bool

    @property
    def sentence(self) -> str:
        """Whether it holds, in a sentence."""
        price = "at the price paid" if self.owned else "at the asking price"
        return holds_sentence(self.budget, [(self.chance, price)], currency=self.currency)


def budget_room(result: Result) -> BudgetRoom | None:
    """What the budget leaves at the price that stands in the case; None without a budget or a price."""
    case = result.prepared.car.case
    in_all, left = paid_in_all(case), left_for_work(case)
    if case.money.budget is None or in_all is None or left is None:
        return None
    chance = float(holds(buyers_outlay(result.prepared, result.draws, result.outlays), np.array([left]))[0])
    listed = np.sort(result.outlays.total.year)
    enough = round(chance * listed.size)
    reach = 0.0 if enough == 0 else float(listed[enough - 1])
    if enough == listed.size:
        reach = max(reach, left)
    return BudgetRoom(
        currency=case.money.currency,
        budget=case.money.budget,
        in_all=in_all,
        left=left,
        chance=chance,
        reach=reach,
        owned=case.bought is not None,
    )


@dataclass(frozen=True)
class YearHolds:
    """Chance that a budget holds through the first year: by the plan's jobs, one by one, without unlisted work and
    without what a trader promised; by the estimate, in one round at purchase, with both.
    """

    plan: float
    estimate: float


def year_holds(result: Result, year: Floats) -> YearHolds | None:
    """Both chances, from draws (n,) of what twelve months of a plan come to; None without a budget or a price."""
    room = budget_room(result)
    return None if room is None else YearHolds(float(holds(year, np.array([room.left]))[0]), room.chance)


def left_for_work(case: Case) -> float | None:
    """What the budget leaves after what changes hands for the car and the bills since, below zero where they come to
    more; None without a budget.
    """
    if case.money.budget is None:
        return None
    bills = sum(work.price or 0.0 for work in case.since_bought)
    return case.money.budget - (paid_in_all(case) or 0.0) - bills


def holds(outlay: Floats, left: Floats) -> Floats:
    """(K,) chance that draws (n,) of the first year's work stay within what is left (K,) after the price."""
    return np.asarray(np.searchsorted(np.sort(outlay), left, side="right") / outlay.size)


def holds_sentence(budget: float, at: Sequence[tuple[float, str]], *, currency: str) -> str:
    """The sentence for it: (chance, "at the asking price") of one price or more."""
    first, *others = at
    text = (
        f"The budget of {currency} {budget:,.0f} holds through the first year, unlisted work included, "
        f"in {100 * first[0]:.0f} of 100 cases {first[1]}"
    )
    return text + "".join(f", in {100 * chance:.0f} {where}" for chance, where in others) + "."
