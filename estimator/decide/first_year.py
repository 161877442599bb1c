"""What the buyer pays for work in the first year: the one sum that prices, checks and comparisons rest on.

The total and the work no list can name, less what a trader promised in writing to carry. How much of a draw's work
was known at the sale, and so is not the trader's, is weighed by how far the signs of the viewing point to each part:
no sum jumps as a part comes to count as found.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from estimator.known import known_share
from estimator.outlays import Outlays
from estimator.pipeline import Prepared
from estimator.simulate import SPENT, Draws

Floats = NDArray[np.float64]
ROWS = 20_000  # draws of conditions weighed at a time


def buyers_outlay(prepared: Prepared, drawn: Draws, outlays: Outlays) -> Floats:
    """(n,) what the buyer pays for work in the first year in each draw, the case's currency with tax."""
    outlay = outlays.total.year + outlays.unlisted
    relief = warranty_relief(prepared, drawn, outlays)
    return outlay if relief is None else outlay - relief


def warranty_relief(prepared: Prepared, drawn: Draws, outlays: Outlays) -> Floats | None:
    """(n,) what a trader's written promise carries of work not known at the sale, None without one.

    What is spent today and was not known, and what falls due within the promised months (evenly over the year), less
    the excess, at the promised share, up to the limit.
    """
    promise = prepared.car.case.warranty
    if promise is None:
        return None
    now, year = outlays.total.now, outlays.total.year
    covered = now * (1 - known_of_now(prepared, drawn, outlays)) + min(promise.months / 12, 1.0) * (
        year - now
    )
    if promise.months == 0:
        covered = np.zeros_like(covered)
    paid = promise.share * np.maximum(covered - promise.excess, 0.0)
    return paid if promise.limit is None else np.minimum(paid, promise.limit)


def known_of_now(prepared: Prepared, drawn: Draws, outlays: Outlays) -> Floats:
    """(n,) share of a draw's work of today that was known at the sale: its spent parts, each by its usual bill and
    by how far the signs point to it.
    """
    share = known_share(prepared)
    if not share.any():
        return np.zeros(len(drawn))
    usual = _usual_bills(outlays.part)
    usual[prepared.car.comfort] = 0.0
    out = np.zeros(len(drawn))
    for start in range(0, len(drawn), ROWS):
        rows = slice(start, start + ROWS)
        spent = (drawn.condition[rows] == SPENT).astype(np.float32)
        whole = spent @ usual
        out[rows] = spent @ (usual * share).astype(np.float32) / np.maximum(whole, 1e-9)
    return np.clip(out, 0.0, 1.0)


def _usual_bills(part: NDArray[np.float32]) -> NDArray[np.float32]:
    """(C,) mean bill of each part in the draws in which it has one, its share of strip-down included."""
    billed = np.maximum((part > 0).sum(axis=0), 1)
    return np.asarray(part.sum(axis=0, dtype=np.float64) / billed, np.float32)
