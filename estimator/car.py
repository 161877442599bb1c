"""One car resolved against the catalogue: which parts it has, and their lives, clocks and habits as arrays."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from estimator.case import Case, Work
from estimator.casefile.against import kit_depth
from estimator.casefile.words import years_between
from estimator.catalogue.expressions import Expression, both, parse_expression
from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import Availability, Component, Remedy, Variant
from estimator.wear.life import Lives

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Multipliers:
    """What a car's build and year do to a part's catalogue figures."""

    price: float
    hours: float
    life: float


@dataclass(frozen=True)
class Car:
    """A case and a catalogue, put together. Arrays are per part, in the order of `parts`."""

    case: Case
    catalogue: Catalogue
    traits: frozenset[str]
    open_groups: tuple[str, ...]
    parts: tuple[Component, ...]
    has: Floats  # chance that the car has the part at all: 1 unless a group of traits was left open

    @cached_property
    def index(self) -> dict[str, int]:
        """Position of each part by its id."""
        return {part.id: i for i, part in enumerate(self.parts)}

    @property
    def year_built(self) -> int:
        return self.case.car.built.year

    @cached_property
    def age_years(self) -> float:
        """Age today, years (never below a month: a car cannot be bought before it is built)."""
        return max(years_between(self.case.car.built, self.case.today), 1 / 12)

    @cached_property
    def annual_km(self) -> float:
        """Planned yearly distance: as stated, else what cars of this age usually do."""
        stated = self.case.annual_km
        if stated is not None:
            return stated
        return self.catalogue.settings.evidence.distance.yearly_km(self.age_years)

    @cached_property
    def multipliers(self) -> tuple[Multipliers, ...]:
        return tuple(self.multiply(part.variant) for part in self.parts)

    def multiply(self, variants: tuple[Variant, ...]) -> Multipliers:
        """Product of all variants that apply; where the build is not known, their mean."""
        price = hours = life = 1.0
        for variant in variants:
            if variant.built and not variant.built[0] <= self.year_built <= variant.built[1]:
                continue
            chance = self.chance(variant.when)
            price *= 1 + chance * (variant.price - 1)
            hours *= 1 + chance * (variant.hours - 1)
            life *= 1 + chance * (variant.life - 1)
        return Multipliers(price, hours, life)

    def chance(self, when: str) -> float:
        """Chance that a `when` of the catalogue holds for this car."""
        return self.catalogue.has_expression(
            parse_expression(when), frozenset(self.case.car.traits), year=self.year_built
        )

    def chance_given(self, wanted: Expression, given: Expression) -> float:
        """Chance that one expression of the catalogue holds among the cars like this for which another does; 0 where
        there are none.
        """
        named, year = frozenset(self.case.car.traits), self.year_built
        known = self.catalogue.has_expression(given, named, year=year)
        if known in (0.0, 1.0):
            return known and self.catalogue.has_expression(wanted, named, year=year)
        return self.catalogue.has_expression(both((wanted, given)), named, year=year) / known

    @cached_property
    def lives(self) -> Lives:
        """Lives from new at ordinary use and care, with the build's own multipliers in."""
        nan = float("nan")
        factor = np.array([m.life for m in self.multipliers])
        clock = {
            name: np.array([getattr(getattr(p, life), q) if getattr(p, life) else nan for p in self.parts])
            for life, name, q in (
                ("life_km", "b10_km", "b10"),
                ("life_km", "b50_km", "b50"),
                ("life_years", "b10_years", "b10"),
                ("life_years", "b50_years", "b50"),
            )
        }
        return Lives.from_quantiles(
            **{name: values * factor for name, values in clock.items()},
            warning_share=np.array([p.warning_share for p in self.parts]),
        )

    @cached_property
    def own_sd(self) -> Floats:
        """Sd of each part's own share of log life."""
        return np.array([p.own_sd for p in self.parts])

    @cached_property
    def rust(self) -> NDArray[np.bool_]:
        """Parts that share the body's rust factor."""
        return np.array([p.rust for p in self.parts])

    @cached_property
    def typical_years(self) -> Floats:
        """Median life at planned use, years, from new: the shorter of the two clocks."""
        km = np.array([p.life_km.b50 if p.life_km else np.inf for p in self.parts])
        years = np.array([p.life_years.b50 if p.life_years else np.inf for p in self.parts])
        factor = np.array([m.life for m in self.multipliers])
        return np.minimum(km / max(self.annual_km, 1.0), years) * factor

    def worked_on(self, work: Work) -> list[int]:
        """Positions of the car's parts that a work entry speaks for: its component, or its kit's at that depth."""
        ids: tuple[str, ...] = () if work.component is None else (work.component,)
        kit = self.catalogue.kits.get(work.kit) if work.kit is not None else None
        if kit is not None:
            ids = kit.depths.get(kit_depth(work, dict(kit.depths)) or "", ())
        return [self.index[c] for c in ids if c in self.index]

    @property
    def comfort(self) -> NDArray[np.bool_]:
        """Parts renewed for comfort and looks only, priced apart."""
        return np.array([p.need == "comfort" for p in self.parts])


def resolve(case: Case, catalogue: Catalogue) -> Car:
    """Put a case and the catalogue together.

    Raises
    ------
    ValueError
        If the car would have no parts at all.
    """
    named = frozenset(case.car.traits)
    year = case.car.built.year
    shares = {cid: catalogue.has(cid, named, year) for cid in catalogue.components}
    for cid, doubt in _papers_on(case, catalogue).items():
        if 0 < shares.get(cid, 0) < 1:
            shares[cid] = shares[cid] / (shares[cid] + (1 - shares[cid]) * doubt)
    kept = [cid for cid, share in shares.items() if share > 0]
    if not kept:
        raise ValueError("No component of the catalogue fits this car's traits.")
    car = Car(
        case=case,
        catalogue=catalogue,
        traits=catalogue.complete_traits(named),
        open_groups=catalogue.open_groups(named),
        parts=tuple(catalogue.components[cid] for cid in kept),
        has=np.array([shares[cid] for cid in kept]),
    )
    return dataclasses.replace(car, parts=tuple(_with_remedies_of(car, part) for part in car.parts))


def _with_remedies_of(car: Car, part: Component) -> Component:
    """The part with the remedies there are for this build and year; where the build is open, by their chance.

    What the buyer was quoted a price for exists, whatever the catalogue says.
    """
    if all(r.when == "all" and not r.built for r in part.remedy):
        return part
    quoted = {q.remedy for q in car.case.quote if q.component == part.id}
    kept: list[Remedy] = []
    for remedy in part.remedy:
        in_years = not remedy.built or remedy.built[0] <= car.year_built <= remedy.built[1]
        chance = car.chance_given(remedy.expression, part.expression) if in_years else 0.0
        if chance >= 1 or remedy.kind in quoted:
            kept.append(remedy)
        elif chance > 0:
            odds = {level: share * chance for level, share in remedy.availability}
            kept.append(remedy.model_copy(update={"availability": Availability(**odds)}))
    return part.model_copy(update={"remedy": tuple(kept)})


def _papers_on(case: Case, catalogue: Catalogue) -> dict[str, float]:
    """Chance that every paper which names a part is wrong about this car: who has a bill for it has the part."""
    credibility = catalogue.settings.evidence.credibility
    doubt: dict[str, float] = {}
    for work in case.work:
        if work.component is not None:
            doubt[work.component] = doubt.get(work.component, 1.0) * (1 - credibility[work.evidence])
    for cid in (c for test in case.test for c in test.components):
        doubt[cid] = doubt.get(cid, 1.0) * (1 - credibility["invoice"])
    return doubt
