"""What share of one car's expected cost, and of its variance, rests on which kind of figure.

Measured from the draws of an assessment where they can say it: each part's mean; its covariance with the total (so
that the shares of the variance add up); and how much of its own variance comes from whether it needs doing at all.
Half of the mean is laid to the figures that say when, half to those that say how much (estimator.catalogue.provenance).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.assess import Result
from estimator.car import Car
from estimator.catalogue.provenance import Provenance, provenance
from estimator.catalogue.records import Component
from estimator.money.book import PriceBook, Way, ways_taken
from estimator.money.ranges import pert_mean

Floats = NDArray[np.float64]
ENTERED = "entered"  # the source of what the buyer typed in: quotes, spares, labour rate


@dataclass(frozen=True)
class _Bill:
    """Sources of what a bill is made of; a labour cost is laid half to its hours, half to the rate."""

    amounts: dict[str, float]
    rate_source: str

    def put(self, source: str, amount: float) -> None:
        if amount > 0:
            self.amounts[source] = self.amounts.get(source, 0.0) + amount

    def labour(self, source: str, amount: float) -> None:
        self.put(source, amount / 2)
        self.put(self.rate_source, amount / 2)

    def shares(self, otherwise: str) -> dict[str, float]:
        total = sum(self.amounts.values())
        return {s: a / total for s, a in self.amounts.items()} if total else {otherwise: 1.0}


@dataclass(frozen=True)
class PartShare:
    """What one part adds: its shares of the expected cost and of the variance of the total (each sums to 1 over the
    parts), and the share of its own variance that comes from whether it needs doing at all.
    """

    id: str
    name: str
    cost: float
    variance: float
    when: float


@dataclass(frozen=True)
class _Weighed:
    """Parts of the total of one car, (n,) each: position, mean outlay, covariance with the total, share of when."""

    kept: NDArray[np.intp]
    mean: Floats
    together: Floats
    when: Floats


def rests_on(result: Result) -> Provenance:
    """Shares by source and kind of what the first year is expected to cost and of its variance.

    Parts of **the** total only: comfort and looks, and unlisted work, are left out as they are there.
    """
    car, weighed = result.prepared.car, _weighed(result)
    bills = _bills(car, result.prepared.book)
    return provenance(
        [car.parts[c] for c in weighed.kept],
        mean_cost=weighed.mean.tolist(),
        variance=weighed.together.tolist(),
        sources=car.catalogue.sources,
        how_much=[bills[c] for c in weighed.kept],
        when_share=weighed.when.tolist(),
    )


def heaviest(result: Result) -> tuple[PartShare, ...]:
    """Parts of the total by their share of its variance, largest first: whose figures are worth knowing better."""
    weighed, parts = _weighed(result), result.prepared.car.parts
    mean, together = (_to_one(x) for x in (weighed.mean, weighed.together))
    return tuple(
        PartShare(
            id=parts[weighed.kept[n]].id,
            name=parts[weighed.kept[n]].name,
            cost=float(mean[n]),
            variance=float(together[n]),
            when=float(weighed.when[n]),
        )
        for n in np.argsort(-together, kind="stable")
    )


def _weighed(result: Result) -> _Weighed:
    car, outlays = result.prepared.car, result.outlays
    part = outlays.part.astype(float)
    total = outlays.total.year[: len(part)]
    kept = np.flatnonzero(~car.comfort)
    together = (total - total.mean()) @ part / max(len(part), 1)
    if together[kept].sum() < 0:  # a handful of draws
        together = part.var(axis=0)
    return _Weighed(kept, part.mean(axis=0)[kept], together[kept], _when_share(part)[kept])


def _to_one(amounts: Floats) -> Floats:
    total = amounts.sum()
    return amounts / total if total else np.zeros(amounts.size)


def _when_share(part: Floats) -> Floats:
    """(C,) share of each part's variance that comes from whether it needs doing: Var(E[cost | need]) / Var(cost).

    part (n, C) : draws of its outlay, 0 where it needed nothing. Half where it varied in no draw.
    """
    needed = part > 0
    chance = needed.mean(axis=0)
    mean = part.sum(axis=0) / np.maximum(needed.sum(axis=0), 1)
    between = mean**2 * chance * (1 - chance)
    variance = part.var(axis=0)
    share = np.divide(between, variance, out=np.full(chance.size, 0.5), where=variance > 0)
    return np.asarray(np.clip(share, 0.0, 1.0))


def _bills(car: Car, book: PriceBook) -> list[dict[str, float]]:
    """Per part, sources of its expected bill: every way by how often it is taken, reaching it, small things."""
    prices = car.catalogue.settings.prices
    rate_source = ENTERED if car.case.money.labour_rate else prices.source
    taken = ways_taken(book)
    steps = [car.catalogue.steps[s] for s in book.access.steps]
    access = book.access
    pairs = zip(access.held_part.tolist(), access.held_step.tolist(), strict=True)
    held = dict(zip(pairs, access.held_share.tolist(), strict=True))
    found = []
    for c, part in enumerate(car.parts):
        bill = _Bill({}, rate_source)
        own_hours = part.sources.get("hours", part.source)
        free = 0.0
        for way, share in zip(book.ways[c], taken[c], strict=False):
            source = _source_of(way, part)
            bill.put(source, share * float(pert_mean(way.parts) + pert_mean(way.specialist)))
            bill.labour(own_hours, share * float(pert_mean(way.hours)) * book.rate_likely)
            free += share * way.free_access
        for s in book.access.of(c):
            bill.labour(steps[s].source, (1 - free) * float(book.access.mean_hours[s]) * book.rate_likely)
            bill.put(
                steps[s].source,
                (1 - free) * float(book.access.mean_disturbed[s]) * (1 - held.get((c, int(s)), 0.0)),
            )
        bill.put(part.source, (1 - free) * float(pert_mean(part.consumables)))
        found.append(bill.shares(part.source))
    return found


def _source_of(way: Way, part: Component) -> str:
    """Where a way's price comes from: the buyer, the remedy's own source, or the part's."""
    if way.fixed or way.kind == "spare":
        return ENTERED
    named = next((r for r in part.remedy if (r.kind, r.name or r.kind) == (way.kind, way.name)), None)
    return (named.source if named else "") or part.sources.get("remedy", part.source)
