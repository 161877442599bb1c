"""The catalogue's figures that belong to no single part: money, belief, exposure. Read from data/*.toml."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import Field, model_validator

from estimator.catalogue.records import Range, Record, Share

Triple = tuple[float, float, float]
Inside = Annotated[float, Field(gt=0, lt=1)]
CARE = ("attentive", "ordinary", "neglectful")
EXPOSURES = ("rubber", "corrosion", "ultraviolet", "electrical")


class Currency(Record):
    """What a GBP of parts costs in this currency, labour per hour before tax, and the usual tax."""

    parts: Annotated[float, Field(gt=0)]
    labour_rate: Range
    tax: Share
    country: str = ""


class ScarcitySpread(Record):
    levels: tuple[float, ...]
    weights: tuple[Share, ...]


class ScarcityPrice(Record):
    common: Annotated[float, Field(gt=0)]
    scarce: Annotated[float, Field(gt=0)]
    rare: Annotated[float, Field(gt=0)]


class PriceIndex(Record):
    years: tuple[int, ...]
    level: tuple[Annotated[float, Field(gt=0)], ...]

    def to_price_year(self, amount: float, *, year: float) -> float:
        """An amount paid in `year`, in money of the price year (level 1)."""
        return amount / float(np.interp(year, self.years, self.level))


class Prices(Record):
    """Money: see data/prices.toml."""

    price_year: int
    base: str
    market_sd: Annotated[float, Field(ge=0, le=1)]
    unlisted_share: Share
    minimum_labour_h: Annotated[float, Field(ge=0)]
    handy_factor: Annotated[float, Field(ge=1)]
    diagnosis_h: Range
    surcharge_chance: Share
    carriage: Range
    source: str
    scarcity_price: ScarcityPrice
    scarcity_spread: ScarcitySpread
    currency: dict[str, Currency]
    index: PriceIndex


class Seen(Record):
    """P(recorded as seen sound / worn / spent | spent, worn, sound)."""

    sound: tuple[Share, Share, Share]
    worn: tuple[Share, Share, Share]
    spent: tuple[Share, Share, Share]


class AnnualTest(Record):
    pass_: Annotated[tuple[Share, Share, Share], Field(alias="pass")]
    advice: tuple[Share, Share, Share]
    refused: tuple[Share, Share, Share]


class Completeness(Record):
    levels: tuple[Share, ...]
    owner: tuple[Share, ...]
    trader: tuple[Share, ...]
    outside_levels: tuple[Share, ...]
    cap: Share
    own_work: Share
    outside: Triple
    small_job: Annotated[float, Field(ge=0)]


class Care(Record):
    prior: Triple
    papers: tuple[Inside, Inside, Inside]
    stated_weight: Share
    deferral: Triple
    life: Triple
    repair: Triple
    precaution: Triple
    unlisted: Triple


class LifeSettings(Record):
    common_sd: Annotated[float, Field(gt=0)]
    history_weight: Annotated[float, Field(ge=0, le=1)]
    pass_points: Annotated[int, Field(ge=5)]
    grid_points: Annotated[int, Field(ge=9)]


class Rust(Record):
    odds: tuple[float, ...]
    weights: tuple[Share, ...]


class Passing(Record):
    newcomer: Share
    handy: Share
    mechanic: Share


class ViewerShares(Record):
    newcomer: Share
    handy: Share
    mechanic: Share
    reported: Share
    badly: Share
    in_passing: Annotated[float, Field(gt=0, le=1)]
    passing: Passing


class Far(Record):
    """What is left of a measurement's figures when it lies far past its limit."""

    spent: Share
    worn: Share
    leak: Share


class ForSale(Record):
    sale: dict[str, float]
    reason: dict[str, float]


class Refused(Record):
    presentation: tuple[Share, Share]
    care: Triple


class OdometerSettings(Record):
    tampered_home: Share
    tampered_import: Share
    log_sd: Annotated[float, Field(gt=0)]
    steadiness: Inside
    steady_years: Annotated[float, Field(gt=0)]
    floor: Share
    most: int
    source: str


class DistancePrior(Record):
    age: tuple[float, ...]
    km: tuple[float, ...]
    source: str

    def yearly_km(self, age_years: float) -> float:
        """Usual distance of a car of this age in that year, km."""
        return float(np.interp(age_years, self.age, self.km))


class Evidence(Record):
    """Belief: see data/evidence.toml."""

    source: str
    credibility: dict[str, Share]
    fitted: dict[str, float]
    seen: dict[str, Seen]
    annual_test: AnnualTest
    completeness: Completeness
    care: Care
    life: LifeSettings
    rust: Rust
    presentation: dict[str, Share]
    viewer: ViewerShares
    far: Far
    for_sale: ForSale
    refused: Refused
    odometer: OdometerSettings
    distance: DistancePrior


class ClassRates(Record):
    rubber: Annotated[float, Field(gt=0)]
    corrosion: Annotated[float, Field(gt=0)]
    ultraviolet: Annotated[float, Field(gt=0)]
    electrical: Annotated[float, Field(gt=0)]


class ExposureRates(Record):
    """Speed of the years clock by class of part: see data/exposure.toml."""

    source: str
    storage: dict[str, ClassRates]
    climate: dict[str, ClassRates]
    use: dict[str, ClassRates]
    severity: dict[str, float]
    driven: dict[str, float]
    upkeep: dict[str, Share]

    @model_validator(mode="after")
    def _uses(self) -> ExposureRates:
        if "laid-up" not in self.severity:
            raise ValueError("severity needs laid-up")
        return self

    def rate(self, exposure: str, *, storage: str, climate: str, use: str, layup: float) -> float:
        """Years of wear per calendar year for a part of this class; `layup` replaces use when laid up."""
        kept = (
            1.0
            if exposure == "none"
            else getattr(self.storage[storage], exposure) * getattr(self.climate[climate], exposure)
        )
        if use == "laid-up":
            return kept * layup
        return kept if exposure == "none" else kept * getattr(self.use[use], exposure)


class Settings(Record):
    """Everything above."""

    prices: Prices
    evidence: Evidence
    exposure: ExposureRates
