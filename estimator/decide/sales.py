"""What a price means by the kind of sale: which price stands in the case, what changes hands with it in all, and what
a hammer does to it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import overload

import numpy as np
from numpy.typing import NDArray

from estimator.case import Case

Floats = NDArray[np.float64]
WINNERS_EXCESS = 1 / math.sqrt(math.pi)  # mean of the larger of two standard normal errors


def is_owned(case: Case) -> bool:
    """Whether the car is the buyer's already: there is nothing to bid for."""
    return case.car.sale == "owned" or case.bought is not None


def at_auction(case: Case) -> bool:
    """Whether the car has still to be bid for."""
    return case.car.sale == "auction" and case.bought is None


def price_of(case: Case) -> float | None:
    """The price of the car, the one rule for it: what was paid; else what is asked; else the most the seller hopes
    for (the last figure of money.seller); None where the case names none of them.
    """
    if case.bought is not None and case.bought.price is not None:
        return case.bought.price
    if case.money.asking is not None:
        return case.money.asking
    return None if case.money.seller is None else case.money.seller[2]


@dataclass(frozen=True)
class Terms:
    """What comes on top of a price: share of it (an auction's premium with its tax), and carriage home (money).

    The price is what the seller, or the hammer, says; the sum in all is what changes hands.
    """

    share: float = 0.0
    carriage: float = 0.0

    @overload
    def in_all(self, price: float) -> float: ...
    @overload
    def in_all(self, price: Floats) -> Floats: ...
    def in_all(self, price: float | Floats) -> float | Floats:
        """What changes hands at a price (any shape)."""
        return price * (1 + self.share) + self.carriage

    @overload
    def price_for(self, in_all: float) -> float: ...
    @overload
    def price_for(self, in_all: Floats) -> Floats: ...
    def price_for(self, in_all: float | Floats) -> float | Floats:
        """The price at which a sum (any shape) changes hands in all; below zero where the extras alone are more."""
        return (in_all - self.carriage) / (1 + self.share)


def terms_of(case: Case) -> Terms:
    """What comes on top of this car's price. What was paid has the premium in it; a car owned without a purchase on
    record stands where it is.
    """
    money = case.money
    if case.bought is not None:
        return Terms(0.0, money.transport)
    if is_owned(case):
        return Terms()
    share = money.premium * (1 + money.premium_tax) if at_auction(case) else 0.0
    return Terms(share, money.transport)


def paid_in_all(case: Case) -> float | None:
    """What changes hands for the car at its price: price, premium with its tax, carriage; None without a price."""
    price = price_of(case)
    return None if price is None else terms_of(case).in_all(price)


def winners_margin(case: Case, value: Floats) -> float:
    """What to keep back at an auction from what a car is worth, given draws (n,) of its value; 0 elsewhere.

    Who wins has on average judged too high: the margin is what the keener of two equally good judges is over by, at
    the spread of the value itself.
    """
    return WINNERS_EXCESS * float(value.std()) if at_auction(case) else 0.0
