"""What to check or ask next: every check that can be made now, valued, in an order the world allows.

found = next_checks(case, catalogue, minutes=45)
found.checks[: found.stop_after]     # make these, in this order
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from estimator.assess import DRAWS, SEED, Result, assess_fully
from estimator.case import Case
from estimator.catalogue.load import Catalogue, load_catalogue
from estimator.catalogue.records import STATIONS, Check
from estimator.decide.board import Board, Singles, singles
from estimator.decide.likelihood import result_chances
from estimator.decide.readings import channels, ranges_of
from estimator.decide.reference import reference_outlay
from estimator.decide.scene import (
    AUCTION_MINUTES,
    CONDITIONS,
    Option,
    Scene,
    bundles,
    cost,
    place,
    price_factor,
    scene_of,
)
from estimator.decide.selection import Chosen, Limits, Search, marginals
from estimator.decide.stakes import Stakes, need, stakes_of
from estimator.decide.telling import telling_order
from estimator.problems import InputError, Problem, nearest

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
NOTHING = 0.5  # of the currency: a net gain below this is none


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
class NextChecks:
    """checks : those proposed first, in the order to make them, then the others by what they would add; the first
    `stop_after` are worth their cost. together : value, error and net of the proposed set.
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
    failed_stops: tuple[tuple[str, str], ...]
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
            "stops": [{"check": c, "text": t} for c, t in self.failed_stops],
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


def next_checks(
    case: Case,
    catalogue: Catalogue | None = None,
    *,
    minutes: float | None = None,
    money: float | None = None,
    stations: Collection[str] = (),
    without: Collection[str] = (),
    draws: int = DRAWS,
    seed: int = SEED,
    workers: int | None = None,
    progress: Callable[[float], None] | None = None,
    result: Result | None = None,
) -> NextChecks:
    """What to check or ask next, and when to stop.

    Parameters
    ----------
    minutes, money : what there is to spend on checks; None is no limit.
    stations : only these; all when empty.
    without : what is not there today ("lift", "helper", ...), of estimator.decide.scene.CONDITIONS.
    result : an assessment of the same case, if there is one already; draws and seed are then its own.

    Raises
    ------
    InputError
        For an unknown station or condition, a limit below zero, a missing asking price or value, or a risk
        tolerance too small for the draws.
    """
    _allowed(case, minutes=minutes, money=money, stations=stations, without=without)
    need(case)
    known = catalogue or load_catalogue()
    if result is None:
        result = assess_fully(case, known, draws=draws, seed=seed, workers=workers, progress=progress)
    reference = reference_outlay(case, known)
    return ranked(
        result, reference, minutes=minutes, money=money, stations=stations, without=without
    )  # fmt: skip


def ranked(
    result: Result,
    reference: float,
    *,
    minutes: float | None = None,
    money: float | None = None,
    stations: Collection[str] = (),
    without: Collection[str] = (),
) -> NextChecks:
    """The same from an assessment and the mean outlay of its reference car."""
    prepared = result.prepared
    case = prepared.car.case
    stakes = stakes_of(result, reference)
    scene = scene_of(
        prepared.car, stations=stations, without=without, price_factor=price_factor(prepared.car)
    )
    options = scene.options
    if scene.short_list and minutes is None:
        minutes = AUCTION_MINUTES
    board = board_of(result, stakes, options)
    alone = singles(board)
    number = {o.id: i for i, o in enumerate(options)}
    groups = {
        name: tuple(number[o.id] for o in made) for name, made in bundles(options).items()
    }  # fmt: skip
    limits = Limits(minutes, money)
    first = _first_stops(prepared.evidence.open_stops, options, limits)
    if options:
        search = Search(board, options, limits, single=alone.value, fixed=first, bundles=groups.values())
        chosen = search.best()
        spent = np.array([o.price + search.minute * o.minutes for o in options])
        told = telling_order(board, chosen.checks, spent, [number.get(o.after, -1) for o in options])
        added = marginals(search, chosen)
        tours = _bundles(search, groups)
    else:
        chosen, added, tours = Chosen((), 0.0, 0.0, 0.0, "exact"), np.zeros(0), ()
        told = [], np.zeros(0)
    checks = _values(result, stakes, options, board, alone, added, chosen, told)
    proposed = [options[c] for c in chosen.checks]
    return NextChecks(
        case=case.name,
        currency=case.money.currency,
        draws=board.draws,
        seed=result.assessment.seed,
        walk_away=_walk_away(stakes, stakes.by_value, stakes.by_budget),
        by_value=stakes.by_value,
        perfect_information=board.perfect,
        checks=checks,
        stop_after=len(chosen.checks),
        together=chosen,
        minutes=sum(o.minutes for o in proposed),
        price=cost(proposed),
        bundles=tours,
        closed=scene.closed,
        made=scene.made,
        requests=scene.requests,
        short_list=scene.short_list,
        failed_stops=result.assessment.stops,
        advice=_advice(scene, chosen, board, first),
        warnings=_warnings(result, board),
    )


def board_of(result: Result, stakes: Stakes, options: Sequence[Option]) -> Board:
    """The checks' chances on the assessment's draws, with what is at stake."""
    chance = result_chances(result.prepared, result.draws, options)
    told = channels([o.check for o in options], first_used=result.prepared.car.case.car.built)
    return Board(chance, stakes.payoff, stakes.settlement, seed=result.assessment.seed, channel=told)


def _first_stops(open_stops: Sequence[str], options: Sequence[Option], limits: Limits) -> tuple[int, ...]:
    """Stops still open go before any price: as many as can be afforded, the quickest first."""
    wanted = [i for i, o in enumerate(options) if o.id in open_stops]
    made: list[int] = []
    for i in sorted(wanted, key=lambda i: options[i].minutes):
        if options[i].price <= 0 and limits.allow([options[k] for k in (*made, i)]):
            made.append(i)
    return tuple(made)


def _values(
    result: Result,
    stakes: Stakes,
    options: Sequence[Option],
    board: Board,
    alone: Singles,
    added: Floats,
    chosen: Chosen,
    told: tuple[list[int], Floats],
) -> tuple[CheckValue, ...]:
    order, beyond = told
    limit = _budget_after(stakes, board)
    most = stakes.settlement.most(alone.mean)
    first_used = result.prepared.car.case.car.built
    opening = {o.id: o.price for o in options}
    rows = []
    for i, option in enumerate(options):
        results = tuple(
            ResultOf(
                name,
                text,
                float(alone.probability[i, r]),
                _walk_away(stakes, float(most[i, r]), None if limit is None else float(limit[i, r])),
            )
            for r, (name, text) in enumerate(_results(option.check, first_used))
        )
        rows.append(
            CheckValue(
                id=option.id,
                name=option.check.name,
                station=option.check.station,
                by=option.by,
                how=option.how,
                minutes=option.minutes,
                price=option.price,
                value=float(alone.value[i]),
                value_se=float(alone.error[i]),
                marginal=float(added[i]),
                net=float(alone.value[i]) - option.price - opening.get(option.after, 0.0),
                moves=float(alone.probability[i] @ np.abs(most[i] - stakes.by_value)),
                beyond=float(beyond[i]),
                proposed=i in chosen.checks,
                stop=option.check.stop,
                rare=bool(alone.rare[i]),
                after=option.after,
                results=results,
            )
        )
    checks = result.prepared.car.catalogue.checks
    front = sorted(
        (r for r in rows if r.proposed), key=lambda r: (*place(checks[r.id]), bool(r.after), -r.marginal)
    )
    ranked_at = {options[i].id: rank for rank, i in enumerate(order)}
    rest = sorted(
        (r for r in rows if not r.proposed),
        key=lambda r: (
            r.marginal - r.price < NOTHING,
            ranked_at[r.id] if r.marginal - r.price < NOTHING else -r.marginal,
        ),
    )
    return (*front, *rest)


def _results(check: Check, first_used: datetime.date) -> list[tuple[str, str]]:
    """(result, the words for it) in the order of the board's channel; a reading's results are its ranges."""
    if check.reading is None:
        return [("present", check.present), ("absent", check.absent)]
    return [(words, words) for words in ranges_of(check.reading, first_used=first_used).words]


def _budget_after(stakes: Stakes, board: Board) -> Floats | None:
    """(F, R) b after each result: the budget less the weighted quantile of the outlay."""
    if stakes.budget is None:
        return None
    order = np.argsort(stakes.outlay, kind="stable")
    ordered = stakes.outlay[order]
    told = board.results_of
    out = np.empty(told.shape[:2])
    even = np.arange(1, ordered.size + 1, dtype=float)
    for f in range(len(told)):
        signs = np.cumsum(board.columns[f][order])
        for r, (there, gone) in enumerate(told[f]):
            mass = gone * even + (there - gone) * signs
            at = np.searchsorted(mass, stakes.confidence * mass[-1])
            out[f, r] = stakes.budget - ordered[min(int(at), ordered.size - 1)]
    return out


def _walk_away(stakes: Stakes, by_value: float, by_budget: float | None) -> float:
    return max(0.0, by_value if by_budget is None else min(by_value, by_budget))


def _bundles(search: Search, groups: dict[str, tuple[int, ...]]) -> tuple[BundleValue, ...]:
    """Every tour and paid visit as a whole, worth most first."""
    made = []
    for name, members in groups.items():
        chosen = [search.options[c] for c in members]
        price, value = cost(chosen), search.bundle_value(members)
        ids = tuple(o.id for o in chosen)
        made.append(BundleValue(name, ids, sum(o.minutes for o in chosen), price, value, value - price))
    return tuple(sorted(made, key=lambda b: -b.net))


def _advice(scene: Scene, chosen: Chosen, board: Board, first: Sequence[int]) -> str:
    """The one sentence above the list."""
    if not scene.options:
        return "Nothing more can be looked at here."
    if not set(chosen.checks) - set(first):
        begin = "Settle the stops still open, then stop" if first else "Stop"
        if board.perfect < 0.5:
            return f"{begin}: nothing that could still be found out would change what you do at this asking price."
        settle = board.settlement
        worth = float(settle.most(board.payoff.mean()))
        if worth < settle.lowest[0] and not settle.owned:
            return (
                f"{begin}: what the car is worth to you lies so far below what the seller is likely to take that no "
                "set of checks that fits would close the gap often enough to pay."
            )
        return f"{begin}: no set of checks that fits is worth its price and minutes; it would change little."
    what = "Ask for these" if scene.requests else "Make these"
    return f"{what}, then stop" + ("; the stops still open first of all." if first else ".")


def _warnings(result: Result, board: Board) -> tuple[str, ...]:
    made = []
    if board.draws < 2 * board.least:
        made.append(
            f"{board.draws} draws are too few to tell results apart: a result that rests on fewer than "
            f"{board.least:.0f} effective ones is not valued; ask for more draws"
        )
    if board.settlement.rho is None:
        made.append("no money.risk_tolerance is given: values are those of a buyer who minds the mean only")
    if board.settlement.owned:
        made.append("the car is yours: values are for keeping it or selling it at the asking price")
    return tuple(made)


def _allowed(
    case: Case,
    *,
    minutes: float | None,
    money: float | None,
    stations: Collection[str],
    without: Collection[str],
) -> None:
    problems = []
    for name, amount in (("minutes", minutes), ("money", money)):
        if amount is not None and not amount >= 0:
            problems.append(Problem(case.name, None, name, f"must not be below 0; found {amount}"))
    for name, words, allowed in (("station", stations, STATIONS), ("without", without, CONDITIONS)):
        for word in words:
            if word not in allowed:
                close = nearest(word, allowed)
                hint = f' (did you mean "{close}"?)' if close else ""
                text = f'there is no "{word}"{hint}; allowed: {", ".join(allowed)}'
                problems.append(Problem(case.name, None, name, text))
    if problems:
        raise InputError(problems)
