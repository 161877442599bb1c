"""The one path from a case to what it will cost: resolve, wear, evidence, draws, money, summary."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from estimator.case import Case
from estimator.catalogue.load import Catalogue, load_catalogue
from estimator.distribution import Distribution, summarise
from estimator.evidence.findings import SPENT, WORN
from estimator.known import SuspectGroup, found_parts, suspects
from estimator.outlays import Outlays, Split, price_draws
from estimator.pipeline import Prepared, prepare
from estimator.problems import InputError, Problem
from estimator.simulate import BLOCK, Draws, draw_conditions
from estimator.streams import generator
from estimator.why import Reason, reasons

Floats = NDArray[np.float64]
DRAWS, SEED = 20_000, 0
FEWEST_DRAWS, MOST_DRAWS = (
    20,
    2_000_000,
)  # a dot of the picture each, and errors of the figures that say something
POLICY = (
    "What needs doing now is done in one round at purchase; tired parts behind strip-down which that round opens "
    "anyway are renewed with it; the rest in the month it falls due. Comfort and looks are priced apart."
)


@dataclass(frozen=True)
class ComponentResult:
    """One part: chances, cost if it needs doing (p10, p50, p90 with its share of strip-down; None if it never did in
    the draws), share of the mean outlay and of the worst fifth, and why.
    """

    id: str
    name: str
    system: str
    need: str
    failure: str
    found: bool
    p_spent: float
    p_worn: float
    p_due: float
    cost: dict[str, float] | None
    mean_cost: float
    share_mean: float
    share_tail: float
    why: tuple[Reason, ...]
    age_years: float


@dataclass(frozen=True)
class Assessment:
    """Everything that is shown of one car. Money in the case's currency, tax included."""

    case: str
    currency: str
    price_year: int
    draws: int
    seed: int
    policy: str
    stops: tuple[tuple[str, str], ...]
    open_stops: tuple[str, ...]
    warnings: tuple[str, ...]
    total: Split
    known: Split
    hidden: Split
    needed: Split  # safety, law and to drive only
    comfort: Distribution
    unlisted: Distribution
    components: tuple[ComponentResult, ...]
    suspects: tuple[SuspectGroup, ...]
    grid: dict[str, Any]
    evidence: dict[str, Any]
    dots: tuple[float, ...]  # twenty equally likely outcomes of the plan year
    exceedance: tuple[tuple[float, float], ...]  # (amount, chance of more)
    by_month: tuple[float, ...]

    def as_dict(self) -> dict[str, Any]:
        """The JSON of `assess`, keys as in README."""
        return {
            "format": 1,
            "case": self.case,
            "currency": self.currency,
            "price_year": self.price_year,
            "draws": self.draws,
            "seed": self.seed,
            "policy": self.policy,
            "stops": [{"check": c, "text": t} for c, t in self.stops],
            "open_stops": list(self.open_stops),
            "warnings": list(self.warnings),
            "outlay": {
                **self.total.as_dict(),
                "known": self.known.as_dict(),
                "hidden": self.hidden.as_dict(),
                "safety_and_drive": self.needed.as_dict(),
            },
            "comfort": self.comfort.as_dict(),
            "unlisted": self.unlisted.as_dict(),
            "components": [_component_dict(c) for c in self.components],
            "suspects": [
                {"check": s.check, "name": s.name, "parts": [{"id": i, "p_spent": p} for i, p in s.parts]}
                for s in self.suspects
            ],
            "grid": self.grid,
            "evidence": self.evidence,
            "dots": list(self.dots),
            "by_month": list(self.by_month),
        }


def _component_dict(c: ComponentResult) -> dict[str, Any]:
    plain = ("id", "name", "system", "need", "found", "p_spent", "p_worn", "p_due", "cost", "mean_cost")
    return {
        **{k: getattr(c, k) for k in plain},
        "share_mean": c.share_mean,
        "share_tail": c.share_tail,
        "why": [{"step": r.step, "label": r.label, "points": r.points} for r in c.why],
    }


@dataclass(frozen=True)
class Result:
    """An assessment with the draws behind it."""

    assessment: Assessment
    prepared: Prepared
    draws: Draws
    outlays: Outlays
    found: NDArray[np.bool_] = field(repr=False)


def assess(
    case: Case,
    catalogue: Catalogue | None = None,
    *,
    draws: int = DRAWS,
    seed: int = SEED,
    workers: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> Assessment:
    """What the car will cost, part by part, with reasons.

    Parameters
    ----------
    draws : number of Monte Carlo draws, 20 to 2,000,000.
    seed : any whole number >= 0; the same seed gives the same result with any number of workers.
    workers : threads that price blocks of draws; by default the machine's cores, two at most.
    progress : called with the share done, 0 to 1.

    Raises
    ------
    InputError
        For impossible findings, an unknown currency, or draws or seed out of range.
    """
    return assess_fully(
        case, catalogue, draws=draws, seed=seed, workers=workers, progress=progress
    ).assessment


def assess_fully(
    case: Case,
    catalogue: Catalogue | None = None,
    *,
    draws: int = DRAWS,
    seed: int = SEED,
    workers: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> Result:
    """`assess`, with the draws kept for the decisions built on them."""
    for name, value, low, high in (("draws", draws, FEWEST_DRAWS, MOST_DRAWS), ("seed", seed, 0, 2**63)):
        if not isinstance(value, (int, np.integer)) or not low <= value <= high:
            raise InputError(
                Problem(case.name, None, name, f"must be a whole number {low} to {high}; found {value!r}")
            )
    prepared = prepare(case, catalogue or load_catalogue())
    why = reasons(prepared)
    found = found_parts(prepared)
    root = np.random.SeedSequence(seed)
    first, *block_seeds = root.spawn(1 + -(-draws // BLOCK))
    drawn = draw_conditions(prepared.grid, prepared.evidence.belief, n=draws, rng=generator(first))
    outlays = price_draws(prepared, drawn, found, block_seeds, workers=workers, progress=progress)
    summary = _summary(prepared, drawn, outlays, found, why.steps, draws=draws, seed=seed)
    return Result(summary, prepared, drawn, outlays, found)


def _summary(
    prepared: Prepared,
    drawn: Draws,
    outlays: Outlays,
    found: NDArray[np.bool_],
    why: tuple[tuple[Reason, ...], ...],
    *,
    draws: int,
    seed: int,
) -> Assessment:
    car, grid = prepared.car, prepared.grid
    year = outlays.total.year
    marginal = grid.mean(grid.marginal)
    warnings = [str(w) for w in car.case.warnings]
    warnings += [
        f"{car.catalogue.groups[g].name}: not said how it is built; cars of {car.year_built} are mixed by their shares."
        for g in car.open_groups
    ]
    warnings += [str(d) for d in car.case.defaults_used]
    ordered = np.sort(year)
    levels = np.linspace(0, ordered[-1] * 1.02, 121) if ordered[-1] > 0 else np.array([0.0, 1.0])
    chance = 1 - np.searchsorted(ordered, levels, side="right") / ordered.size
    return Assessment(
        case=car.case.name,
        currency=car.case.money.currency,
        price_year=car.catalogue.settings.prices.price_year,
        draws=draws,
        seed=seed,
        policy=POLICY,
        stops=prepared.evidence.stops,
        open_stops=prepared.evidence.open_stops,
        warnings=tuple(warnings),
        total=outlays.total.split(),
        known=outlays.known.split(),
        hidden=outlays.hidden.split(),
        needed=outlays.needed.split(),
        comfort=summarise(outlays.comfort),
        unlisted=summarise(outlays.unlisted),
        components=_components(prepared, outlays, found, why, marginal),
        suspects=suspects(prepared),
        grid=_grid_dict(prepared),
        evidence={
            "log_likelihood": grid.log_evidence,
            "method": grid.method,
            "present": grid.present,
            "frontier": grid.frontier,
            "ess": grid.ess,
        },
        dots=tuple(float(x) for x in np.quantile(ordered, (np.arange(20) + 0.5) / 20)),
        exceedance=tuple((float(a), float(c)) for a, c in zip(levels, chance, strict=True)),
        by_month=tuple(float(x) for x in outlays.by_month),
    )


def _components(
    prepared: Prepared,
    outlays: Outlays,
    found: NDArray[np.bool_],
    why: tuple[tuple[Reason, ...], ...],
    marginal: Floats,
) -> tuple[ComponentResult, ...]:
    car, grid = prepared.car, prepared.grid
    year = outlays.total.year[: len(outlays.part)]
    tail = year >= np.quantile(year, 0.8)
    mean, tail_mean = max(float(year.mean()), 1e-12), max(float(year[tail].mean()), 1e-12)
    due = np.einsum(
        "g,gck,gck->c", grid.weight, grid.marginal[:, :, WORN:], prepared.due[..., -1], optimize=True
    )
    ages = prepared.wear.fitted_age @ ((prepared.wear.age_edges[1:] + prepared.wear.age_edges[:-1]) / 2)
    means = np.full(year.size, 1 / year.size, np.float32) @ outlays.part
    tails = (tail / tail.sum()).astype(np.float32) @ outlays.part
    rows = []
    for c, part in enumerate(car.parts):
        paid = outlays.part[:, c]
        some = paid[paid > 0]
        comfort = part.need == "comfort"
        cost = None
        if some.size >= 10:
            low, middle, high = (float(x) for x in np.quantile(some, (0.1, 0.5, 0.9)))
            cost = {"p10": low, "p50": middle, "p90": high}
        rows.append(
            ComponentResult(
                id=part.id,
                name=part.name,
                system=part.system,
                need=part.need,
                failure=part.failure,
                found=bool(found[c]),
                p_spent=float(marginal[c, SPENT]),
                p_worn=float(marginal[c, WORN]),
                p_due=float(due[c]),
                cost=cost,
                mean_cost=float(means[c]),
                share_mean=0.0 if comfort else float(means[c] / mean),
                share_tail=0.0 if comfort else float(tails[c] / tail_mean),
                why=why[c],
                age_years=float(ages[c]),
            )
        )
    return tuple(sorted(rows, key=lambda r: -r.mean_cost))


def _grid_dict(prepared: Prepared) -> dict[str, Any]:
    grid, history = prepared.grid, prepared.wear.history

    def levels(index: NDArray[np.intp], names: list[str]) -> dict[str, float]:
        weight = np.bincount(index, weights=grid.weight, minlength=len(names))
        return {n: float(w) for n, w in zip(names, weight, strict=True)}

    mean = float(grid.weight @ grid.common)
    variance = float(grid.weight @ (grid.common - mean) ** 2)
    return {
        "care": levels(grid.q, ["attentive", "ordinary", "neglectful"]),
        "completeness": levels(grid.w, [f"{x:.2f}" for x in history.completeness]),
        "odometer": levels(grid.h, [h.label for h in history.odometer]),
        "presentation": levels(grid.dressed, ["as it is", "dressed up for sale"]),
        "viewing": levels(grid.p // 2, ["closely", "in passing"][: prepared.shared.closely.size]),
        "rust": levels(grid.r, [f"odds x {x:g}" for x in prepared.shared.rust_odds]),
        "life": {"mean": mean, "sd": float(np.sqrt(variance))},
    }
