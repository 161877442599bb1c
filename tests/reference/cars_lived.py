"""Whole cars that lived by the model's own story, event by event, with papers and findings drawn from it.

Slow and plain. What the estimator is told about such a car (papers, findings) is returned as a case; what is true of
it (conditions, care, life) is returned beside it.
"""

from __future__ import annotations

import datetime
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from estimator.case import Case, parse_case
from estimator.casefile.words import day_after_years
from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import Component
from estimator.catalogue.reference import typical_cost
from estimator.wear.life import weibull_from_quantiles
from tests.cars import SALOON
from tests.reference.wear_events import SPENT, Part, Process, fit_part, fitted_at

CARE = ("attentive", "ordinary", "neglectful")
YEARLY_KM = 9_000.0
TRAITS = frozenset(
    parse_case(SALOON.format(built="2000-01-01", odometer=1, sale="private"), "traits").car.traits
)
VIEWED = datetime.date(2026, 5, 4)
OWNED = """
[[coverage]]
from = {start}
to = {end}
completeness = {claim}
own_work = true
"""


@dataclass(frozen=True)
class LivedCar:
    """case : what is known. care, completeness : levels; life : common log life; condition : by part id."""

    case: Case
    care: int
    completeness: int
    life: float
    dressed: bool
    condition: Mapping[str, int]


def live(
    catalogue: Catalogue,
    rng: random.Random,
    *,
    false_rate: Mapping[str, float],
    sale: str,
    papers_tell: bool = False,
    uneven: float = 0.0,
) -> LivedCar:
    """One car: draw what its parts share, live its life, keep its papers, look at it.

    papers_tell : whether cars with papers are the better kept ones, as `care.papers` says: cars are drawn again until
        one is kept with chance papers(care) ** share of its life that is covered.
    uneven : chance that a system of the car had an owner's eye of its own: care and completeness of the papers drawn
        anew for it, life as the car's.
    """
    settings = catalogue.settings.evidence
    while True:
        age = rng.uniform(18.0, 42.0)
        built = VIEWED - datetime.timedelta(days=round(age * 365.25))
        age = (VIEWED - built).days / 365.25
        care = rng.choices(range(3), settings.care.prior)[0]
        level = rng.choices(range(len(settings.completeness.levels)), settings.completeness.owner)[0]
        life = rng.gauss(0.0, settings.life.common_sd)
        dressed = rng.random() < settings.presentation[sale]
        claim = rng.choice([0.5, 0.8, 0.95])
        start, end = sorted((rng.uniform(0, age), rng.uniform(0, age)))
        days = [day_after_years(built, t) for t in (start, end)]
        start, end = ((d - built).days / 365.25 for d in days)
        if not papers_tell or rng.random() < settings.care.papers[care] ** (claim * (end - start) / age):
            break
    minded: dict[str, tuple[int, int]] = {}
    papers, condition = [], {}
    for part in catalogue.components.values():
        if uneven and part.system not in minded:
            own = rng.random() < uneven
            minded[part.system] = (_drawn(rng, settings.care.prior), _drawn(rng, settings.completeness.owner))
            minded[part.system] = minded[part.system] if own else (care, level)
        part_care, part_level = minded.get(part.system, (care, level))
        inside = min(claim * settings.completeness.levels[part_level], settings.completeness.cap)
        outside = settings.completeness.outside[part_care] * settings.completeness.outside_levels[part_level]
        cost = typical_cost(catalogue, part, build=catalogue.complete_traits(TRAITS), year=built.year)
        bill = cost / (cost + settings.completeness.small_job)
        inside, outside = inside * bill, outside * bill
        fitted, kept = _life_of(part, catalogue, rng, age=age, care=part_care, life=life, inside=inside,
                                outside=outside, period=(start, end))  # fmt: skip
        condition[part.id] = fitted_at(fitted, age).condition(age)
        kept += _false_papers(rng, false_rate.get(part.id, 0.0), age)
        papers += [(part.id, day_after_years(built, t)) for t in kept if 1 / 365.25 < t < age - 1 / 365.25]
    text = SALOON.format(built=built, odometer=round(YEARLY_KM * age), sale=sale)
    text += OWNED.format(start=days[0], end=days[1], claim=claim) if days[0] < days[1] else ""
    for cid, day in papers:
        text += f'[[work]]\ncomponent = "{cid}"\ndate = {day}\nevidence = "invoice"\n'
    text += look(catalogue, rng, condition, care=care, dressed=dressed)
    return LivedCar(parse_case(text, "a car that lived"), care, level, life, dressed, condition)


def _drawn(rng: random.Random, weights: Sequence[float]) -> int:
    return rng.choices(range(len(weights)), weights)[0]


def process_of(part: Component, catalogue: Catalogue, *, age: float, care: int, life: float) -> Process:
    """A part's process on a car used and kept the same way all its life."""
    settings = catalogue.settings
    rate = settings.exposure.rate(
        part.exposure, storage="unknown", climate="unknown", use="unknown", layup=part.layup
    )
    km = weibull_from_quantiles(part.life_km.b10, part.life_km.b50) if part.life_km else (1.0, np.inf)
    years = (
        weibull_from_quantiles(part.life_years.b10, part.life_years.b50) if part.life_years else (1.0, np.inf)
    )
    return Process(
        times=(0.0, age + 1),
        km=(0.0, YEARLY_KM * (age + 1)),
        years=(0.0, rate * (age + 1)),
        shape_km=float(km[0]),
        scale_km=float(km[1]),
        shape_years=float(years[0]),
        scale_years=float(years[1]),
        warning_share=part.warning_share,
        deferral_years=part.deferral_years * settings.evidence.care.deferral[care],
        precaution_rate=part.precaution_rate * settings.evidence.care.precaution[care],
        replacement_life=part.replacement_life * settings.evidence.care.repair[care],
        life_factor=settings.evidence.care.life[care] * float(np.exp(life)),
    )


def _life_of(
    part: Component,
    catalogue: Catalogue,
    rng: random.Random,
    *,
    age: float,
    care: int,
    life: float,
    inside: float,
    outside: float,
    period: tuple[float, float],
) -> tuple[list[Part], list[float]]:
    """Parts fitted in turn, and the times of those renewals that left an invoice."""
    own = rng.gauss(0.0, part.own_sd)
    process = process_of(part, catalogue, age=age, care=care, life=life + own)
    fitted, kept = [fit_part(process, 0.0, rng, share=1.0)], []
    while fitted[-1].removed <= age:
        when = fitted[-1].removed
        on_paper = rng.random() < (inside if period[0] < when < period[1] else outside)
        share = part.replacement_life if on_paper else process.replacement_life
        fitted.append(fit_part(process, when, rng, share=share))
        if on_paper:
            kept.append(when)
    return fitted, kept


def _false_papers(rng: random.Random, rate: float, age: float) -> list[float]:
    """Invoices for work that was not done to this car, at a constant yearly rate."""
    times, t = [], 0.0
    while rate > 0:
        t += rng.expovariate(rate)
        if t >= age:
            return times
        times.append(t)
    return times


def false_paper_rates(catalogue: Catalogue, rng: random.Random, *, cars: int = 150) -> dict[str, float]:
    """Yearly rate of false invoices per part that makes an invoice true with its stated credibility."""
    credibility = catalogue.settings.evidence.credibility["invoice"]
    count = dict.fromkeys(catalogue.components, 0)
    years = 0.0
    for _ in range(cars):
        car = live(catalogue, rng, false_rate={}, sale="trader")
        years += (VIEWED - car.case.car.built).days / 365.25
        for work in car.case.work:
            count[work.component or ""] += 1
    return {cid: (1 - credibility) / credibility * n / years for cid, n in count.items()}


def look(
    catalogue: Catalogue, rng: random.Random, condition: Mapping[str, int], *, care: int, dressed: bool
) -> str:
    """Findings of a handy viewer in person who makes every check, closely or in passing."""
    text = ""
    viewer = catalogue.settings.evidence.viewer
    attention = viewer.in_passing if rng.random() < viewer.passing.handy else 1.0
    for check in catalogue.checks.values():
        seen = attention if check.kind in ("look", "listen", "feel") else 1.0
        silent = 1 - seen * check.leak if check.links else 1.0
        share = seen * check.who.handy * (check.maskable if dressed else 1.0)
        for link in check.links:
            state = condition.get(link.component, 2)
            silent *= 1 - share * (link.spent if state == SPENT else link.worn if state == 1 else 0.0)
        chance = 1 - silent
        if check.care is not None:
            chance = check.care[care]
        if check.presentation is not None:
            chance = check.presentation[int(dressed)]
        result = "present" if rng.random() < chance else "absent"
        text += f'[[finding]]\ncheck = "{check.id}"\nresult = "{result}"\n'
    return text
