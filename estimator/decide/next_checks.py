"""What to check or ask next: every check that can be made now, valued, in an order the world allows.

found = next_checks(case, catalogue, minutes=45)
found.checks[: found.stop_after]     # make these, in this order
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from estimator.assess import DRAWS, SEED, Result, assess_fully
from estimator.case import Case
from estimator.catalogue.load import Catalogue, load_catalogue
from estimator.catalogue.records import STATIONS, Check
from estimator.decide.board import Board, Singles, singles
from estimator.decide.likelihood import result_chances
from estimator.decide.next_records import BundleValue, CheckValue, NextChecks, OpenStop, ResultOf
from estimator.decide.readings import channels, ranges_of
from estimator.decide.reference import reference_outlay
from estimator.decide.refusals import refusal_of
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
from estimator.decide.stakes import LEAST_EFFECTIVE, Stakes, need, stakes_of
from estimator.decide.telling import telling_order
from estimator.problems import InputError, Problem, nearest

Floats = NDArray[np.float64]
FEWEST_DRAWS = int(LEAST_EFFECTIVE)  # below this every result is too rare to be valued
NOTHING = 0.5  # of the currency: a net gain below this is none


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
    draws, seed : Monte Carlo draws, FEWEST_DRAWS to 2,000,000, and their seed, a whole number >= 0; the same seed
        gives the same result.
    workers : threads that price blocks of draws, by default the machine's cores, two at most; the result does not
        depend on it.
    progress : called with the share done, 0 to 1; the ranking itself comes after the last call.
    result : an assessment of the same case, if there is one already; draws and seed are then its own.

    Raises
    ------
    InputError
        For an unknown station or condition, a limit below zero, a missing asking price or value, a risk tolerance
        too small for the draws, or too few draws to tell any two results apart.
    """
    _allowed(case, minutes=minutes, money=money, stations=stations, without=without)
    need(case)
    if result is None:
        _refuse_few(case, draws)
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
    _refuse_few(case, result.assessment.draws)
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
    checks = _values(
        result, stakes, options, board, alone, added, chosen, told, {options[i].id for i in first}
    )
    proposed = [options[c] for c in chosen.checks]
    return NextChecks(
        case=case.name,
        currency=case.money.currency,
        draws=board.draws,
        seed=result.assessment.seed,
        walk_away=_walk_away(stakes.by_value, None if stakes.settlement.owned else stakes.by_budget),
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
        owned=stakes.settlement.owned,
        failed_stops=result.assessment.stops,
        open_stops=_open_stops(result, scene),
        refusal=refusal_of(result, stakes, scene),
        advice=_advice(scene, chosen, board, first),
        warnings=_warnings(result, board),
    )


def board_of(result: Result, stakes: Stakes, options: Sequence[Option]) -> Board:
    """The checks' chances on the assessment's draws, with what is at stake."""
    chance = result_chances(result.prepared, result.draws, options)
    told = channels([o.check for o in options], first_used=result.prepared.car.case.car.built)
    return Board(chance, stakes.payoff, stakes.settlement, seed=result.assessment.seed, channel=told)


def _open_stops(result: Result, scene: Scene) -> tuple[OpenStop, ...]:
    """The stops not looked at yet, those that can be made now first."""
    checks, closed = result.prepared.car.catalogue.checks, dict(scene.closed)
    now = {o.id for o in scene.options}
    rows = [
        OpenStop(
            c, checks[c].name, checks[c].stop, "" if c in now else closed.get(c, "not among those asked for")
        )
        for c in result.prepared.evidence.open_stops
    ]
    return tuple(sorted(rows, key=lambda row: bool(row.why_not)))


def _first_stops(open_stops: Sequence[str], options: Sequence[Option], limits: Limits) -> tuple[int, ...]:
    """Stops still open go before any price: as many as can be afforded, the cheapest and quickest first."""
    wanted = [i for i, o in enumerate(options) if o.id in open_stops]
    made: list[int] = []
    for i in sorted(wanted, key=lambda i: (options[i].price, options[i].minutes)):
        if limits.allow([options[k] for k in (*made, i)]):
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
    first: Collection[str],
) -> tuple[CheckValue, ...]:
    """Every check with its worth, in the order to make them; at each place those of `first` lead."""
    order, beyond = told
    limit = _budget_after(stakes, board)
    most = stakes.price_by_value(stakes.settlement.most(alone.mean))
    first_used = result.prepared.car.case.car.built
    opening = {o.id: o.price for o in options}
    rows = []
    for i, option in enumerate(options):
        results = tuple(
            ResultOf(
                name,
                text,
                float(alone.probability[i, r]),
                _walk_away(float(most[i, r]), None if limit is None else float(limit[i, r])),
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
                beyond=float(beyond[i]) / (1 + stakes.terms.share),
                proposed=i in chosen.checks,
                stop=option.check.stop,
                rare=bool(alone.rare[i]),
                after=option.after,
                results=results,
            )
        )
    checks = result.prepared.car.catalogue.checks
    front = sorted(
        (r for r in rows if r.proposed),
        key=lambda r: (*place(checks[r.id]), bool(r.after), r.id not in first, -r.marginal),
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
    """(F, R) b after each result, by the weighted quantile of the outlay; None without a budget or a price to pay."""
    if stakes.budget is None or stakes.settlement.owned:
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
            out[f, r] = stakes.terms.price_for(stakes.budget - ordered[min(int(at), ordered.size - 1)])
    return out


def _walk_away(by_value: float, by_budget: float | None) -> float:
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
    return f"{what}, then stop" + ("; at each place the stops still open come first." if first else ".")


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
        made.append("the car is yours: values are for keeping it or selling it at the price in the case")
    return tuple(made)


def _refuse_few(case: Case, draws: int) -> None:
    if draws < FEWEST_DRAWS:
        text = (
            f"must be {FEWEST_DRAWS} or more here; found {draws}: with fewer no two results of a check can be told "
            f"apart (the default is {DRAWS:,})"
        )
        raise InputError(Problem(case.name, None, "draws", text))


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
