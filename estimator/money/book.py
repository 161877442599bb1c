"""The price book of one car: every way to put every part right, and what reaching it costs, as arrays.

Money is the case's currency at the catalogue's price year before tax. R ways at most per part, ordered by expected
cost; S access steps; T tables of quantiles (see estimator.money.ranges).
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.car import Car
from estimator.catalogue.records import Remedy
from estimator.catalogue.settings import Currency
from estimator.money.access import AccessPlan, access_plan
from estimator.money.ranges import open_ended_table, pert_mean, quantile_table
from estimator.problems import InputError, Problem

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
SUPPLIERS = ("parts", "specialist", "breaker", "maker", "bodyshop", "workshop", "tyres", "trimmer")
WEEKS_PER_MONTH = 52.18 / 12
SPARE_LIFE = {"new": 1.0, "pattern": 0.7, "used": 0.4, "old-stock": 0.4, "rebuilt": 0.9}


@dataclass(frozen=True)
class Way:
    """One way to put a part right on this car: ranges (low, likely, high) before tax, hours in the trade."""

    kind: str
    name: str
    parts: tuple[float, float, float]
    specialist: tuple[float, float, float]
    hours: tuple[float, float, float]
    surcharge: float
    availability: float
    wait_weeks: tuple[float, float, float]
    life: float
    supplier: int
    fixed: bool  # quoted: neither market nor range moves it
    free_access: bool  # the quote covers labour and access too
    last_resort: bool
    expected: float
    open_ended: bool = False


@dataclass(frozen=True)
class PriceBook:
    """Everything pricing needs. C parts, R ways, Z levels of scarcity, S steps.

    ways : per part, in order of expected cost, only acceptable ones.
    chance (Z, C, R) : cumulative chance that the first available way is one of the first r.
    parts, specialist, hours : quantile tables (C * R, cells + 1); surcharge, supplier, fixed, free_access (C * R,).
    consumables : (C, cells + 1). own_work (C,) whether the owner could do it; tools (T,) cost of the special tools he
    may then need, bought or hired once; tool_needs (C, T) which parts, with what he can strip down for them, need each.
    access : strip-down. rate : labour per hour, quantile table (1, cells + 1).
    """

    ways: tuple[tuple[Way, ...], ...]
    chance: Floats
    scarcity_weights: Floats
    parts: Floats
    specialist: Floats
    hours: Floats
    surcharge: Floats
    supplier: Ints
    fixed: NDArray[np.bool_]
    free_access: NDArray[np.bool_]
    consumables: Floats
    own_work: NDArray[np.bool_]
    tools: Floats
    tool_needs: NDArray[np.bool_]
    access: AccessPlan
    rate: Floats
    rate_likely: float
    tax: float
    market_sd: float
    carriage: Floats
    minimum_labour_h: float
    handy_factor: float
    own_hours: float
    surcharge_chance: float
    typical: Floats  # (C,) expected cost by the catalogue alone, with labour, access of its own and tax

    @property
    def most_ways(self) -> int:
        return int(self.chance.shape[2])


def currency_of(car: Car) -> Currency:
    """The row of data/prices.toml for the case's currency; InputError naming those there are."""
    prices = car.catalogue.settings.prices
    found = prices.currency.get(car.case.money.currency)
    if found is None:
        known = ", ".join(sorted(prices.currency))
        raise InputError(
            Problem(
                car.case.name,
                None,
                "money.currency",
                f"no price level is known for {car.case.money.currency!r}; known are {known}. "
                "Add a [currency.XXX] table in your own catalogue folder's prices.toml.",
            )
        )
    return found


def price_book(car: Car) -> PriceBook:
    """Resolve the catalogue's prices for one car."""
    prices, money = car.catalogue.settings.prices, car.case.money
    currency = currency_of(car)
    labour = money.labour_rate or currency.labour_rate
    rate_likely = float(pert_mean(np.array(labour)))
    specialist_factor = currency.labour_rate[1] / prices.currency[prices.base].labour_rate[1]
    tax = currency.tax if money.tax is None else money.tax
    access = access_plan(car, money_factor=currency.parts)
    consumables = np.array(
        [
            [x * currency.parts * m.price for x in p.consumables]
            for p, m in zip(car.parts, car.multipliers, strict=True)
        ]
    )
    besides = access.expected_cost(rate=rate_likely) + pert_mean(consumables)
    level = _Level(currency.parts, specialist_factor, rate_likely, tax)
    ways = tuple(_ways(car, i, level, besides=float(besides[i])) for i in range(len(car.parts)))
    offered = {q.component for q in car.case.quote} | {s.component for s in car.case.spare}
    usual = tuple(
        _ways(car, i, level, besides=float(besides[i]), offers=False) if part.id in offered else ways[i]
        for i, part in enumerate(car.parts)
    )
    most = max(len(w) for w in ways)
    padded = [[*w, *[w[-1]] * (most - len(w))] for w in ways]
    flat = [w for row in padded for w in row]
    covered = np.array([w[0].free_access for w in ways])
    own = (
        np.array([p.skill <= money.own_skill for p in car.parts]) & (money.own_hours_per_month > 0) & ~covered
    )
    access = access.without(covered)
    tools, tool_needs = _tools(car, access, own)
    levels = np.array(prices.scarcity_spread.levels)
    weights = np.array(prices.scarcity_spread.weights)
    return PriceBook(
        ways=ways,
        chance=_first_available(ways, levels, most),
        scarcity_weights=weights,
        parts=_tables(flat, "parts"),
        specialist=_tables(flat, "specialist"),
        hours=quantile_table([w.hours for w in flat]),
        surcharge=np.array([w.surcharge for w in flat]),
        supplier=np.array([w.supplier for w in flat], dtype=np.intp),
        fixed=np.array([w.fixed for w in flat]),
        free_access=np.array([w.free_access for w in flat]),
        consumables=quantile_table(consumables),
        own_work=own,
        tools=tools * currency.parts,
        tool_needs=tool_needs,
        access=access,
        rate=quantile_table([labour]),
        rate_likely=rate_likely,
        tax=tax,
        market_sd=prices.market_sd,
        carriage=quantile_table(
            [
                [x * currency.parts for x in prices.carriage]
                if money.carriage is None
                else [money.carriage / (1 + tax)] * 3
            ]
        ),
        minimum_labour_h=prices.minimum_labour_h,
        handy_factor=prices.handy_factor,
        own_hours=12 * money.own_hours_per_month,
        surcharge_chance=prices.surcharge_chance,
        typical=_expected(usual, levels, weights) * (1 + tax),
    )


def _tables(ways: list[Way], figure: str) -> Floats:
    """(C * R, cells + 1) quantiles of one figure of every way."""
    ranges = np.array([getattr(w, figure) for w in ways])
    open_ended = np.array([w.open_ended for w in ways])
    tables = quantile_table(ranges)
    tables[open_ended] = open_ended_table(ranges[open_ended])
    return tables


def _tools(car: Car, access: AccessPlan, own: NDArray[np.bool_]) -> tuple[Floats, NDArray[np.bool_]]:
    """(T,) cost of the owner's special tools (hired where they can be, else bought), (C, T) which parts need each.

    He also strips down to what others then renew.
    """
    known, works = car.catalogue.tools, car.case.money.own_hours_per_month > 0
    steps = [
        car.catalogue.steps[s].tools if works and his else ()
        for s, his in zip(access.steps, access.own_work, strict=True)
    ]
    wanted = [
        {
            t
            for t in (*(p.tools if own[i] else ()), *(t for s in access.of(i) for t in steps[s]))
            if t in known
        }
        for i, p in enumerate(car.parts)
    ]
    ids = sorted({tool for row in wanted for tool in row})
    cost = [(known[t].hire or known[t].buy)[1] for t in ids]
    needs = np.array([[t in row for t in ids] for row in wanted], dtype=bool)
    return np.array(cost), needs.reshape(len(wanted), len(ids))


def ways_taken(book: PriceBook) -> Floats:
    """(C, R) how often each way is the first to be had, over the levels of scarcity; rows sum to 1."""
    return _taken(book.chance, book.scarcity_weights)


def _taken(chance: Floats, weights: Floats) -> Floats:
    reached = np.tensordot(weights, chance, axes=1)
    return np.diff(np.concatenate([np.zeros((reached.shape[0], 1)), reached], axis=1), axis=1)


def _expected(ways: tuple[tuple[Way, ...], ...], levels: Floats, weights: Floats) -> Floats:
    """(C,) expected cost of whichever way is the first to be had."""
    taken = _taken(_first_available(ways, levels, max(len(w) for w in ways)), weights)
    return np.array(
        [sum(t * w.expected for t, w in zip(taken[c], row, strict=False)) for c, row in enumerate(ways)]
    )


@dataclass(frozen=True)
class _Level:
    """Price level of a case: what a GBP of parts and of specialist work costs there, labour per hour, tax."""

    parts: float
    specialist: float
    rate: float
    tax: float


def _scaled(figures: tuple[float, float, float], factor: float) -> tuple[float, float, float]:
    return (figures[0] * factor, figures[1] * factor, figures[2] * factor)


def _scarcity_price(remedy: Remedy, scarcity: float) -> float:
    """Factor on a remedy's price where the car's parts are hard to find (common practice): in full on parts made for
    it, half on used parts and repair kits, none on what can always be had (made singly, by the metre) and on tyres.
    """
    if remedy.last_resort or remedy.supplier == "tyres":
        return 1.0
    return scarcity if remedy.kind not in ("used", "repair") else 1 + (scarcity - 1) / 2


def _ways(car: Car, position: int, level: _Level, *, besides: float, offers: bool = True) -> tuple[Way, ...]:
    """Acceptable ways to put one part right, cheapest expected first.

    besides : expected cost, before tax, of reaching it on its own and of small things. offers : with quotes and spares.
    """
    part, multiply = car.parts[position], car.multipliers[position]
    case, prices = car.case, car.catalogue.settings.prices
    scarcity = getattr(prices.scarcity_price, case.car.parts)
    in_order = sorted(case.quote, key=lambda q: q.date or datetime.date.min)  # the latest of a remedy stands
    quotes = {q.remedy: q for q in in_order if offers and q.component == part.id}

    def way(remedy: Remedy, *, spare_life: float | None = None) -> Way:
        hours = _scaled(remedy.hours or part.hours, multiply.hours)
        cost = _scaled(remedy.price, level.parts * multiply.price * _scarcity_price(remedy, scarcity))
        specialist = _scaled(remedy.specialist, level.specialist * multiply.price)
        surcharge = remedy.surcharge * level.parts
        available = 1.0 if remedy.last_resort else float(getattr(remedy.availability, case.car.parts))
        quote = quotes.get(remedy.kind) if spare_life is None else None
        free = False
        if quote is not None:
            net = quote.price if quote.before_tax else quote.price / (1 + level.tax)
            cost, specialist, surcharge, available = (net, net, net), (0.0, 0.0, 0.0), 0.0, 1.0
            free = quote.covers == "job"
            hours = (0.0, 0.0, 0.0) if free else hours
        if spare_life is not None:
            cost, surcharge, available = (0.0, 0.0, 0.0), 0.0, 1.0
        expected = float(
            pert_mean(np.array(cost))
            + pert_mean(np.array(specialist))
            + pert_mean(np.array(hours)) * level.rate
            + surcharge * prices.surcharge_chance
            + (0.0 if free else besides)
        )
        return Way(
            kind=remedy.kind if spare_life is None else "spare",
            name=remedy.name or remedy.kind,
            parts=cost,
            specialist=specialist,
            hours=hours,
            surcharge=surcharge,
            availability=available,
            wait_weeks=remedy.wait_weeks if spare_life is None else (0.0, 0.0, 0.0),
            life=remedy.life if spare_life is None else spare_life,
            supplier=SUPPLIERS.index(remedy.supplier),
            fixed=quote is not None,
            free_access=free,
            last_resort=remedy.last_resort,
            expected=expected,
            open_ended=remedy.open_ended and quote is None and spare_life is None,
        )

    made = [way(r) for r in part.remedy]
    spares = [SPARE_LIFE[s.state] for s in case.spare if offers and s.component == part.id]
    if spares:
        whole = next((r for r in part.remedy if r.kind not in ("repair", "made")), part.remedy[0])
        made.append(way(whole, spare_life=max(spares)))
    years = car.typical_years[position]
    acceptable = [
        w
        for w in made
        if w.last_resort
        or w.fixed
        or (
            w.life * years >= min(case.money.horizon, 0.5 * years)
            and w.wait_weeks[1] <= case.money.max_wait * WEEKS_PER_MONTH
        )
    ]
    ordered = sorted(acceptable, key=lambda w: w.expected)
    until = next((i for i, w in enumerate(ordered) if w.availability >= 1.0), len(ordered) - 1)
    return tuple(ordered[: until + 1])


def _first_available(ways: tuple[tuple[Way, ...], ...], levels: Floats, most: int) -> Floats:
    """(Z, C, R) cumulative chance of the first available way, at each level of the shared scarcity factor."""
    chance = np.ones((levels.size, len(ways), most))
    for c, row in enumerate(ways):
        none_yet = np.ones(levels.size)
        for r, way in enumerate(row[:-1]):
            a = way.availability
            odds = (1 - a) / a * np.exp(levels) if 0 < a < 1 else None
            there = np.full(levels.size, a) if odds is None else 1 / (1 + odds)
            none_yet = none_yet * (1 - there)
            chance[:, c, r] = 1 - none_yet
    return chance
