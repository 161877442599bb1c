"""What keeping the car costs over N years, and selling it now against that.

    keeping = keep(case, years=5)
    keeping.present.p50, keeping.per_distance

Every year holds: putting right (what is spent today, year 1), wear (what falls due later, renewal after renewal, on
the planned distance), wheels and tyres, work on no list, service, fuel, insurance, tax, storage, inspection, and the
change in value. Nominal: money of the day it is paid, at the end of its year; present: discounted to today (SPV of
NIST Handbook 135). Putting right is paid at once and the car's value is bound from the first day, so they are
neither inflated nor discounted for their first year. The parts of a year add up to it, in every draw.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from estimator.assess import SEED, Result, assess_fully
from estimator.case import Case
from estimator.casefile.words import in_unit
from estimator.catalogue.load import Catalogue, load_catalogue
from estimator.catalogue.running import Running, running_settings
from estimator.decide.ahead import MOST_YEARS
from estimator.decide.ahead import ahead as years_ahead
from estimator.decide.costing import money_factor
from estimator.decide.keep_draws import RepairDraws, draw_repairs
from estimator.decide.plan_records import Plan
from estimator.decide.stakes import scrap_of, worth_of
from estimator.distribution import Distribution, summarise
from estimator.money.discount import nominal_rate, spv, upv
from estimator.money.ranges import quantile_table
from estimator.pipeline import Prepared
from estimator.problems import InputError, Problem

Floats = NDArray[np.float64]
YEARS, DRAWS = 5, 6_000
PARTS = (
    "putting_right", "wear", "tyres", "unlisted", "service", "fuel", "insurance", "tax", "storage", "inspection",
    "value",
)  # fmt: skip


@dataclass(frozen=True)
class KeepYear:
    """One year: mean nominal and present cost, its parts (mean, nominal; they add up to nominal), band nominal."""

    year: int
    nominal: float
    present: float
    parts: dict[str, float]
    band: Distribution


@dataclass(frozen=True)
class SellNow:
    """Selling today, as it stands, against keeping and selling at the end. basis : what it brings today is taken from
    the price "paid", else "asked", else from a "good-example" less what putting it right costs. receives : after the
    cost of selling; dearer : present cost of keeping beyond selling now, which is the price of N years' use of the
    car; per_year : the same as an equal sum a year (mean).
    """

    basis: str

    receives: Distribution
    dearer: Distribution
    per_year: float
    chance_keeping_pays: float


@dataclass(frozen=True)
class Keeping:
    """The whole. nominal, present : over all years; per_year, per_distance : means, nominal, the latter in the case's
    unit; present_per_year : the equal yearly sum with the same present value (mean). parts, present_parts : means
    over all years, adding up to the means of nominal and present.
    """

    case: str
    currency: str
    price_year: int
    draws: int
    seed: int
    unit: str
    annual_distance: float
    inflation: float
    discount: float
    years: tuple[KeepYear, ...]
    nominal: Distribution
    present: Distribution
    per_year: float
    per_year_band: Distribution
    per_distance: float
    per_distance_band: Distribution
    present_per_year: float
    parts: dict[str, float]
    present_parts: dict[str, float]
    sell_now: SellNow | None
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    stops: tuple[tuple[str, str], ...]
    open_stops: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The JSON of `keep`, keys as in README."""
        plain = (
            "case", "currency", "price_year", "draws", "seed", "unit", "annual_distance", "inflation", "discount",
            "per_year", "per_distance", "present_per_year", "parts", "present_parts",
        )  # fmt: skip
        sell = self.sell_now
        return {
            "format": 1,
            **{k: getattr(self, k) for k in plain},
            "years": [
                {
                    "year": y.year,
                    "nominal": y.nominal,
                    "present": y.present,
                    "parts": y.parts,
                    "band": y.band.as_dict(),
                }
                for y in self.years
            ],
            "nominal": self.nominal.as_dict(),
            "present": self.present.as_dict(),
            "per_year_band": self.per_year_band.as_dict(),
            "per_distance_band": self.per_distance_band.as_dict(),
            "sell_now": None
            if sell is None
            else {
                "basis": sell.basis,
                "receives": sell.receives.as_dict(),
                "dearer": sell.dearer.as_dict(),
                "per_year": sell.per_year,
                "chance_keeping_pays": sell.chance_keeping_pays,
            },
            "notes": list(self.notes),
            "warnings": list(self.warnings),
            "stops": [{"check": c, "text": t} for c, t in self.stops],
            "open_stops": list(self.open_stops),
        }


def keep(
    case: Case,
    catalogue: Catalogue | None = None,
    *,
    years: int = YEARS,
    discount: float | None = None,
    inflation: float | None = None,
    plan: Plan | None = None,
    comfort: bool = False,
    draws: int = DRAWS,
    seed: int = SEED,
    workers: int | None = None,
    progress: Callable[[float], None] | None = None,
    result: Result | None = None,
) -> Keeping:
    """What keeping the car costs over the years.

    Parameters
    ----------
    years : 1 to 40.
    discount : real discount rate a year; inflation a year; None: as data/running.toml says.
    plan : a plan of the first year; its parts are renewed in its months in every draw. Without one year 1 is the
        estimate's own policy.
    comfort : comfort and looks too.
    draws, seed, workers : of the assessment, see `assess`; the years are drawn on its draws, from the same seed.
    progress : called with the share done, 0 to 1, while the car is assessed.
    result : an assessment of this case with its draws, if there is one already; draws is then not used.

    Raises
    ------
    InputError
        Naming the setting and what is allowed.
    """
    catalogue = catalogue or load_catalogue()
    running = running_settings(catalogue)
    discount = running.money.discount if discount is None else discount
    inflation = running.money.inflation if inflation is None else inflation
    _check(case, years=years, discount=discount, inflation=inflation)
    if result is None:
        result = assess_fully(case, catalogue, draws=draws, seed=seed, workers=workers, progress=progress)
    prepared = result.prepared
    planned = _planned(prepared, plan)
    ahead = years_ahead(prepared, float(max(years, 1)))
    repairs = draw_repairs(result, ahead, years=years, planned=planned, comfort=comfort, seed=seed)
    flows = _Flows(result, running, repairs, years=years, inflation=inflation, discount=discount, seed=seed)
    return flows.summary(comfort=comfort, planned=bool(planned))


def _check(case: Case, *, years: int, discount: float, inflation: float) -> None:
    problems = []
    if not isinstance(years, (int, np.integer)) or isinstance(years, bool) or not 1 <= years <= MOST_YEARS:
        problems.append(
            Problem(case.name, None, "years", f"must be a whole number 1 to {MOST_YEARS}; found {years!r}")
        )
    for name, value in (("discount", discount), ("inflation", inflation)):
        if not (np.isfinite(value) and -0.5 < value < 1.0):
            text = f"must be above -50 % and below 100 % a year (0.03 is 3 %); found {value:.0%}"
            problems.append(Problem(case.name, None, name, text))
    if problems:
        raise InputError(problems)


def _planned(prepared: Prepared, plan: Plan | None) -> dict[int, float]:
    """Parts the plan renews in its first twelve months, and when, in years."""
    if plan is None:
        return {}
    index = prepared.car.index
    return {
        index[c]: (job.month - 1) / 12
        for job in plan.jobs
        if job.month <= 12
        for c in (*job.components, *job.neighbours)
        if c in index
    }


class _Flows:
    """Yearly flows (n, N) in today's money, then nominal and present."""

    def __init__(
        self,
        result: Result,
        running: Running,
        repairs: RepairDraws,
        *,
        years: int,
        inflation: float,
        discount: float,
        seed: int,
    ) -> None:
        self.result, self.running, self.years = result, running, years
        self.inflation, self.discount = inflation, discount
        self.case = result.prepared.car.case
        self.n = len(result.draws)
        self.rng = np.random.Generator(np.random.SFC64(np.random.SeedSequence([seed, 13])))
        self.factor = money_factor(result.prepared.car)
        end = np.arange(1, years + 1)
        rise = np.asarray((1.0 + inflation) ** end, float)
        self.fade = spv(nominal_rate(discount, inflation), end)
        yearly = self._yearly()
        share = result.prepared.car.catalogue.settings.prices.unlisted_share
        unlisted = share * (repairs.wear + repairs.tyres)
        unlisted[:, 0] = result.outlays.unlisted
        self.nominal: dict[str, Floats] = {
            "wear": repairs.wear * rise,
            "tyres": repairs.tyres * rise,
            "unlisted": unlisted * rise,
            **{name: flow * rise for name, flow in yearly.items()},
        }
        self.present = {name: flow * self.fade for name, flow in self.nominal.items()}
        right = np.zeros((self.n, years))
        right[:, 0] = repairs.right
        self.nominal["putting_right"] = self.present["putting_right"] = right
        self.value = self._value(rise, repairs.right)
        if self.value is not None:
            held = self.value * np.concatenate([[1.0], self.fade])
            self.nominal["value"] = self.value[:, :-1] - self.value[:, 1:]
            self.present["value"] = held[:, :-1] - held[:, 1:]

    def _range(self, figures: tuple[float, float, float]) -> Floats:
        """(n,) of a range, drawn once for all years: how this owner and this car are."""
        table = quantile_table(np.array(figures, float))
        cells = table.size - 1
        return np.asarray(np.interp(self.rng.random(self.n) * cells, np.arange(cells + 1), table))

    def _yearly(self) -> dict[str, Floats]:
        """Service, fuel and the rest in today's money: (n, N) each."""
        running, car = self.running, self.result.prepared.car
        end = np.arange(1, self.years + 1)

        def grown(amount: Floats, growth: float) -> Floats:
            return self.factor * amount[:, None] * (1 + growth) ** end

        services = max(1.0, car.annual_km / running.service.every_km)
        able = self.case.money.own_skill >= 1 and self.case.money.own_hours_per_month > 0
        each = running.service.own_share if able else 1.0
        litres = (
            self._range(running.litres(car.catalogue, car.traits, year=car.year_built)) * car.annual_km / 100
        )
        tax = self._range(running.tax.price)
        exempt = running.tax.exempt_from_age
        pays = np.ones(self.years) if exempt is None else (car.age_years + end - 1 < exempt).astype(float)
        storage = running.storage.of(self.case.car.storage)
        return {
            "service": grown(self._range(running.service.price) * services * each, 0.0),
            "fuel": grown(litres * self._range(running.fuel.price), running.fuel.growth),
            "insurance": grown(self._range(running.insurance.price), running.insurance.growth),
            "tax": grown(tax, running.tax.growth) * pays,
            "storage": grown(self._range(storage), running.storage.growth),
            "inspection": grown(self._range(running.inspection.price), running.inspection.growth),
        }

    def _value(self, rise: Floats, right: Floats) -> Floats | None:
        """(n, N + 1) value of the car on the first day and at the end of each year, money of the day.

        It starts at what it brings as it stands: the price paid, else asked, else a good one's value less what is
        spent today; put right, it is worth what a good example is, where the case names one.
        """
        good, start = self.case.money.sound_example, self._price()
        if start is None and good is None:
            return None
        drift = self._range_signed(self.running.value.change)
        end = np.arange(1, self.years + 1)
        put_right = np.full(self.n, start or 0.0) if good is None else self._range(good)
        first = worth_of(put_right, right, scrap_of(self.case)) if start is None else np.full(self.n, start)
        later = put_right[:, None] * (1 + drift[:, None]) ** end * rise
        return np.concatenate([first[:, None], later], axis=1)

    def _price(self) -> float | None:
        """What was paid, else asked."""
        bought = self.case.bought
        return bought.price if bought is not None and bought.price is not None else self.case.money.asking

    def _range_signed(self, figures: tuple[float, float, float]) -> Floats:
        """A range that may be negative."""
        low, likely, high = figures
        return self._range((0.0, likely - low, high - low)) + low

    def summary(self, *, comfort: bool, planned: bool) -> Keeping:
        a, car = self.result.assessment, self.result.prepared.car
        names = [p for p in PARTS if p in self.nominal]
        nominal = sum((self.nominal[p] for p in names), np.zeros((self.n, self.years)))
        present = sum((self.present[p] for p in names), np.zeros((self.n, self.years)))
        whole, today = nominal.sum(axis=1), present.sum(axis=1)
        distance = in_unit(car.annual_km, self.case.car.unit) * self.years
        annual = float(upv(nominal_rate(self.discount, self.inflation), self.years))
        return Keeping(
            case=a.case,
            currency=a.currency,
            price_year=a.price_year,
            draws=self.n,
            seed=a.seed,
            unit=self.case.car.unit,
            annual_distance=distance / self.years,
            inflation=self.inflation,
            discount=self.discount,
            years=tuple(
                KeepYear(
                    year=y + 1,
                    nominal=float(nominal[:, y].mean()),
                    present=float(present[:, y].mean()),
                    parts={p: float(self.nominal[p][:, y].mean()) for p in names},
                    band=summarise(nominal[:, y]),
                )
                for y in range(self.years)
            ),
            nominal=summarise(whole),
            present=summarise(today),
            per_year=float(whole.mean()) / self.years,
            per_year_band=summarise(whole / self.years),
            per_distance=float(whole.mean()) / distance,
            per_distance_band=summarise(whole / distance),
            present_per_year=float(today.mean()) / annual,
            parts={p: float(self.nominal[p].sum(axis=1).mean()) for p in names},
            present_parts={p: float(self.present[p].sum(axis=1).mean()) for p in names},
            sell_now=self._sell_now(today, annual),
            notes=self._notes(comfort=comfort, planned=planned),
            warnings=a.warnings,
            stops=a.stops,
            open_stops=a.open_stops,
        )

    def _sell_now(self, today: Floats, annual: float) -> SellNow | None:
        if self.value is None:
            return None
        cost = self._range(self.running.value.selling)
        saved = self.value[:, 0] * cost  # not spent on selling now ...
        paid = self.value[:, -1] * float(self.fade[-1]) * cost  # ... but at the end
        dearer = today - saved + paid
        paid_for = self.case.bought is not None and self.case.bought.price is not None
        return SellNow(
            basis="paid" if paid_for else "good-example" if self._price() is None else "asked",
            receives=summarise(self.value[:, 0] - saved),
            dearer=summarise(dearer),
            per_year=float(dearer.mean()) / annual,
            chance_keeping_pays=float((dearer < 0).mean()),
        )

    def _notes(self, *, comfort: bool, planned: bool) -> tuple[str, ...]:
        notes = [
            "Running costs are ranges from data/running.toml, elicited: put your own bills into a running.toml of your "
            "own folder (--catalogue).",
            "After the first year worn parts are renewed when they need it, with what falls due in the same half-year.",
        ]
        if self.value is None:
            notes.append("No price and no value of a good example is named: the change in value is left out.")
        elif self.case.money.sound_example is None:
            notes.append("No value of a good example is named: the car keeps the worth of its price.")
        else:
            notes.append("Put right in year 1 the car is taken to be worth what a good example is.")
        if not comfort:
            notes.append("Comfort and looks are left out.")
        if planned:
            notes.append("The plan's parts are renewed in its months whatever they turn out to be like.")
        return tuple(notes)


__all__ = ["Keeping", "keep"]
