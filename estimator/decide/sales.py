"""What the kind of sale does to a price: a trader's promises, an auction's costs."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from estimator.assess import Result
from estimator.case import Case
from estimator.decide.stakes import Stakes

Floats = NDArray[np.float64]
WINNERS_EXCESS = 1 / math.sqrt(math.pi)  # mean of the larger of two standard normal errors


def warranty_relief(result: Result) -> Floats | None:
    """(n,) what a trader's written promise carries of the hidden work, None without one.

    What is spent today but not seen, and what falls due within the promised months (evenly over the year), less
    the excess, at the promised share, up to the limit.
    """
    promise = result.prepared.car.case.warranty
    if promise is None:
        return None
    hidden = result.outlays.hidden
    covered = hidden.now + min(promise.months / 12, 1.0) * (hidden.year - hidden.now)
    if promise.months == 0:
        covered = np.zeros_like(covered)
    paid = promise.share * np.maximum(covered - promise.excess, 0.0)
    return paid if promise.limit is None else np.minimum(paid, promise.limit)


def highest_bid(case: Case, stakes: Stakes, walk_away: float) -> tuple[float | None, float | None]:
    """(highest hammer bid, margin for the winner's curse); None where it is no auction.

    Premium, its tax and carriage are paid on top of the hammer. Who wins has on average judged too high: the margin
    is what the keener of two equally good judges is over by, at the spread of the value itself.
    """
    if case.car.sale != "auction" or case.bought is not None:
        return None, None
    money = case.money
    margin = WINNERS_EXCESS * float(stakes.value.std())
    bid = (walk_away - money.transport - margin) / (1 + money.premium * (1 + money.premium_tax))
    return max(bid, 0.0), margin
