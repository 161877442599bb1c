"""What a buyer writes down about one car: frozen, hashable records, one per table of the case file.

Each record is checked when it is made (pydantic) and says what each key means, its unit and its
default. Distances are in the unit the person uses (`car.unit` unless the entry names its own);
`estimator.case.Case` gives kilometres and years. Dates may be a whole day or a bare year, which is
read as its first of July (for `built`: its first of January).
"""

from __future__ import annotations

import dataclasses
import datetime
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field
from pydantic.dataclasses import dataclass

from estimator.casefile import words as w
from estimator.files import Flag, Number, Text, Whole

_STRICT = ConfigDict(extra="forbid", populate_by_name=True)


def _year_start(value: Any) -> Any:
    return datetime.date(value, 1, 1) if type(value) is int and 1000 <= value <= 9999 else value


def _mid_year(value: Any) -> Any:
    return datetime.date(value, 7, 1) if type(value) is int and 1000 <= value <= 9999 else value


def _day_only(value: Any) -> Any:
    if isinstance(value, datetime.datetime) or not isinstance(value, datetime.date):
        raise ValueError("must be a date written 1998-06-11 (or a bare year, 1998), without quotes or a time")
    return value


def _triple(value: Any) -> Any:
    return (value, value, value) if isinstance(value, int | float) and not isinstance(value, bool) else value


def _format_one(value: Any) -> Any:
    if type(value) is not int or value != 1:
        raise ValueError("must be 1: this program reads case files of format 1")
    return value


def _currency(value: str) -> str:
    if not (len(value) == 3 and value.isascii() and value.isalpha() and value.isupper()):
        raise ValueError("must be a currency as three capital letters (ISO 4217), such as GBP or EUR")
    return value


Built = Annotated[datetime.date, BeforeValidator(_day_only), BeforeValidator(_year_start)]
Day = Annotated[datetime.date, BeforeValidator(_day_only), BeforeValidator(_mid_year)]
Share = Annotated[Number, Field(ge=0, le=1)]
Inside = Annotated[Number, Field(gt=0, lt=1)]
Money = Annotated[Number, Field(ge=0, le=1e9)]
Distance = Annotated[Number, Field(ge=0, le=2_000_000)]
Range = Annotated[tuple[Money, Money, Money], BeforeValidator(_triple)]
Id = Annotated[Text, Field(min_length=1, max_length=80)]
Note = Annotated[Text, Field(max_length=5000)]
Month = Annotated[Whole, Field(ge=1, le=12)]


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Car:
    """[car]: the car and how it was met."""

    viewed: Day
    built: Built
    odometer: Distance
    unit: w.Unit
    name: Note = ""
    viewer: w.Viewer = "handy"
    sale: w.Sale = "private"
    reason: w.Reason = "unknown"
    runs: Flag = True
    road_legal: Flag = True
    odometer_digits: Annotated[Whole, Field(ge=4, le=7)] = 5
    traits: tuple[Id, ...] = ()
    storage: w.Storage = "unknown"
    climate: w.Climate = "unknown"
    use: w.Use = "unknown"
    care: w.Care = "unknown"
    parts: w.Parts = "common"
    country: Note = ""
    region: Note = ""
    market: Note = ""
    note: Note = ""


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class MoneySettings:
    """[money]: prices, limits and plans. Sums in `currency`, tax included unless said otherwise."""

    currency: Annotated[Text, AfterValidator(_currency)]
    asking: Money | None = None
    seller: Range | None = None
    sound_example: Range | None = None
    value_means: w.ValueMeans = "as-sold"
    budget: Money | None = None
    confidence: Inside = 0.8
    risk_tolerance: Annotated[Number, Field(gt=0, le=1e9)] | None = None
    scrap: Money | None = None
    labour_rate: Range | None = None
    tax: Share | None = None
    carriage: Money | None = None
    own_hours_per_month: Annotated[Number, Field(ge=0, le=744)] = 0.0
    own_skill: Annotated[Whole, Field(ge=0, le=3)] = 0
    annual_distance: Annotated[Number, Field(gt=0, le=200_000)] | None = None
    horizon: Annotated[Number, Field(ge=0, le=50)] = 3.0
    max_wait: Annotated[Number, Field(ge=0, le=120)] = 6.0
    monthly: Money | None = None
    season: tuple[Month, Month] | None = None
    premium: Share = 0.0
    premium_tax: Share = 0.0
    transport: Money = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Reading:
    """[[reading]]: what the odometer showed on a day."""

    date: Day
    odometer: Distance
    unit: w.Unit | None = None
    note: Note = ""


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class OdometerReplaced:
    """[[odometer_replaced]]: another odometer was fitted; `old` it last showed, `new` it started at."""

    date: Day
    old: Distance | None = None
    new: Distance = 0.0
    unit: w.Unit | None = None
    note: Note = ""


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Lived:
    """[[lived]]: a period and how the car was kept and used in it (`from`, `to` in the file).

    storage and climate "unknown": as [car] says; use "unknown": as ordinary cars are used.
    """

    start: Day = Field(validation_alias="from")
    end: Day = Field(validation_alias="to")
    storage: w.Storage = "unknown"
    climate: w.Climate = "unknown"
    use: w.Use = "unknown"
    note: Note = ""


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Test:
    """[[test]]: an official roadworthiness test; `components` are those advised on or refused for."""

    __test__ = False  # keeps pytest from collecting it

    date: Day
    result: w.TestResult
    odometer: Distance | None = None
    unit: w.Unit | None = None
    components: tuple[Id, ...] = ()
    note: Note = ""


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Coverage:
    """[[coverage]]: the papers claim to be this complete between two days (`from`, `to` in the file).

    own_work: the claim holds for the owner's own work too, for which there are no invoices.
    """

    start: Day = Field(validation_alias="from")
    end: Day = Field(validation_alias="to")
    completeness: Share = 0.9
    own_work: Flag = False
    note: Note = ""


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Work:
    """[[work]]: one dated piece of work, or a look at a part, on one component or a kit of them.

    moulded: for old stock, the day (year) its rubber was moulded. price: what it cost then, for the
    record only.
    """

    date: Day
    component: Id | None = None
    kit: Id | None = None
    depth: Id | None = None
    what: w.What = "renewed"
    fitted: w.Fitted = "unknown"
    moulded: Day | None = None
    by: w.By = "unknown"
    evidence: w.Evidence = "note"
    side: w.Side = "both"
    odometer: Distance | None = None
    unit: w.Unit | None = None
    price: Money | None = None
    note: Note = ""


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Finding:
    """[[finding]]: the result of a check, or (`value`) what was read, in the check's unit.

    sure: how sure the viewer is that what is written is so (1 = certain). badly: made in the dark, in
    the wet, with the engine already warm. by and date: car.viewer and car.viewed unless given.
    """

    check: Id
    result: w.Result | None = None
    value: Number | None = None
    sure: Share = 1.0
    how: w.How = "in-person"
    by: w.Viewer | None = None
    date: Day | None = None
    badly: Flag = False
    side: w.Side = "both"
    note: Note = ""


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Quote:
    """[[quote]]: what will be paid for a remedy; replaces the catalogue's price of that remedy.

    covers: "parts" replaces price, specialist work and surcharge; "job" also the labour and access.
    """

    component: Id
    remedy: w.RemedyKind
    price: Money
    before_tax: Flag = False
    covers: w.Covers = "parts"
    date: Day | None = None
    note: Note = ""


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Spare:
    """[[spare]]: a part that comes with the car."""

    component: Id
    state: w.SpareState = "new"
    moulded: Day | None = None
    note: Note = ""


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Warranty:
    """[warranty]: what a trader promises in writing: this share of hidden work, for so many months."""

    share: Share = 1.0
    months: Annotated[Number, Field(ge=0, le=120)] = 3.0
    limit: Money | None = None
    excess: Money = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Bought:
    """[bought]: the purchase. as_of: the day everything is computed as of (see Case.today)."""

    date: Day
    price: Money | None = None
    as_of: Day | None = None


@dataclass(frozen=True, slots=True, kw_only=True, config=_STRICT)
class CaseForm:
    """The whole file as written, before it becomes a Case."""

    format: Annotated[Whole, BeforeValidator(_format_one)]
    car: Car
    money: MoneySettings
    bought: Bought | None = None
    warranty: Warranty | None = None
    reading: tuple[Reading, ...] = ()
    odometer_replaced: tuple[OdometerReplaced, ...] = ()
    lived: tuple[Lived, ...] = ()
    test: tuple[Test, ...] = ()
    coverage: tuple[Coverage, ...] = ()
    work: tuple[Work, ...] = ()
    finding: tuple[Finding, ...] = ()
    quote: tuple[Quote, ...] = ()
    spare: tuple[Spare, ...] = ()


TABLES: dict[str, type] = {"car": Car, "money": MoneySettings, "bought": Bought, "warranty": Warranty}
LISTS: dict[str, type] = {
    "reading": Reading, "odometer_replaced": OdometerReplaced, "lived": Lived, "test": Test,
    "coverage": Coverage, "work": Work, "finding": Finding, "quote": Quote, "spare": Spare,
}  # fmt: skip
FILE_KEYS = {"start": "from", "end": "to"}  # Python's names for keys that are Python words


def file_data(record: Any, *, always: frozenset[str] = frozenset()) -> dict[str, Any]:
    """A record as the keys of its table: those in `always`, and those that differ from the default."""
    data: dict[str, Any] = {}
    for field in dataclasses.fields(record):
        value = getattr(record, field.name)
        name = FILE_KEYS.get(field.name, field.name)
        if value is None or (name not in always and _is_default(record, field.name, value)):
            continue
        data[name] = list(value) if isinstance(value, tuple) else value
    return data


def _is_default(record: Any, name: str, value: Any) -> bool:
    info = type(record).__pydantic_fields__[name]
    return not info.is_required() and info.default == value


def defaults(record_type: Any) -> dict[str, Any]:
    """Default of every key of a table that has one."""
    return {
        FILE_KEYS.get(name, name): info.default
        for name, info in record_type.__pydantic_fields__.items()
        if not info.is_required()
    }
