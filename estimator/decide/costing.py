"""Expected figures of one car's work, by part and by step: what decisions are made on before anything is drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.car import Car
from estimator.evidence.findings import SPENT, WORN
from estimator.money.book import SUPPLIERS, PriceBook
from estimator.money.ranges import pert_mean
from estimator.pipeline import Prepared

Floats = NDArray[np.float64]
GOODS = ("part", "specialist", "surcharge", "consumables")
WEEKS_PER_MONTH = 52.18 / 12


@dataclass(frozen=True)
class Chances:
    """(C,) chance that a part is spent today, worn today, and not spent but falls due within the year."""

    spent: Floats
    worn: Floats
    due: Floats

    @property
    def need(self) -> Floats:
        """Chance that it needs doing within the year."""
        return np.minimum(self.spent + self.due, 1.0)


def chances(prepared: Prepared) -> Chances:
    """Chances of every part, averaged over what the parts share."""
    grid = prepared.grid
    marginal = grid.mean(grid.marginal)
    due = np.einsum(
        "g,gck,gck->c", grid.weight, grid.marginal[:, :, WORN:], prepared.due[..., -1], optimize=True
    )
    return Chances(marginal[:, SPENT], marginal[:, WORN], np.asarray(due, float))


@dataclass(frozen=True)
class Costing:
    """Expected figures. Money in the case's currency with tax; hours in the trade.

    goods (C, 4) : as `GOODS`. hours (C,) of the part itself once reached. step_hours, step_goods (S,).
    supplier (C, K) chance that it is ordered from each kind of supplier. wait_weeks (C, 3), own_wait likely.
    rate an hour, carriage an order, visit a workshop's diagnosis and road test; handy : the owner's hours per
    trade hour.
    """

    goods: Floats
    hours: Floats
    step_hours: Floats
    step_goods: Floats
    supplier: Floats
    wait_weeks: Floats
    rate: float
    carriage: float
    visit: float
    handy: float

    @property
    def bill(self) -> Floats:
        """(C,) goods and labour of the part itself, by a workshop."""
        return np.asarray(self.goods.sum(axis=1) + self.hours * self.rate)

    @property
    def step_cost(self) -> Floats:
        """(S,) a step in a workshop, with what it makes one renew."""
        return np.asarray(self.step_goods + self.step_hours * self.rate)


def way_chances(book: PriceBook) -> Floats:
    """(C, R) chance that each way is the one taken: the first that can be had."""
    mixed = np.tensordot(book.scarcity_weights, book.chance, axes=1)
    return np.asarray(np.diff(np.concatenate([np.zeros((mixed.shape[0], 1)), mixed], axis=1), axis=1))


def costing(book: PriceBook, car: Car) -> Costing:
    """Expected figures of a price book: exact means of what the simulation draws."""
    taken = way_chances(book)
    count, most = taken.shape
    goods = np.zeros((count, len(GOODS)))
    hours = np.zeros(count)
    supplier = np.zeros((count, len(SUPPLIERS)))
    wait = np.zeros((count, 3))
    for c, ways in enumerate(book.ways):
        for r in range(most):
            way, chance = ways[min(r, len(ways) - 1)], float(taken[c, r])
            if chance == 0:
                continue
            again = way.surcharge * book.surcharge_chance
            goods[c, :3] += chance * np.array(
                [pert_mean(np.array(way.parts)), pert_mean(np.array(way.specialist)), again]
            )
            hours[c] += chance * float(pert_mean(np.array(way.hours)))
            wait[c] += chance * np.array(way.wait_weeks)
            if max(way.parts) > 0:
                supplier[c, way.supplier] += chance
            if not way.free_access:
                goods[c, 3] += chance * _mean(book.consumables[c])
    taxed = 1 + book.tax
    return Costing(
        goods=goods * taxed * (1 - _held(book, goods.sum(axis=1)))[:, None],
        hours=hours,
        step_hours=book.access.mean_hours,
        step_goods=book.access.mean_disturbed * taxed,
        supplier=supplier,
        wait_weeks=wait,
        rate=book.rate_likely * taxed,
        carriage=_mean(book.carriage[0]) * taxed,
        visit=book.access.visit_hours * book.rate_likely * taxed,
        handy=book.handy_factor,
    )


def _held(book: PriceBook, goods: Floats) -> Floats:
    """(C,) share of a part's own goods that its strip-down makes one renew anyway: paid once, as in money.total."""
    access = book.access
    held = np.zeros(goods.size)
    np.add.at(held, access.held_part, access.held_share * access.mean_disturbed[access.held_step])
    return np.asarray(np.minimum(held, goods) / np.maximum(goods, 1e-12))


def _mean(table: Floats) -> float:
    """Mean of one row of a quantile table."""
    return float((table[:-1] + table[1:]).mean() / 2)


def money_factor(car: Car) -> float:
    """What a GBP of running.toml is in the case's currency."""
    return float(car.catalogue.settings.prices.currency[car.case.money.currency].parts)
