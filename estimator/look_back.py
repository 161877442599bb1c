"""How good the estimates were: what was recorded since the purchase against what was expected on the day of it.

The case is taken back to the purchase, estimated as it then stood, and held against what happened. Two tallies:
bills inside their range of eight in ten, and parts that were found spent or sound against their chances. With fewer
than twenty outcomes there is a count and an interval, and no verdict.

References
----------
Clopper & Pearson, Biometrika 26, 1934 (exact binomial interval).
"""

from __future__ import annotations

import dataclasses
import datetime
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import betaincinv

from estimator.assess import Assessment, assess
from estimator.case import Case
from estimator.casefile.words import years_between
from estimator.catalogue.load import Catalogue

ENOUGH = 20
_RENEWED = ("renewed", "overhauled")


@dataclass(frozen=True)
class Tally:
    """k of n came out as said; expected : how many should have. interval : exact, for the share, at `level`.

    verdict : None under twenty outcomes.
    """

    n: int
    k: int
    expected: float
    interval: tuple[float, float]
    level: float
    verdict: str | None

    def as_dict(self) -> dict[str, Any]:
        return {**self.__dict__, "interval": list(self.interval)}


@dataclass(frozen=True)
class LookBack:
    """Since the purchase. spent : bills recorded; by then p10, p50, p90 of the first year's outlay were expected.

    share_of_year : how much of that year has gone by (at most 1). bills, conditions : see the module.
    """

    since: datetime.date
    until: datetime.date
    spent: float
    bills_recorded: int
    expected: dict[str, float]
    share_of_year: float
    bills: Tally
    conditions: Tally

    def as_dict(self) -> dict[str, Any]:
        return {
            **self.__dict__,
            "since": self.since.isoformat(),
            "until": self.until.isoformat(),
            "bills": self.bills.as_dict(),
            "conditions": self.conditions.as_dict(),
        }


def binomial_interval(k: int, n: int, *, level: float = 0.9) -> tuple[float, float]:
    """Exact interval for a share of which k of n were seen (Clopper-Pearson); (0, 1) for n = 0.

    Raises
    ------
    ValueError
        Unless 0 <= k <= n and 0 < level < 1.
    """
    if not (0 <= k <= n and 0 < level < 1):
        raise ValueError(f"needs 0 <= k <= n and 0 < level < 1, got k {k}, n {n}, level {level:g}.")
    tail = (1 - level) / 2
    low = 0.0 if k == 0 else float(betaincinv(k, n - k + 1, tail))
    high = 1.0 if k == n else float(betaincinv(k + 1, n - k, 1 - tail))
    return low, high


def tally(k: int, n: int, expected: float, *, level: float = 0.9) -> Tally:
    """The count with its interval; a verdict only from twenty outcomes on."""
    low, high = binomial_interval(k, n, level=level)
    verdict = None
    if n >= ENOUGH:
        share = expected / n
        if low <= share <= high:
            verdict = "as expected, as far as this many can tell"
        else:
            verdict = "fewer than expected" if high < share else "more than expected"
    return Tally(n, k, expected, (low, high), level, verdict)


def as_bought(case: Case) -> Case:
    """The case as it stood on the day of purchase: nothing dated later. ValueError if it is not bought."""
    if case.bought is None:
        raise ValueError("The case has no [bought]: there is nothing to look back to.")
    day = max(case.bought.date, case.car.viewed)

    def then(entries: tuple) -> tuple:
        return tuple(e for e in entries if e.date is None or e.date <= day)

    return dataclasses.replace(
        case,
        bought=dataclasses.replace(case.bought, as_of=None),
        work=then(case.work),
        finding=then(case.finding),
        quote=tuple(q for q in case.quote if q.date is not None and q.date <= day),
        test=then(case.test),
        reading=then(case.reading),
        odometer_replaced=then(case.odometer_replaced),
        lived=tuple(p for p in case.lived if p.end <= day),
        coverage=tuple(p for p in case.coverage if p.end <= day),
    )


def look_back(case: Case, catalogue: Catalogue, *, draws: int = 4_000, seed: int = 0) -> LookBack:
    """What happened since the purchase against what was expected then. ValueError if the case is not bought."""
    before = as_bought(case)
    expected = assess(before, catalogue, draws=draws, seed=seed)
    assert case.bought is not None
    day = max(case.bought.date, case.car.viewed)
    later = [w for w in case.work if w.date > day]
    year = expected.total.plan_year
    return LookBack(
        since=day,
        until=case.today,
        spent=float(sum(w.price or 0.0 for w in later)),
        bills_recorded=sum(w.price is not None for w in later),
        expected={"p10": year.p10, "p50": year.p50, "p90": year.p90},
        share_of_year=float(np.clip(years_between(day, case.today), 0.0, 1.0)),
        bills=_bills(later, expected),
        conditions=_conditions(later, expected),
    )


def _bills(later: list, expected: Assessment) -> Tally:
    """Bills for one part against its range of eight in ten."""
    ranges = {c.id: c.cost for c in expected.components}
    inside = n = 0
    for work in later:
        cost = ranges.get(work.component)
        if work.price is None or cost is None or work.what not in _RENEWED:
            continue
        n += 1
        inside += cost["p10"] <= work.price <= cost["p90"]
    return tally(inside, n, 0.8 * n)


def _conditions(later: list, expected: Assessment) -> Tally:
    """Parts seen or renewed since, the first time each: how many were spent, against the sum of their chances."""
    chance = {c.id: c.p_spent for c in expected.components}
    first: dict[str, bool] = {}
    for work in sorted(later, key=lambda w: w.date):
        if work.component in chance and work.what != "adjusted" and work.component not in first:
            first[work.component] = work.what in (*_RENEWED, "seen-spent")
    return tally(sum(first.values()), len(first), float(sum(chance[c] for c in first)))
