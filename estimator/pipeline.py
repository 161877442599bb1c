"""The stages between a case and its draws: resolve, wear, evidence. Each is made once and kept.

The wear pass depends on the papers only, so it is kept by them: a changed finding, quote or price does not run
it again.
"""

from __future__ import annotations

import dataclasses
import threading
from collections import OrderedDict
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from estimator.car import Car, resolve
from estimator.case import Bought, Case, MoneySettings
from estimator.casefile.words import years_between
from estimator.catalogue.load import Catalogue
from estimator.evidence.findings import Evidence, read_findings
from estimator.evidence.grid import GridPosterior, Shared, due_at, posterior_grid, there_if_sound
from estimator.evidence.life_grid import LifeTable, life_table
from estimator.evidence.noisy_or import ImpossibleEvidence
from estimator.history import History, history
from estimator.money.book import PriceBook, price_book
from estimator.odometer import usual_km
from estimator.problems import InputError, Problem
from estimator.wear.life import mean_life_years
from estimator.wear.renewal import forward_pass, long_run_spent_share

Floats = NDArray[np.float64]
ORDINARY = 1  # of attentive, ordinary, neglectful
SALE_FADES_YEARS = 1.0  # after the purchase (elicited)


@dataclass(frozen=True)
class Wear:
    """What age, distance and papers say before anybody looks at the car.

    base, by_age, by_history (C, 3) : conditions in the long run at ordinary use and care; from this car's distance and
    age alone; with its papers, at ordinary care.
    """

    history: History
    table: LifeTable
    fitted_age: Floats
    age_edges: Floats
    base: Floats
    by_age: Floats
    by_history: Floats


@dataclass(frozen=True)
class Prepared:
    """A case ready to be drawn from."""

    car: Car
    wear: Wear
    evidence: Evidence
    shared: Shared
    book: PriceBook
    grid: GridPosterior

    @cached_property
    def due(self) -> NDArray[np.float32]:
        """(G, C, 2, M) chance of need within months 1..M given worn, given sound; parts not fitted never need."""
        due = due_at(self.wear.table, self.grid)
        due[:, :, 1] *= self.there_if_sound[..., None]
        return due

    @cached_property
    def there_if_sound(self) -> Floats:
        """(G, C) chance that a part which counts as sound is not merely missing."""
        return there_if_sound(self.wear.table, self.grid, self.shared.has)


_KEPT: OrderedDict[tuple[Case, int], tuple[Catalogue, Wear]] = OrderedDict()
_MOST_KEPT = 6
_LOCK = threading.Lock()  # the dashboard's sessions are threads of one process


def papers_only(case: Case) -> Case:
    """The case without what the wear pass does not depend on, as of the same day."""
    car = dataclasses.replace(
        case.car,
        name="",
        note="",
        viewer="handy",
        reason="unknown",
        runs=True,
        road_legal=True,
        region="",
        parts="common",
    )
    money = MoneySettings(currency="XXX", annual_distance=case.money.annual_distance)
    return Case(
        car=car,
        money=money,
        # what was found or quoted may be the latest day on record, and so decide the day
        bought=None if case.bought is None else Bought(date=case.today, as_of=case.today),
        reading=_bare(case.reading),
        odometer_replaced=_bare(case.odometer_replaced),
        lived=_bare(case.lived),
        test=_bare(case.test),
        coverage=_bare(case.coverage),
        work=tuple(dataclasses.replace(w, price=None, by="unknown") for w in _bare(case.work)),
    )


def _bare(entries: tuple[Any, ...]) -> tuple[Any, ...]:
    """Entries without their notes."""
    return tuple(dataclasses.replace(entry, note="") for entry in entries)


def wear_of(car: Car) -> Wear:
    """The wear stage of a car, kept for the papers it was made from.

    A quote adds a way to put a part right to those of this build; how long parts fitted long ago lived is not learnt
    from it, so the pass is made without quotes.
    """
    key = (papers_only(car.case), id(car.catalogue))  # kept with its catalogue, so no other can take its id
    with _LOCK:
        if key in _KEPT:
            _KEPT.move_to_end(key)
            return _KEPT[key][1]
    made = _wear(
        car if not car.case.quote else resolve(dataclasses.replace(car.case, quote=()), car.catalogue)
    )
    with _LOCK:
        _KEPT[key] = (car.catalogue, made)
        while len(_KEPT) > _MOST_KEPT:
            _KEPT.popitem(last=False)
    return made


def _wear(car: Car) -> Wear:
    told = history(car)
    result = forward_pass(told.pass_input)
    table = life_table(result, points=told.life_points, total_sd=told.total_sd, own_sd=car.own_sd)
    silent = history(car, plain=True)
    alone = forward_pass(silent.pass_input)
    plain = life_table(alone, points=silent.life_points, total_sd=silent.total_sd, own_sd=car.own_sd)
    odometer = np.array([h.weight for h in told.odometer])
    return Wear(
        history=told,
        table=table,
        fitted_age=result.fitted_age,
        age_edges=result.age_edges,
        base=_long_run(car),
        by_age=_averaged(plain, odometer, np.ones(1), q=0),
        by_history=_averaged(table, odometer, told.completeness_weight, q=ORDINARY),
    )


def _long_run(car: Car) -> Floats:
    """(C, 3) long-run share of spent at ordinary use, exposure and care, of parts such as are fitted later on, over
    the spread of lives; worn in proportion to the warning share.
    """
    settings, exposure = car.catalogue.settings.evidence, car.catalogue.settings.exposure
    care = settings.care
    km_per_year = usual_km(car.age_years, prior=settings.distance) / car.age_years
    pace = [
        exposure.rate(p.exposure, storage="unknown", climate="unknown", use="unknown", layup=p.layup)
        for p in car.parts
    ]
    rate = np.array([p.precaution_rate for p in car.parts]) * care.precaution[ORDINARY]
    deferral = np.array([p.deferral_years for p in car.parts]) * care.deferral[ORDINARY]
    fitted = np.array([p.replacement_life for p in car.parts]) * care.repair[ORDINARY] * care.life[ORDINARY]
    points = np.linspace(-3.0, 3.0, settings.life.pass_points)
    weights = np.exp(-0.5 * points**2)
    spent = np.zeros(len(car.parts))
    for point, weight in zip(points, weights / weights.sum(), strict=True):
        factor = fitted * np.exp(point * np.hypot(settings.life.common_sd, car.own_sd))
        lives = dataclasses.replace(
            car.lives, scale_km=car.lives.scale_km * factor, scale_years=car.lives.scale_years * factor
        )
        mean = mean_life_years(lives, km_per_year=km_per_year, years_per_year=pace, precaution_rate=rate)
        spent += weight * long_run_spent_share(mean, deferral, precaution_rate=rate)
    worn = (1 - spent) * np.array([p.warning_share for p in car.parts])
    return np.stack([spent, worn, 1 - spent - worn], axis=-1)


def _averaged(table: LifeTable, odometer: Floats, completeness: Floats, *, q: int) -> Floats:
    """(C, 3) condition given history at one level of care, each part by itself."""
    normal = np.exp(-0.5 * table.fine**2)
    level = table.log_likelihood[:, :, :, q]
    top = level.reshape(level.shape[0], -1).max(axis=1)[:, None, None, None]
    weight = np.exp(level - top) * normal * odometer[:, None, None] * completeness[:, None]
    joint = np.einsum("chwj,chwjk->ck", weight, table.condition[:, :, :, q], optimize=True)
    return np.asarray(joint / joint.sum(axis=-1, keepdims=True))


def likely_value(case: Case) -> float | None:
    """What the for-sale effect takes the car to be worth: likely value of a good one, else the asking price."""
    if case.money.sound_example is not None:
        return case.money.sound_example[1]
    return case.money.asking


def sale_pull(car: Car, book: PriceBook) -> Floats:
    """(C,) how much likelier a car is for sale for each part that needs doing, against one that needs nothing:
    k cost / value.

    What was the reason for selling shows itself to the new owner: the effect fades with a year's time constant from
    the day of purchase (elicited).
    """
    settings = car.catalogue.settings.evidence.for_sale
    k = settings.sale[car.case.car.sale]
    told = settings.reason.get(car.case.car.reason, -1.0)
    if told >= 0 and car.case.car.sale != "owned":
        # an innocent reason can only allay what the kind of sale suggests, a telling one only add to it
        k = max(k, told) if told > settings.sale["private"] else min(k, told)
    value = likely_value(car.case)
    if not value or k <= 0:
        return np.zeros(len(car.parts))
    bought = car.case.bought
    k *= (
        1.0
        if bought is None
        else np.exp(-max(years_between(bought.date, car.case.today), 0.0) / SALE_FADES_YEARS)
    )
    return np.asarray(k * book.typical / value)


def shared_factors(car: Car, wear: Wear, book: PriceBook, evidence: Evidence) -> Shared:
    """Prior weights of what all parts of this car share."""
    settings = car.catalogue.settings.evidence
    dressed = settings.presentation[car.case.car.sale]
    tampered = np.array([h.tampered for h in wear.history.odometer])
    return Shared(
        odometer=np.array([h.weight for h in wear.history.odometer]),
        completeness=wear.history.completeness_weight,
        care=wear.history.care_weight,
        rust=np.array(settings.rust.weights),
        presentation=np.array([1 - dressed, dressed]),
        closely=evidence.closely,
        odometer_log=evidence.odometer[tampered.astype(int)],
        care_log=evidence.care,
        presentation_log=evidence.presentation,
        rust_odds=np.array(settings.rust.odds),
        rusts=car.rust,
        sale_pull=sale_pull(car, book),
        has=car.has,
        common_sd=settings.life.common_sd,
        history_weight=settings.life.history_weight,
        grid_points=settings.life.grid_points,
    )


def prepare(case: Case, catalogue: Catalogue) -> Prepared:
    """All stages up to the posterior.

    Raises
    ------
    InputError
        If the findings cannot all be true together (naming one), or the currency is unknown.
    """
    car = resolve(case, catalogue)
    book = price_book(car)
    evidence = read_findings(car)
    wear = wear_of(car)
    shared = shared_factors(car, wear, book, evidence)
    try:
        grid = posterior_grid(wear.table, shared, evidence)
    except ImpossibleEvidence as error:
        check = catalogue.checks[evidence.checks[error.finding]]
        raise InputError(
            Problem(
                case.name,
                None,
                f"finding {check.id}",
                f"{check.name!r} cannot come out like this on this car together with the other findings: its "
                "probability is zero. Look at it again, or give it sure = 0.9.",
            )
        ) from error
    return Prepared(car=car, wear=wear, evidence=evidence, shared=shared, book=book, grid=grid)


__all__ = ["Prepared", "Wear", "prepare", "wear_of"]
