"""Cars side by side: what each costs with its first year of work, and which to choose.

    found = compare([first, second], catalogue)
    found.p_cheaper[0][1]        # chance that the first costs less than the second

The draws of all cars share what would strike all alike: the level of prices, of workshop rates and carriage, and
how far lives in general turn out longer or shorter than the catalogue says. What each car hides is its own.

A car with a stop is not among those to choose from, whatever its sums say.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from estimator.assess import DRAWS, SEED
from estimator.case import Case
from estimator.catalogue.load import Catalogue, load_catalogue
from estimator.decide.first_year import buyers_outlay
from estimator.decide.reference import reference_outlay
from estimator.decide.sales import is_owned, paid_in_all, price_of
from estimator.decide.stakes import FEW_DRAWS, certain, scrap_of, value_draws, worth_of
from estimator.distribution import Distribution, summarise
from estimator.outlays import price_draws
from estimator.pipeline import Prepared, prepare
from estimator.problems import InputError, Problem
from estimator.simulate import BLOCK, Draws, draw_conditions

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Stops = tuple[tuple[tuple[str, str], ...], tuple[tuple[str, str], ...]]  # failed, not looked at
COMMON = ("level of prices", "workshop rates", "carriage", "lives in general")
OWN = ("condition of every part", "what work turns out to need", "what a good example is worth")
SLACK = 1e-9  # dominance is judged up to this share of the spread


@dataclass(frozen=True)
class Compared:
    """One car of the comparison.

    failed_stops, open_stops : (check, what follows) and (check, its name). price : what changes hands in all: asked or
    paid, with premium and carriage. outlay : what the buyer pays for work in the first year, unlisted work included, a
    trader's promise off. total : price and outlay.
    reference_outlay : what of it a car sold at that value normally carries. gain : value less price less outlay
    beyond that, as in an offer: never more than leaves the scrap (None without a value). score : what the choice
    rests on (certainty equivalent of the gain, of minus the total where values are missing). regret : what choosing
    it costs on average against the best choice in hindsight. switching_price : what may change hands in all for it to
    be as good as the best other. Best is always among the cars without a stop, where there is one.
    """

    case: str
    failed_stops: tuple[tuple[str, str], ...]
    open_stops: tuple[tuple[str, str], ...]
    price: float
    outlay: Distribution
    total: Distribution
    reference_outlay: float | None
    gain: Distribution | None
    score: float
    regret: float
    switching_price: float
    p_best: float


@dataclass(frozen=True)
class Comparison:
    """cases in the order given; p_cheaper[i][j] : chance that i costs less than j (ties half); dominates: (i, j,
    order) where i is at least as good as j at every level (1) or for everybody who minds risk (2). first : the car to
    choose, None where every one has a stop. worth_it : whether the first is worth more than it costs; None by cost.
    """

    currency: str
    draws: int
    seed: int
    by: str
    cases: tuple[Compared, ...]
    p_cheaper: tuple[tuple[float, ...], ...]
    dominates: tuple[tuple[int, int, int], ...]
    first: int | None
    worth_it: bool | None
    common: tuple[str, ...]
    own: tuple[str, ...]
    warnings: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The JSON of `compare`, keys as in README."""
        return {
            "format": 1,
            "currency": self.currency,
            "draws": self.draws,
            "seed": self.seed,
            "by": self.by,
            "cases": [
                {
                    "case": c.case,
                    "stops": [
                        *({"check": k, "text": t, "state": "failed"} for k, t in c.failed_stops),
                        *({"check": k, "text": t, "state": "open"} for k, t in c.open_stops),
                    ],
                    "price": c.price,
                    "outlay": c.outlay.as_dict(),
                    "total": c.total.as_dict(),
                    "reference_outlay": c.reference_outlay,
                    "gain": None if c.gain is None else c.gain.as_dict(),
                    "score": c.score,
                    "regret": c.regret,
                    "switching_price": c.switching_price,
                    "p_best": c.p_best,
                }
                for c in self.cases
            ],
            "p_cheaper": [list(row) for row in self.p_cheaper],
            "dominates": [{"case": i, "over": j, "order": k} for i, j, k in self.dominates],
            "first": self.first,
            "worth_it": self.worth_it,
            "common": list(self.common),
            "own": list(self.own),
            "warnings": list(self.warnings),
        }

    def frame(self) -> pd.DataFrame:
        """A row a car: case, stops, price, mean, likely and bad outlay, score, regret, switching price."""
        import pandas as pd

        rows = [
            {
                "case": c.case, "stops": len(c.failed_stops), "open_stops": len(c.open_stops), "price": c.price, 
                "outlay_mean": c.outlay.mean, "outlay_p50": c.outlay.p50, "outlay_p80": c.outlay.p80,
                "total_mean": c.total.mean, "score": c.score, "regret": c.regret,
                "switching_price": c.switching_price, "p_best": c.p_best,
            }
            for c in self.cases
        ]  # fmt: skip
        return pd.DataFrame(rows)


def compare(
    cases: Sequence[Case],
    catalogue: Catalogue | None = None,
    *,
    draws: int = DRAWS,
    seed: int = SEED,
    workers: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> Comparison:
    """Cars side by side, by value less price and excess outlay where all have a value, else by price and outlay.

    The risk tolerance is the buyer's: the least where the files state different ones (and a warning). Which car stands
    first in `cases` does not matter.

    Parameters
    ----------
    draws, seed : Monte Carlo draws of each car, a whole number >= 1, and their seed, a whole number >= 0; the same seed
        gives the same result.
    workers : threads that price blocks of draws, by default the machine's cores, two at most; the result does not
        depend on it.
    progress : called with the share of the cars done, 0 to 1.

    Raises
    ------
    InputError
        For fewer than two cars, two currencies, or a car without a price.
    """
    made = tuple(cases)
    _comparable(made)
    known = catalogue or load_catalogue()
    outlays, stops = [], []
    number = {place: rank for rank, place in enumerate(sorted(range(len(made)), key=lambda i: repr(made[i])))}
    for place, case in enumerate(made):
        prepared = prepare(case, known)
        outlays.append(common_outlays(prepared, draws=draws, seed=seed, own=number[place], workers=workers))
        stops.append(stops_of(prepared))
        if progress is not None:
            progress((place + 1) / len(made))
    values, normal = None, None
    if all(c.money.sound_example is not None for c in made):
        values = [value_draws(c, draws, seed=seed + 7_907 * (number[i] + 1)) for i, c in enumerate(made)]
        normal = [reference_outlay(c, known) for c in made]
    rho = min((c.money.risk_tolerance for c in made if c.money.risk_tolerance is not None), default=None)
    return compared(made, outlays, values, normal, rho=rho, seed=seed, stops=stops)


def stops_of(prepared: Prepared) -> Stops:
    """(check, what follows) of the stops that failed, (check, name) of those not looked at yet."""
    evidence, checks = prepared.evidence, prepared.car.catalogue.checks
    return evidence.stops, tuple((c, checks[c].name) for c in evidence.open_stops)


def common_outlays(
    prepared: Prepared, *, draws: int, seed: int, own: int, workers: int | None = None
) -> Floats:
    """(n,) what the buyer of one car pays for work in the first year, its draws lined up with those of every other car.

    Draws stand in order of the life that all parts share, so that the n-th draw of every car is equally lucky with
    lives; pricing draws the level of prices, rates and carriage from the same seeds for every car.
    """
    first, *seeds = np.random.SeedSequence(seed).spawn(1 + -(-draws // BLOCK))
    mine = np.random.Generator(np.random.SFC64(np.random.SeedSequence([seed, 6_700_417, own])))
    drawn = draw_conditions(prepared.grid, prepared.evidence.belief, n=draws, rng=mine)
    shared = np.random.Generator(np.random.SFC64(first))
    life = prepared.grid.common[drawn.point]
    rank = np.lexsort((mine.random(draws), life))
    order = np.empty(draws, dtype=np.intp)
    order[shared.permutation(draws)] = rank  # the same shuffle for every car: blocks are fair samples
    lined_up = Draws(drawn.point[order], drawn.condition[order])
    nothing = np.zeros(len(prepared.car.parts), dtype=bool)
    outlays = price_draws(prepared, lined_up, nothing, seeds, workers=workers)
    return buyers_outlay(prepared, lined_up, outlays)


def compared(
    cases: Sequence[Case],
    outlays: Sequence[Floats],
    values: Sequence[Floats] | None,
    normal: Sequence[float] | None,
    *,
    rho: float | None,
    seed: int,
    stops: Sequence[Stops] | None = None,
) -> Comparison:
    """The same from draws of outlay that are lined up; with values go the outlays normal at that value; stops : of
    each car, none where not given.
    """
    prices = [paid_in_all(c) or 0.0 for c in cases]
    totals = [price + outlay for price, outlay in zip(prices, outlays, strict=True)]
    gains = [-t for t in totals]
    if values is not None and normal is not None:
        gains = [
            worth_of(v, outlay - usual, scrap_of(case)) - price
            for case, price, v, usual, outlay in zip(cases, prices, values, normal, outlays, strict=True)
        ]
    scores = [certain(g, rho) for g in gains]
    stopped = [((), ())] * len(cases) if stops is None else list(stops)
    free = [i for i, (failed, _) in enumerate(stopped) if not failed]
    choice = free or list(range(len(cases)))
    stacked = np.stack(gains)
    best = stacked[choice].max(axis=0)
    winner = np.array(choice)[stacked[choice].argmax(axis=0)]
    first = max(free, key=lambda i: scores[i]) if free else None

    def best_other(i: int) -> float:
        return max((scores[k] for k in choice if k != i), default=scores[i])

    rows = tuple(
        Compared(
            case=case.name,
            failed_stops=stopped[i][0],
            open_stops=stopped[i][1],
            price=prices[i],
            outlay=summarise(outlays[i]),
            total=summarise(totals[i]),
            reference_outlay=None if normal is None else normal[i],
            gain=None if values is None else summarise(gains[i]),
            score=float(scores[i]),
            regret=float((np.maximum(best, stacked[i]) - stacked[i]).mean()),
            switching_price=prices[i] + float(scores[i] - best_other(i)),
            p_best=float((winner == i).mean()),
        )
        for i, case in enumerate(cases)
    )
    cheaper = tuple(
        tuple(0.5 if i == j else float((a < b).mean() + 0.5 * (a == b).mean()) for j, b in enumerate(totals))
        for i, a in enumerate(totals)
    )
    warnings = [] if values is not None else ["not every car has money.sound_example: compared by cost alone"]
    if best.size < FEW_DRAWS:
        warnings.append(
            f"only {best.size} draws: every sum here is rough; ask for more (the default is {DRAWS:,})"
        )
    if rho is not None and any(c.money.risk_tolerance != rho for c in cases):
        warnings.append(
            f"the files do not agree on money.risk_tolerance: {rho:,.0f}, the least, is taken for all"
        )
    if rho is None:
        warnings.append("no money.risk_tolerance is given: compared by the mean")
    return Comparison(
        currency=cases[0].money.currency,
        draws=int(best.size),
        seed=seed,
        by="cost" if values is None else "value less cost",
        cases=rows,
        p_cheaper=cheaper,
        dominates=tuple(
            (i, j, order)
            for i, a in enumerate(gains)
            for j, b in enumerate(gains)
            if i != j and i in choice and (order := dominance(a, b))
        ),
        first=first,
        worth_it=None if values is None or first is None else scores[first] > 0,
        common=COMMON,
        own=OWN,
        warnings=tuple(warnings),
    )


def dominance(a: Floats, b: Floats) -> int:
    """1 if draws `a` are stochastically at least as large as `b` everywhere, 2 if so for everybody averse to risk, 0
    if neither (or if both are the same).

    First order: every quantile of a is at least b's. Second order: every mean of the lowest share of a is at least
    that of b.

    References
    ----------
    Levy, "Stochastic dominance and expected utility: survey and analysis", Management Science 38, 1992.
    """
    x, y = np.sort(a), np.sort(b)
    slack = SLACK * max(float(np.abs(x).max()), float(np.abs(y).max()), 1.0)
    gap = x - y
    if not (gap > slack).any():
        return 0
    if (gap >= -slack).all():
        return 1
    return 2 if (np.cumsum(gap) >= -slack * np.arange(1, gap.size + 1)).all() else 0


def _comparable(cases: tuple[Case, ...]) -> None:
    if len(cases) < 2:
        name = cases[0].name if cases else "compare"
        raise InputError(Problem(name, None, "", "is the only car: at least two are needed to compare"))
    currencies = {c.money.currency for c in cases}
    problems = []
    if len(currencies) > 1:
        found = ", ".join(f"{c.name}: {c.money.currency}" for c in cases)
        text = f"cars in two currencies cannot be compared; found {found}. Write all in one"
        problems.append(Problem(cases[0].name, None, "money.currency", text))
    for case in cases:
        if price_of(case) is None and not is_owned(case):
            text = "is needed: a price to compare by"
            problems.append(Problem(case.name, None, "money.asking", text))
    if problems:
        raise InputError(problems)
