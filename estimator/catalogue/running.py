"""What keeping a car costs beside repairs, and what waiting costs: data/running.toml, a user's own laid over it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, model_validator

from estimator.catalogue.expressions import parse_expression
from estimator.catalogue.load import Catalogue, data_folder
from estimator.catalogue.records import Range, Record, Share, When
from estimator.files import Document, InputError, check_model, read_toml

FILE = "running.toml"
Growth = Annotated[float, Field(gt=-0.5, lt=1.0)]


def _range_ordered(value: tuple[float, float, float], name: str) -> None:
    if not value[0] <= value[1] <= value[2]:
        raise ValueError(f"{name} must be low <= likely <= high, found {list(value)}")


class Service(Record):
    """The yearly service: price in a workshop, how far it reaches, and what is left for an owner who does it."""

    price: Range
    every_km: Annotated[float, Field(gt=0)]
    own_share: Share


class FuelUse(Record):
    """Litres per 100 km of a plain car, or a factor on it for cars of a certain build."""

    when: When = "all"
    litres: Range | None = None
    times: Annotated[float, Field(gt=0)] = 1.0


class Fuel(Record):
    price: Range
    growth: Growth
    use: tuple[FuelUse, ...]

    @model_validator(mode="after")
    def _one_base(self) -> Fuel:
        if sum(u.litres is not None for u in self.use) != 1:
            raise ValueError("exactly one entry of use must give litres; the others give times")
        return self


class Yearly(Record):
    price: Range
    growth: Growth = 0.0


class RoadTax(Yearly):
    exempt_from_age: Annotated[float, Field(ge=0)] | None = None


class Storage(Record):
    outdoors: Range
    carport: Range
    damp_garage: Annotated[Range, Field(alias="damp-garage")]
    dry_garage: Annotated[Range, Field(alias="dry-garage")]
    heated: Range
    unknown: Range
    growth: Growth = 0.0

    def of(self, storage: str) -> tuple[float, float, float]:
        """A year's price of keeping a car in this way."""
        found: tuple[float, float, float] = getattr(self, storage.replace("-", "_"))
        return found


class Value(Record):
    """Change in value a year beyond inflation; cost of selling as a share of the price."""

    change: tuple[float, float, float]
    selling: Range

    @model_validator(mode="after")
    def _sense(self) -> Value:
        _range_ordered(self.change, "change")
        if not (self.change[0] > -1 and self.change[2] < 1 and self.selling[2] < 1):
            raise ValueError("change must lie inside -1 to 1 a year, selling below 1")
        return self


class MoneyOverTime(Record):
    """Yearly rates: inflation, and the discount rate in real terms."""

    inflation: Growth
    discount: Growth


class Waiting(Record):
    off_road_month: Range
    out_of_season: Share
    put_off: Annotated[float, Field(ge=0)]
    put_off_urgent: Annotated[float, Field(ge=0)]
    breakdown: Range
    booking_weeks: Range
    bookings_per_month: Annotated[int, Field(ge=1, le=100)]


class Running(Record):
    """All of it; money in GBP of the price year, tax included."""

    source: str
    service: Service
    fuel: Fuel
    insurance: Yearly
    tax: RoadTax
    inspection: Yearly
    storage: Storage
    value: Value
    money: MoneyOverTime
    waiting: Waiting

    @model_validator(mode="after")
    def _ordered(self) -> Running:
        for name in ("service", "fuel", "insurance", "tax", "inspection"):
            _range_ordered(getattr(self, name).price, f"{name}.price")
        for name in ("off_road_month", "breakdown", "booking_weeks"):
            _range_ordered(getattr(self.waiting, name), f"waiting.{name}")
        return self

    def litres(
        self, catalogue: Catalogue, traits: frozenset[str], *, year: float
    ) -> tuple[float, float, float]:
        """Litres per 100 km of a car of this build; open questions of build mixed by their shares."""
        base, factor = (0.0, 0.0, 0.0), 1.0
        for use in self.fuel.use:
            chance = catalogue.has_expression(parse_expression(use.when), traits, year=year)
            factor *= 1 + chance * (use.times - 1)
            base = use.litres or base
        return (base[0] * factor, base[1] * factor, base[2] * factor)


def running_settings(catalogue: Catalogue) -> Running:
    """The running costs that go with a catalogue: ours, with single keys of its other folders laid over.

    Raises
    ------
    InputError
        Naming file, line and key of what is wrong.
    """
    folders = [Path(f) for f in catalogue.folders if (Path(f) / FILE).is_file()]
    if data_folder() not in folders:
        folders.insert(0, data_folder())
    document = read_toml(folders[0] / FILE)
    for folder in folders[1:]:
        over = read_toml(folder / FILE)
        document = Document(over.path, _laid_over(document.data, over.data), over.lines, over.text)
    made, faults = check_model(document, Running)
    if made is None or faults:
        raise InputError(faults)
    return made


def _laid_over(base: Any, over: Any) -> Any:
    if isinstance(base, dict) and isinstance(over, dict):
        return {**base, **{k: _laid_over(base.get(k), v) for k, v in over.items()}}
    return over
