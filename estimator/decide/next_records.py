"""What `next_checks` returns: checks with their worth and results, tours and visits, stops still open, refusals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from estimator.decide.refusals import Refusal
from estimator.decide.selection import Chosen

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class ResultOf:
    """One way a check can come out: how likely, and the most to pay after it."""

    result: str
    text: str
    probability: float
    walk_away: float


@dataclass(frozen=True)
class CheckValue:
    """One check that can be made now.

    value, value_se : what its result is worth by itself, money; marginal : what it adds to those proposed before
    it (or, if it is not proposed, to all of them); net : value less price, that of what must be opened first
    included. moves : how far it moves the most to pay, on average; beyond : the same beyond what those above it in
    the list tell. proposed : it belongs to the best affordable set. rare : too few draws tell its results apart.
    """

    id: str
    name: str
    station: str
    by: str
    how: str
    minutes: float
    price: float
    value: float
    value_se: float
    marginal: float
    net: float
    moves: float
    beyond: float
    proposed: bool
    stop: str
    rare: bool
    after: str
    results: tuple[ResultOf, ...]


@dataclass(frozen=True)
class BundleValue:
    """A tour or a paid visit taken as a whole: its checks, what it takes, what it is worth."""

    id: str
    checks: tuple[str, ...]
    minutes: float
    price: float
    value: float
    net: float


@dataclass(frozen=True)
class OpenStop:
    """A check not made yet whose bad result ends the deal; `why_not` : why it cannot be made now, empty if it can."""

    check: str
    name: str
    text: str
    why_not: str


@dataclass(frozen=True)
class NextChecks:
    """checks : those proposed first, in the order to make them, then the others by what they would add; the first
    `stop_after` are worth their cost. together : value, error and net of the proposed set.
    walk_away, by_value : the most to pay to the seller (at an auction: to bid), and the same whatever the budget; for
    a car that is owned what it is worth. open_stops come first of all, whatever their value. refusal : what the
    seller refused, None if nothing.
    """

    case: str
    currency: str
    draws: int
    seed: int
    walk_away: float
    by_value: float
    perfect_information: float
    checks: tuple[CheckValue, ...]
    stop_after: int
    together: Chosen
    minutes: float
    price: float
    bundles: tuple[BundleValue, ...]
    closed: tuple[tuple[str, str], ...]
    made: tuple[str, ...]
    requests: bool
    short_list: bool
    owned: bool
    failed_stops: tuple[tuple[str, str], ...]
    open_stops: tuple[OpenStop, ...]
    refusal: Refusal | None
    advice: str
    warnings: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The JSON of `next`, keys as in README."""
        return {
            "format": 1,
            "case": self.case,
            "currency": self.currency,
            "draws": self.draws,
            "seed": self.seed,
            "stops": [
                *({"check": c, "text": t, "state": "failed"} for c, t in self.failed_stops),
                *(
                    {"check": o.check, "text": o.name, "state": "open", "not_now": o.why_not}
                    for o in self.open_stops
                ),
            ],
            "refused": None if self.refusal is None else self.refusal.as_dict(),
            "walk_away": self.walk_away,
            "checks": [_check_dict(c) for c in self.checks],
            "stop_after": self.stop_after,
            "perfect_information": self.perfect_information,
            "together": {
                "value": self.together.value,
                "value_se": self.together.error,
                "net": self.together.net,
                "minutes": self.minutes,
                "price": self.price,
                "method": self.together.method,
            },
            "bundles": [
                {**{k: getattr(b, k) for k in BundleValue.__dataclass_fields__}, "checks": list(b.checks)}
                for b in self.bundles
            ],
            "not_now": [{"id": c, "why": w} for c, w in self.closed],
            "made": list(self.made),
            "requests": self.requests,
            "short_list": self.short_list,
            "owned": self.owned,
            "advice": self.advice,
            "warnings": list(self.warnings),
        }

    def frame(self) -> pd.DataFrame:
        """The checks as a table, a row each, in order; results as columns."""
        import pandas as pd

        rows = []
        for check in self.checks:
            row = {k: getattr(check, k) for k in CheckValue.__dataclass_fields__ if k != "results"}
            for one in check.results:
                row[f"chance_{one.result}"], row[f"walk_away_{one.result}"] = one.probability, one.walk_away
            rows.append(row)
        return pd.DataFrame(rows)


def _check_dict(check: CheckValue) -> dict[str, Any]:
    plain = {k: getattr(check, k) for k in CheckValue.__dataclass_fields__ if k != "results"}
    results = [{k: getattr(r, k) for k in ResultOf.__dataclass_fields__} for r in check.results]
    return {**plain, "results": results}
