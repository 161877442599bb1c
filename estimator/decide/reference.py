"""The reference car: what a car sold at the value of a good example normally still costs its buyer.

A good example was itself sold with ordinary wear in it. Only what this car carries beyond that is deducted from its
value. The reference car has the same build, age and distance, ordinary care and the usual papers, is kept and used
as cars ordinarily are, and is for sale in the same way. Whoever paid that price had looked at it as buyers do, and
nothing they could see was amiss: a car with something to see would have been no good example. Without that look the
reference is the average of all such cars, wrecks included, and carries as much work as a good one is worth.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import replace

import numpy as np

from estimator.assess import SEED
from estimator.car import Car as ResolvedCar
from estimator.car import resolve
from estimator.case import Car, Case, Finding, MoneySettings, Test
from estimator.casefile.words import day_after_years, in_unit
from estimator.catalogue.load import Catalogue
from estimator.evidence.findings import read_findings
from estimator.evidence.grid import posterior_grid
from estimator.evidence.life_grid import life_table
from estimator.history import history, odometer_hypotheses
from estimator.money.book import price_book
from estimator.outlays import price_draws
from estimator.pipeline import Prepared, Wear, shared_factors
from estimator.simulate import BLOCK, draw_conditions
from estimator.wear.renewal import forward_pass

REFERENCE_DRAWS = 10_000
USUAL_TESTS_YEARS = (0.5, 1.5, 2.5)  # usual papers: the last three annual tests, passed (common practice)
LOOKED_AT = ("walk-round", "bonnet-cold", "cabin", "cold-start", "road-test")  # where every buyer looks
QUICK_MINUTES = 2.0  # what he looks at there (common practice)
_KEPT: OrderedDict[tuple[Case, int, int, int], tuple[Catalogue, float]] = OrderedDict()
_MOST_KEPT = 16


def reference_case(case: Case, catalogue: Catalogue) -> Case:
    """The same model as sold at its value: ordinary care, usual papers, nothing amiss at a buyer's quick look, and a
    distance beyond doubt: the mean of what this car's odometer may really have turned.
    """
    car = case.car
    day = case.today
    resolved = resolve(case, catalogue)
    turned = odometer_hypotheses(resolved)
    distance_km = sum(h.weight * h.readings[-1][1] for h in turned) / sum(h.weight for h in turned)
    made = Car(
        viewed=day,
        built=car.built,
        odometer=round(in_unit(distance_km, car.unit), 1),
        unit=car.unit,
        name="reference car",
        sale="private" if car.sale == "owned" else car.sale,
        odometer_digits=7,
        traits=car.traits,
        care="ordinary",
        parts=car.parts,
        country=car.country,
        market=car.country,
    )
    money = replace(case.money, scrap=None, seller=None, asking=None)
    days = [day_after_years(day, -years) for years in USUAL_TESTS_YEARS]
    tests = tuple(Test(date=d, result="passed") for d in sorted(days) if d > car.built)
    return Case(car=made, money=money, test=tests, finding=_quick_look(resolved))


def _quick_look(car: ResolvedCar) -> tuple[Finding, ...]:
    """Nothing amiss, as far as a newcomer in a hurry sees, hears or feels without tools on a car so built."""
    return tuple(
        Finding(check=check.id, result="absent", by="newcomer", badly=True)
        for check in car.catalogue.checks.values()
        if check.station in LOOKED_AT
        and check.kind in ("look", "listen", "feel")
        and check.minutes <= QUICK_MINUTES
        and check.links
        and check.reading is None
        and not check.tools
        and not {"helper", "lift", "permission"} & set(check.needs)
        and check.suits(car.case.car.built)
        and car.chance(check.when) > 0.5
    )


def reference_outlay(
    case: Case, catalogue: Catalogue, *, draws: int = REFERENCE_DRAWS, seed: int = SEED
) -> float:
    """Mean outlay of the reference car over its plan year, unlisted work included; 0 where the value means a car
    with nothing to do.
    """
    if case.money.value_means == "nothing-to-do":
        return 0.0
    reference = reference_case(case, catalogue)
    key = (_without_limits(reference), id(catalogue), draws, seed)
    if key not in _KEPT:
        prepared = prepared_without_reasons(reference, untampered(catalogue))
        _KEPT[key] = (catalogue, mean_outlay(prepared, draws=draws, seed=seed))
        while len(_KEPT) > _MOST_KEPT:
            _KEPT.popitem(last=False)
    _KEPT.move_to_end(key)
    return _KEPT[key][1]


def prepared_without_reasons(case: Case, catalogue: Catalogue) -> Prepared:
    """All stages up to the posterior, as `prepare` makes them but for what only explains it: the second wear pass of
    the same car without its papers.
    """
    car = resolve(case, catalogue)
    told = history(car)
    passed = forward_pass(told.pass_input)
    unexplained = np.zeros((len(car.parts), 3))
    wear = Wear(
        history=told,
        table=life_table(passed, points=told.life_points, total_sd=told.total_sd, own_sd=car.own_sd),
        fitted_age=passed.fitted_age,
        age_edges=passed.age_edges,
        base=unexplained,
        by_age=unexplained,
        by_history=unexplained,
    )
    book, evidence = price_book(car), read_findings(car)
    shared = shared_factors(car, wear, book, evidence)
    grid = posterior_grid(wear.table, shared, evidence)
    return Prepared(car=car, wear=wear, evidence=evidence, shared=shared, book=book, grid=grid)


def untampered(catalogue: Catalogue) -> Catalogue:
    """The catalogue where nobody tampers with odometers: the reference car's distance is given, not read."""
    settings = catalogue.settings
    odometer = settings.evidence.odometer.model_copy(update={"tampered_home": 0.0, "tampered_import": 0.0})
    evidence = settings.evidence.model_copy(update={"odometer": odometer})
    return replace(catalogue, settings=settings.model_copy(update={"evidence": evidence}))


def mean_outlay(prepared: Prepared, *, draws: int, seed: int) -> float:
    """Mean of total and unlisted work over the plan year, with the draws `assess` would make."""
    first, *seeds = np.random.SeedSequence(seed).spawn(1 + -(-draws // BLOCK))
    rng = np.random.Generator(np.random.SFC64(first))
    drawn = draw_conditions(prepared.grid, prepared.evidence.belief, n=draws, rng=rng)
    nothing_found = np.zeros(len(prepared.car.parts), dtype=bool)
    outlays = price_draws(prepared, drawn, nothing_found, seeds)
    return float(outlays.total.year.mean() + outlays.unlisted.mean())


def _without_limits(case: Case) -> Case:
    """The case without what does not move its outlay: budget and the like."""
    money: MoneySettings = replace(
        case.money, budget=None, confidence=0.8, risk_tolerance=None, monthly=None, season=None,
        premium=0.0, premium_tax=0.0, transport=0.0,
    )  # fmt: skip
    return replace(case, money=money)
