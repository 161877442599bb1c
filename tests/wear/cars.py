"""Small cars for the tests of the wear engine: one part or a few, one timeline, few pass points."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from estimator.wear.life import Lives
from estimator.wear.records import Entry, PassInput
from estimator.wear.timeline import node_grid, node_of, odometer_at, years_clock
from tests.reference.wear_events import Process


@dataclass(frozen=True, kw_only=True)
class Part:
    """One part and the chances around it; NaN quantiles mean no such clock."""

    b10_km: float = np.nan
    b50_km: float = np.nan
    b10_years: float = 9.0
    b50_years: float = 17.0
    warning_share: float = 0.2
    deferral_years: float = 0.6
    precaution_rate: float = 0.03
    replacement_life: float = 0.8

    def lives(self) -> Lives:
        return Lives.from_quantiles(
            b10_km=self.b10_km,
            b50_km=self.b50_km,
            b10_years=self.b10_years,
            b50_years=self.b50_years,
            warning_share=self.warning_share,
        )


@dataclass(frozen=True, kw_only=True)
class Car:
    """A timeline: age today, readings, periods of lay-up with the rate of the time clock in them."""

    today_years: float = 38.0
    readings: tuple[tuple[float, float], ...] = ((12.0, 150e3), (38.0, 210e3))
    laid_up: tuple[tuple[float, float], ...] = ()
    laid_up_rate: float = 0.5
    faster: tuple[tuple[float, float, float], ...] = ()
    annual_km: float = 6000.0
    events: tuple[float, ...] = ()
    fine: int = 1

    def nodes(self) -> np.ndarray:
        dates = [*self.events, *(t for t, _ in self.readings), *(t for p in self.laid_up for t in p)]
        dates += [t for a, b, _ in self.faster for t in (a, b) if t <= self.today_years]
        return node_grid(self.today_years, horizon_years=1.5, events=dates, fine=self.fine)

    def km(self, nodes: np.ndarray) -> np.ndarray:
        return odometer_at(
            nodes,
            readings=self.readings,
            annual_km_prior_by_age=[(0.0, 12_000.0)],
            today_years=self.today_years,
            future_annual_km=self.annual_km,
            use=[(a, b, 0.0) for a, b in self.laid_up],
        )

    def years(self, nodes: np.ndarray) -> np.ndarray:
        periods = [(a, b, self.laid_up_rate) for a, b in self.laid_up]
        return years_clock(nodes, [*periods, *self.faster])


def pass_input(
    part: Part,
    car: Car,
    *,
    entries: Callable[[Callable[[float], int]], Sequence[Entry]] | None = None,
    recording: Callable[[float], float] = lambda _: 0.0,
    life_factors: Sequence[float] = (1.0,),
    weights: Sequence[float] | None = None,
    future: bool = False,
) -> PassInput:
    """One part on one car. `entries` gets a function from a date to its node."""
    nodes = car.nodes()
    middle = (nodes[1:] + nodes[:-1]) / 2
    factors = np.asarray(life_factors, float)
    weight = np.full(factors.size, 1 / factors.size) if weights is None else np.asarray(weights, float)
    events = () if entries is None else (tuple(entries(lambda when: int(node_of(nodes, when)))),)
    return PassInput(
        nodes_years=nodes,
        today=int(node_of(nodes, car.today_years)),
        lives=part.lives(),
        years_clock=car.years(nodes)[None],
        km_clock=car.km(nodes)[None, None],
        life_factor=factors[None, None],
        deferral_years=np.array([[part.deferral_years]]),
        precaution_rate=np.array([[part.precaution_rate]]),
        replacement_life=np.array([[part.replacement_life]]),
        recording=np.array([[[recording(t) for t in middle]]]),
        weight=weight[None, None, None],
        entries=events,
        future=future,
    )


def process(part: Part, car: Car, *, life_factor: float = 1.0) -> Process:
    """The same part on the same car for the event-by-event simulator."""
    nodes, lives = car.nodes(), part.lives()
    return Process(
        times=tuple(nodes),
        km=tuple(car.km(nodes)),
        years=tuple(car.years(nodes)),
        shape_km=float(lives.shape_km[0]),
        scale_km=float(lives.scale_km[0]),
        shape_years=float(lives.shape_years[0]),
        scale_years=float(lives.scale_years[0]),
        warning_share=part.warning_share,
        deferral_years=part.deferral_years,
        precaution_rate=part.precaution_rate,
        replacement_life=part.replacement_life,
        life_factor=life_factor,
    )
