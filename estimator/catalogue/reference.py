"""A reference car in the long run: what it spends on renewals a year, and how much work waits on it.

A rough sum over the catalogue alone, to see whether its figures can be believed together: no case, no
history, no checks, every part renewed for itself (nothing shared but the strip-down it needs).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from estimator.catalogue.expressions import parse_expression
from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import Component, Life, Range, Remedy, StepUse, Variant

YEAR, AGE_YEARS = 1974, 40.0
BUILD = """
monocoque closed-body front-engine-rear-drive overhead-valve timing-chain carburettor contact-breaker
alternator manual-gearbox hydraulic-clutch one-piece-prop-shaft live-axle wishbone-front rack-steering
disc-front servo dual-circuit heated-rear-screen
"""
TRAITS = frozenset(BUILD.split())
WEIBULL = math.log(math.log(2) / -math.log(0.9))  # closed form: shape from B10 and B50


@dataclass(frozen=True)
class Reference:
    """Long-run figures of the reference car, base currency with tax: comfort and looks apart, as everywhere.

    yearly_spend : renewals a year. backlog : work waiting on it at any time. deferral_years : cost-weighted
    mean time work waits; backlog = yearly_spend x deferral_years. dearest : parts by backlog, largest first.
    by_system : system, yearly spend and backlog, largest spend first; they add up to the whole.
    """

    yearly_spend: float
    backlog: float
    dearest: tuple[tuple[str, float], ...]
    annual_km: float
    parts: int
    by_system: tuple[tuple[str, float, float], ...] = ()

    @property
    def deferral_years(self) -> float:
        return self.backlog / self.yearly_spend if self.yearly_spend else 0.0


def reference(catalogue: Catalogue, *, traits: frozenset[str] = TRAITS, year: int = YEAR) -> Reference:
    """Long-run spend and backlog of a car in ordinary care and use at 40 years.

    Renewal reward: a part of mean life L that waits D years is renewed every L + D years and is spent the
    share D / (L + D) of the time, whatever the distributions.
    """
    annual_km = catalogue.settings.evidence.distance.yearly_km(AGE_YEARS)
    build = catalogue.complete_traits(traits)
    waiting: dict[str, float] = {}
    systems: dict[str, tuple[float, float]] = {}
    for component in catalogue.components.values():
        if component.need == "comfort" or catalogue.has(component.id, build, year) < 0.5:
            continue
        cost = typical_cost(catalogue, component, build=build, year=year)
        cycle = mean_life_years(component, annual_km=annual_km, build=build, year=year)
        cycle += component.deferral_years
        waiting[component.id] = cost * component.deferral_years / cycle
        spend, backlog = systems.get(component.system, (0.0, 0.0))
        systems[component.system] = spend + cost / cycle, backlog + waiting[component.id]
    return Reference(
        yearly_spend=sum(spend for spend, _ in systems.values()),
        backlog=sum(waiting.values()),
        dearest=tuple(sorted(waiting.items(), key=lambda item: -item[1])),
        annual_km=annual_km,
        parts=len(waiting),
        by_system=tuple(sorted(((s, *both) for s, both in systems.items()), key=lambda row: -row[1])),
    )


def mean_life_years(component: Component, *, annual_km: float, build: frozenset[str], year: int) -> float:
    """Mean life in years at a steady yearly distance: the area under the survival of both clocks."""
    clocks = [
        _weibull(life, factor=_factor(component.variant, "life", build, year) / per_year)
        for life, per_year in ((component.life_years, 1.0), (component.life_km, annual_km))
        if life is not None
    ]
    longest = min(scale * math.log(1000) ** (1 / shape) for shape, scale in clocks)
    years = np.linspace(0, longest, 2001)
    hazard = sum((years / scale) ** shape for shape, scale in clocks)
    return float(np.trapezoid(np.exp(-hazard), years))


def typical_cost(catalogue: Catalogue, component: Component, *, build: frozenset[str], year: int) -> float:
    """The cheapest way of putting it right that is likelier found than not, with labour and tax."""
    currency = catalogue.settings.prices.currency[catalogue.settings.prices.base]
    rate = currency.labour_rate[1]
    price = _factor(component.variant, "price", build, year)
    hours = _factor(component.variant, "hours", build, year)
    strip = _strip_down(catalogue, component, build)

    def full(remedy: Remedy) -> float:
        own = _mean(component.hours if remedy.hours is None else remedy.hours) * hours
        bought = (_mean(remedy.price) + _mean(remedy.specialist)) * price
        return bought + rate * own

    there = [
        r
        for r in component.remedy
        if _holds(r.when, build) and (not r.built or r.built[0] <= year <= r.built[1])
    ]
    likely = [r for r in there if r.availability.common >= 0.5 and r.life >= 0.5]
    cheapest = min(full(r) for r in likely or there or component.remedy)
    return (cheapest + _mean(component.consumables) + strip * rate) * (1 + currency.tax)


def _strip_down(catalogue: Catalogue, component: Component, build: frozenset[str]) -> float:
    """Expected hours to reach it, each step once."""
    found: dict[str, float] = {}
    waiting: list[StepUse] = list(component.access)
    while waiting:
        use = waiting.pop()
        step = catalogue.steps[use.step]
        if step.id not in found and _holds(use.when, build) and _holds(step.when, build):
            found[step.id] = _mean(step.hours) * _factor(step.variant, "hours", build, YEAR)
            waiting += step.after
    return sum(found.values())


def _holds(when: str, build: frozenset[str]) -> bool:
    return parse_expression(when).holds(build)


def _factor(variants: Iterable[Variant], key: str, build: frozenset[str], year: int) -> float:
    return math.prod(
        getattr(variant, key)
        for variant in variants
        if _holds(variant.when, build) and (not variant.built or variant.built[0] <= year <= variant.built[1])
    )


def _weibull(life: Life, *, factor: float) -> tuple[float, float]:
    shape = WEIBULL / math.log(life.b50 / life.b10)
    return shape, life.b50 * factor / math.log(2) ** (1 / shape)


def _mean(range_: Range) -> float:
    """Mean of a PERT distribution."""
    return (range_[0] + 4 * range_[1] + range_[2]) / 6
