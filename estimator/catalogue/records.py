"""What the catalogue consists of: frozen records, one class per kind of entry.

Every record is read from TOML and cannot exist with an impossible value. Distances are kilometres,
times years, labour trade hours in a workshop with a lift, money the catalogue's base currency (GBP)
at the price year of data/prices.toml before tax. A range is (low, likely, high).
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from estimator.catalogue.expressions import Expression, parse_expression

SYSTEMS = (
    "engine", "cooling", "fuel", "ignition-and-charging", "exhaust", "clutch-and-gearbox", "driveline",
    "axle-and-hubs", "suspension", "steering", "brakes", "wheels-and-tyres", "structure-and-body",
    "glass-and-seals", "soft-top-and-trim", "instruments-and-electrics", "heating-and-ventilation",
)  # fmt: skip
STATIONS = (
    "before-you-go", "papers-and-questions", "walk-round", "bonnet-cold", "cabin", "cold-start", "road-test",
    "hot", "one-wheel-at-a-time", "on-a-lift", "small-things-off", "laboratory",
)  # fmt: skip

Share = Annotated[float, Field(ge=0, le=1)]
Identifier = Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=60)]
Words = Annotated[str, Field(min_length=1, max_length=1200)]


def _readable(when: str) -> str:
    parse_expression(when)
    return when


When = Annotated[str, AfterValidator(_readable)]


class Record(BaseModel):
    """Base of all catalogue records: frozen, unknown keys refused, NaN and infinity refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)


def _range(value: Any) -> Any:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return (value, value, value)
    return value


def _ordered(value: tuple[float, float, float]) -> tuple[float, float, float]:
    if not 0 <= value[0] <= value[1] <= value[2]:
        raise ValueError("must be low <= likely <= high, none negative")
    return value


Range = Annotated[tuple[float, float, float], BeforeValidator(_range)]


class Life(Record):
    """B10 and B50: km or years by which 10 % and half have needed renewal, from new, ordinary use."""

    b10: Annotated[float, Field(gt=0)]
    b50: Annotated[float, Field(gt=0)]

    @model_validator(mode="after")
    def _quantiles_in_order(self) -> Life:
        if not self.b10 < self.b50:
            raise ValueError(f"b10 must be below b50, found {self.b10:g} and {self.b50:g}")
        if self.b50 / self.b10 < 1.05:
            raise ValueError("b50 within 5 % of b10 claims more than anybody knows")
        return self


class Damage(Record):
    """Secondary damage: while this part is spent, the other one is made spent at this rate per year."""

    component: Identifier
    rate: Annotated[float, Field(gt=0, le=5)]
    note: str = ""


class Variant(Record):
    """Multipliers for cars of a certain build or year; all that apply are multiplied."""

    when: When = "all"
    built: tuple[int, int] | None = None
    price: Annotated[float, Field(gt=0)] = 1.0
    hours: Annotated[float, Field(gt=0)] = 1.0
    life: Annotated[float, Field(gt=0)] = 1.0
    note: str = ""

    @property
    def expression(self) -> Expression:
        return parse_expression(self.when)


class Availability(Record):
    """Chance that this remedy can be had, by how hard parts for the car are to find."""

    common: Share
    scarce: Share
    rare: Share


RemedyKind = Literal["new", "pattern", "used", "old-stock", "exchange", "rebuilt", "repair", "made"]


class Remedy(Record):
    """One way to put a part right, perhaps only on cars of a certain build or year. Price, specialist work and
    hours are for the whole entry.
    """

    kind: RemedyKind
    name: str = ""
    when: When = "all"
    built: tuple[int, int] | None = None
    price: Range = (0.0, 0.0, 0.0)
    specialist: Range = (0.0, 0.0, 0.0)
    surcharge: Annotated[float, Field(ge=0)] = 0.0
    availability: Availability = Availability(common=1, scarce=1, rare=1)
    wait_weeks: Range = (0.0, 1.0, 3.0)
    life: Annotated[float, Field(gt=0, le=5)] = 1.0
    hours: Range | None = None
    last_resort: bool = False
    open_ended: bool = False
    supplier: Literal[
        "parts", "specialist", "breaker", "maker", "bodyshop", "workshop", "tyres", "trimmer"
    ] = "parts"
    note: str = ""
    source: str = ""

    @model_validator(mode="after")
    def _sense(self) -> Remedy:
        for field in ("price", "specialist", "wait_weeks"):
            _ordered(getattr(self, field))
        if self.hours is not None:
            _ordered(self.hours)
        if (
            self.last_resort
            and min(self.availability.common, self.availability.scarce, self.availability.rare) < 1
        ):
            raise ValueError("a last resort is always available: leave availability out")
        if self.last_resort and (self.built or self.expression.clauses):
            raise ValueError("a last resort is there on every car: leave when and built out")
        return self

    @property
    def expression(self) -> Expression:
        return parse_expression(self.when)


class StepUse(Record):
    """An access step a component needs, perhaps only on cars of a certain build."""

    step: Identifier
    when: When = "all"

    @property
    def expression(self) -> Expression:
        return parse_expression(self.when)


def _step_use(value: Any) -> Any:
    return {"step": value} if isinstance(value, str) else value


Need = Literal["safety", "to-drive", "protects", "comfort"]
Exposure = Literal["rubber", "corrosion", "ultraviolet", "electrical", "none"]
Noticed = Literal["driver-at-once", "driver-in-weeks", "next-service", "on-a-lift"]
TestCategory = Literal[
    "lamps",
    "suspension",
    "brakes",
    "tyres",
    "visibility",
    "structure",
    "emissions",
    "steering",
    "belts",
    "wheels",
]


class Component(Record):
    """A wearing part or assembly renewed as one."""

    id: Identifier
    name: Words
    system: Literal[SYSTEMS]  # type: ignore[valid-type]
    when: When = "all"
    built: tuple[int, int] | None = None
    need: Need
    failure: Words
    worn_word: str = "tired"
    count: Annotated[int, Field(ge=1, le=200)] = 1
    pairs: bool = False
    life_km: Life | None = None
    life_years: Life | None = None
    reason: Words
    own_sd: Annotated[float, Field(ge=0.1, le=1.0)] = 0.3
    exposure: Exposure = "none"
    layup: Annotated[float, Field(ge=0, le=5)] = 1.0
    warning_share: Annotated[float, Field(ge=0.05, le=0.4)] = 0.15
    deferral_years: Annotated[float, Field(gt=0, le=40)]
    noticed: Noticed
    precaution_rate: Annotated[float, Field(gt=0, le=1)]
    replacement_life: Annotated[float, Field(gt=0, le=2)] = 0.85
    overhaul_life: Annotated[float, Field(gt=0, le=1)] = 0.8
    damages: tuple[Damage, ...] = ()
    test_category: TestCategory | None = None
    rust: bool = False
    hidden_reason: str = ""
    skill: Annotated[int, Field(ge=0, le=3)]
    hours: Range
    access: tuple[Annotated[StepUse, BeforeValidator(_step_use)], ...] = ()
    tools: tuple[Identifier, ...] = ()
    order_by: tuple[str, ...] = ()
    single_use: tuple[str, ...] = ()
    consumables: Range = (0.0, 0.0, 0.0)
    cautions: tuple[Identifier, ...] = ()
    card: tuple[str, ...] = ()
    variant: tuple[Variant, ...] = ()
    remedy: tuple[Remedy, ...]
    source: str
    sources: dict[str, str] = {}
    note: str = ""

    @model_validator(mode="after")
    def _sense(self) -> Component:
        if self.life_km is None and self.life_years is None:
            raise ValueError("needs life_km, life_years or both")
        if sum(r.last_resort for r in self.remedy) != 1:
            raise ValueError("exactly one remedy must be the last resort (always available)")
        _ordered(self.hours)
        _ordered(self.consumables)
        return self

    @property
    def expression(self) -> Expression:
        return parse_expression(self.when)


class Snag(Record):
    """How a strip-down goes wrong: chance where nobody has been for 20 years on a car kept dry, growth per further
    decade (added, times the car's rust exposure), and what the step then takes in times its hours."""

    chance: Share
    per_decade: Share = 0.0
    factor: Range = (1.3, 1.8, 3.0)
    what: Words


class Disturbed(Record):
    """Something that must be renewed because it was disturbed; `of`: parts whose own remedies hold it as well."""

    item: Words
    price: Range
    of: tuple[Identifier, ...] = ()


class AccessStep(Record):
    """Strip-down work that several components share; paid once per job."""

    id: Identifier
    name: Words
    when: When = "all"
    hours: Range
    after: tuple[Annotated[StepUse, BeforeValidator(_step_use)], ...] = ()
    snag: Snag | None = None
    disturbs: tuple[Disturbed, ...] = ()
    opens: bool = True
    skill: Annotated[int, Field(ge=0, le=3)] = 1
    tools: tuple[Identifier, ...] = ()
    cautions: tuple[Identifier, ...] = ()
    card: tuple[str, ...] = ()
    variant: tuple[Variant, ...] = ()
    source: str
    note: str = ""

    @property
    def expression(self) -> Expression:
        return parse_expression(self.when)


class Link(Record):
    """What a condition of a component does to a check: chance it shows, for a mechanic in person."""

    component: Identifier
    spent: Share
    worn: Share = 0.0

    @model_validator(mode="after")
    def _monotone(self) -> Link:
        if self.worn > self.spent or self.spent == 0:
            raise ValueError("needs spent > 0 and spent >= worn")
        return self


class DateLimit(Record):
    """A limit for cars first used from one day to another, both included."""

    first_used: tuple[date, date]
    limit: float


class Reading(Record):
    """A measurement: unit, what can be read at all, the limit, which side is worse, and its error; `far`: past it
    hardly anything but a part that needs doing now reads so.
    """

    unit: Words
    low: float
    high: float
    limit: float
    worse: Literal["below", "above"]
    error_sd: Annotated[float, Field(gt=0)]
    far: float | None = None
    by_date: tuple[DateLimit, ...] = ()
    source: str
    note: str = ""

    def limit_for(self, first_used: date) -> float:
        """The limit for a car first used on that day."""
        for rule in self.by_date:
            if rule.first_used[0] <= first_used <= rule.first_used[1]:
                return rule.limit
        return self.limit

    @model_validator(mode="after")
    def _sense(self) -> Reading:
        if not self.low <= self.limit <= self.high:
            raise ValueError("limit must lie between low and high")
        limits = (self.limit, *(rule.limit for rule in self.by_date))
        if self.far is not None and not (
            self.low <= self.far < min(limits)
            if self.worse == "below"
            else max(limits) < self.far <= self.high
        ):
            raise ValueError(
                "far must lie past the limit on its worse side, and be something that can be read"
            )
        return self


class Viewers(Record):
    """Share of a mechanic's sensitivity that others reach on this check."""

    newcomer: Share
    handy: Share
    mechanic: Share = 1.0


class PaperEntry(Record):
    """What work a paper found by this check would record."""

    components: tuple[Identifier, ...] = ()
    kit: str = ""
    depth: str = "full"
    what: Literal["renewed", "overhauled", "adjusted", "seen-sound", "seen-worn", "seen-spent"] = "renewed"
    evidence: Literal["invoice", "receipt", "stamp", "note", "owner-word", "trader-word"] = "invoice"


Condition = Literal[
    "cold", "hot", "running", "drive", "legal-to-drive", "helper", "lift", "jack", "battery", "daylight",
    "permission", "seller", "papers", "pictures", "workshop", "laboratory",
]  # fmt: skip


class Check(Record):
    """One thing to look at, listen for, measure or ask."""

    id: Identifier
    name: Words
    station: Literal[STATIONS]  # type: ignore[valid-type]
    when: When = "all"
    built: tuple[int, int] | None = None
    first_used: tuple[date, date] | None = None
    kind: Literal["look", "listen", "feel", "measure", "ask", "paper"]
    do: Words
    present: Words
    absent: Words
    minutes: Annotated[float, Field(gt=0, le=1000)]
    price: Range = (0.0, 0.0, 0.0)
    needs: tuple[Condition, ...] = ()
    after: str = ""
    nonrunner: bool = False
    imported: bool = False
    tools: tuple[str, ...] = ()
    who: Viewers
    photo: Share = 0.0
    maskable: Share = 1.0
    leak: Share
    harmless: Words
    links: tuple[Link, ...] = ()
    care: tuple[Share, Share, Share] | None = None
    presentation: tuple[Share, Share] | None = None
    odometer: tuple[Share, Share] | None = None
    stop: str = ""
    reading: Reading | None = None
    entry: PaperEntry | None = None
    cautions: tuple[Identifier, ...] = ()
    source: str
    note: str = ""

    @model_validator(mode="after")
    def _sense(self) -> Check:
        if not 0 < self.leak < 1 and self.links:
            raise ValueError("leak must lie strictly between 0 and 1: some harmless cause always exists")
        return self

    def suits(self, day: date) -> bool:
        """Whether the check is meant for cars built or first used on that day."""
        years, days = self.built, self.first_used
        return not (years and not years[0] <= day.year <= years[1]) and not (
            days and not days[0] <= day <= days[1]
        )

    @property
    def expression(self) -> Expression:
        return parse_expression(self.when)


class Group(Record):
    """A question about how the car is built."""

    id: Identifier
    name: Words
    choose: Literal["one", "any"]
    otherwise: str = ""
    when: When = "all"
    help: str = ""


class Trait(Record):
    """One answer to such a question, with its share of cars by year built, [year, share] points."""

    id: Identifier
    name: Words
    group: Identifier
    share: tuple[tuple[int, Share], ...]
    excludes: tuple[Identifier, ...] = ()
    conversion: bool = False
    help: str = ""
    source: str = "elicited"


class Kit(Record):
    """Work the trade sells and records as one thing, with the parts it covers at each depth."""

    id: Identifier
    name: Words
    depths: dict[str, tuple[Identifier, ...]]
    note: str = ""


class Tool(Record):
    """A special tool: bought or hired once per car."""

    id: Identifier
    name: Words
    buy: Range
    hire: Range | None = None


class Caution(Record):
    """A warning to print where the hand goes."""

    id: Identifier
    text: Words
    source: str


class Source(Record):
    """Where a figure comes from."""

    id: Identifier
    title: Words
    publisher: str = ""
    year: int | None = None
    where: str = ""
    kind: Literal["published", "common-practice", "elicited", "from-memory", "entered"]
    spread: Annotated[float, Field(ge=0, le=2)] = 0.0
