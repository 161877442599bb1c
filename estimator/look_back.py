"""How good the estimates were: what was recorded since the purchase against what was expected on the day of it.

The case is taken back to the purchase, estimated as it then stood, and held against what happened. Two tallies:
bills inside their range of eight in ten, and parts that were seen spent, tired or sound against their chances. A part
that was renewed without a word of what it was like says nothing: it may have been done by way of precaution. With
fewer than twenty outcomes there is a count and an interval, and no verdict.

References
----------
Clopper & Pearson, Biometrika 26, 1934 (exact binomial interval).
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import betaincinv

from estimator.assess import assess
from estimator.case import Case
from estimator.casefile.records import Work
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

    share_of_year : how much of that year has gone by (at most 1). bills, conditions : see the module. unsaid : parts
    renewed of which the record does not say what they were like.
    """

    since: datetime.date
    until: datetime.date
    spent: float
    bills_recorded: int
    expected: dict[str, float]
    share_of_year: float
    bills: Tally
    conditions: Tally
    unsaid: int

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


@dataclass(frozen=True)
class Bill:
    """What was paid for the renewal of some parts (ids)."""

    price: float
    parts: tuple[str, ...]


def look_back(case: Case, catalogue: Catalogue, *, draws: int = 4_000, seed: int = 0) -> LookBack:
    """What happened since the purchase against what was expected then. ValueError if the case is not bought."""
    before = as_bought(case)
    expected = assess(before, catalogue, draws=draws, seed=seed)
    assert case.bought is not None
    day = max(case.bought.date, case.car.viewed)
    later = case.since_bought
    year = expected.total.plan_year
    seen, unsaid = conditions_seen(later, catalogue)
    chance = {c.id: c.p_spent for c in expected.components}
    known = {part: spent for part, spent in seen.items() if part in chance}
    return LookBack(
        since=day,
        until=case.today,
        spent=float(sum(w.price or 0.0 for w in later)),
        bills_recorded=sum(w.price is not None for w in later),
        expected={"p10": year.p10, "p50": year.p50, "p90": year.p90},
        share_of_year=float(np.clip(years_between(day, case.today), 0.0, 1.0)),
        bills=bills_inside(bills_of(later, catalogue), {c.id: c.cost for c in expected.components}),
        conditions=tally(sum(known.values()), len(known), float(sum(chance[part] for part in known))),
        unsaid=len(unsaid & chance.keys()),
    )


def bills_of(work: Sequence[Work], catalogue: Catalogue) -> list[Bill]:
    """The bills among entries of work, each with every part renewed on it.

    A bill is written once: renewals of the same day, hand and proof without a price of their own belong to the priced
    one before them, else to the first.
    """
    days: dict[tuple, list[Work]] = {}
    for one in work:
        if one.what in _RENEWED:
            days.setdefault((one.date, one.by, one.evidence), []).append(one)
    bills = []
    for entries in days.values():
        prices: list[float] = []
        parts: list[list[str]] = [[]]
        for one in entries:
            if one.price is not None:
                prices.append(one.price)
                if len(prices) > 1:
                    parts.append([])
            parts[-1] += parts_of(one, catalogue)
        bills += [Bill(price, tuple(dict.fromkeys(own))) for price, own in zip(prices, parts, strict=False)]
    return bills


def parts_of(work: Work, catalogue: Catalogue) -> tuple[str, ...]:
    """Ids of the parts an entry of work speaks of; of a kit all it covers at its depth."""
    if work.component is not None:
        return (work.component,)
    kit = catalogue.kits[str(work.kit)]
    return tuple(kit.depths[work.depth if work.depth in kit.depths else next(iter(kit.depths))])


def bills_inside(bills: Iterable[Bill], ranges: Mapping[str, Mapping[str, float] | None]) -> Tally:
    """Bills inside the sum of their parts' ranges of eight in ten; one with a part that has no range is left out.

    ranges : by part of this car, p10 and p90 of its cost if it needs doing, or None; parts of a kit that are not on
    the car count nothing. The ends add up as if dear parts came together, so that a bill of many parts has at least
    eight chances in ten.
    """
    inside = n = 0
    for bill in bills:
        own = [ranges[part] for part in bill.parts if part in ranges]
        known = [one for one in own if one is not None]
        if known and len(known) == len(own):
            n += 1
            inside += sum(r["p10"] for r in known) <= bill.price <= sum(r["p90"] for r in known)
    return tally(inside, n, 0.8 * n)


def conditions_seen(work: Iterable[Work], catalogue: Catalogue) -> tuple[dict[str, bool], set[str]]:
    """Whether each part was spent when it was first seen, and the parts renewed without being seen: ids.

    What is seen on the day of a renewal is the old part, later it is the new one.
    """
    seen: dict[str, bool] = {}
    unsaid: set[str] = set()
    for one in sorted(work, key=lambda w: (w.date, w.what in _RENEWED)):
        if one.what == "adjusted":
            continue
        for part in parts_of(one, catalogue):
            if part in seen or part in unsaid:
                continue
            if one.what in _RENEWED:
                unsaid.add(part)
            else:
                seen[part] = one.what == "seen-spent"
    return seen, unsaid
