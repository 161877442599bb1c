"""A car's papers as input of the wear pass: timeline, clocks, entries, and how complete the papers are."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.car import Car
from estimator.casefile.records import Work
from estimator.casefile.words import km, years_between
from estimator.catalogue.reference import typical_cost
from estimator.odometer import Hypothesis, Shown, hypotheses
from estimator.wear.records import Entry, Observation, PassInput, Renewal
from estimator.wear.timeline import node_grid, node_of, odometer_at, years_clock

Floats = NDArray[np.float64]
ONE_SIDE = 0.5  # a paper for one side only speaks for half the pair


@dataclass(frozen=True)
class History:
    """Input of the pass and the levels of what its points share.

    odometer : hypotheses (H); completeness : levels (W) with weights; care : prior weights (Q);
    life_points : (Z,) standard deviations; own : total log-life sd per part (C,).
    """

    pass_input: PassInput
    odometer: tuple[Hypothesis, ...]
    completeness: Floats
    completeness_weight: Floats
    care_weight: Floats
    life_points: Floats
    total_sd: Floats


def care_prior(car: Car) -> Floats:
    """Weights of attentive, ordinary, neglectful: the prior, moved by papers kept and by what the buyer states."""
    care = car.catalogue.settings.evidence.care
    kept, papers = np.array(care.papers), papers_share(car)
    prior = np.array(care.prior) * kept**papers  # that there are none is left to the silence of the parts
    prior /= prior.sum()
    stated = {"attentive": 0, "ordinary": 1, "neglectful": 2}.get(car.case.car.care)
    if stated is None:
        return prior
    return (1 - care.stated_weight) * prior + care.stated_weight * np.eye(3)[stated]


def papers_share(car: Car) -> float:
    """Share of the car's life for which papers are said to be complete, times how complete."""
    ages = np.linspace(0.0, car.age_years, 241)[:-1] + car.age_years / 480
    claimed = np.zeros(ages.size)
    for period in car.case.coverage:
        inside = (ages > _age(car, period.start)) & (ages < _age(car, period.end))
        claimed[inside] = np.maximum(claimed[inside], period.completeness)
    return float(claimed.mean())


def idle_periods(car: Car) -> list[tuple[float, float, float]]:
    """(from, to, relative use) of the periods lived, in years since built."""
    driven = car.catalogue.settings.exposure.driven
    return [(_age(car, p.start), _age(car, p.end), driven[p.use]) for p in car.case.lived]


def odometer_hypotheses(car: Car) -> tuple[Hypothesis, ...]:
    """What the odometer may really have turned (see estimator.odometer)."""
    case, settings = car.case, car.catalogue.settings.evidence
    unit = case.car.unit
    dated = [(r.date, km(r.odometer, r.unit or unit)) for r in case.reading]
    dated += [(t.date, km(t.odometer, t.unit or unit)) for t in case.test if t.odometer is not None]
    dated += [(w.date, km(w.odometer, w.unit or unit)) for w in case.work if w.odometer is not None]
    by_day: dict[datetime.date, float] = {}
    for day, distance in dated:
        by_day[day] = max(distance, by_day.get(day, 0.0))
    by_day[case.car.viewed] = km(case.car.odometer, unit)
    shown = [Shown(max(_age(car, day), 0.0), distance) for day, distance in sorted(by_day.items())]
    replaced = [
        (
            _age(car, r.date),
            None if r.old is None else km(r.old, r.unit or unit),
            km(r.new, r.unit or unit),
        )
        for r in sorted(case.odometer_replaced, key=lambda r: r.date)
    ]
    return hypotheses(
        shown,
        turn_km=km(10.0**case.car.odometer_digits, unit),
        prior=settings.distance,
        settings=settings.odometer,
        imported=case.imported,
        replaced=replaced,
        idle=idle_periods(car),
    )


def history(car: Car, *, plain: bool = False) -> History:
    """Everything the wear pass needs to know about this car.

    plain : leave out all papers (entries, coverage, completeness) and take ordinary care only:
        what distance and age alone say, for the reasons.
    """
    evidence = car.catalogue.settings.evidence
    odometer = odometer_hypotheses(car)
    events = [] if plain else [max(_age(car, day), 0.0) for day in _event_days(car)]
    events += [min(age, car.age_years) for h in odometer for age, _ in h.readings]
    nodes = node_grid(car.age_years, horizon_years=1.0, events=np.clip(events, 0.0, car.age_years))
    today = int(node_of(nodes, car.age_years))
    cares = [1] if plain else [0, 1, 2]
    care_weight = np.ones(1) if plain else care_prior(car)
    levels, level_weight = _completeness(car, plain=plain)
    points = np.linspace(-3.0, 3.0, evidence.life.pass_points)
    point_weight = np.exp(-0.5 * points**2)
    point_weight /= point_weight.sum()
    total_sd = np.hypot(evidence.life.common_sd, car.own_sd)
    care = evidence.care
    life_factor = (
        np.exp(total_sd[:, None, None] * points[None, None, :]) * np.array(care.life)[cares][None, :, None]
    )
    odometer_weight = np.array([h.weight for h in odometer])
    pass_input = PassInput(
        nodes_years=nodes,
        today=today,
        lives=car.lives,
        years_clock=_years_clocks(car, nodes),
        km_clock=_km_clocks(car, nodes, odometer),
        life_factor=life_factor,
        deferral_years=_by_care(car, "deferral_years", np.array(care.deferral)[cares]),
        precaution_rate=_by_care(car, "precaution_rate", np.array(care.precaution)[cares]),
        replacement_life=_by_care(car, "replacement_life", np.array(care.repair)[cares]),
        recording=_recording(car, nodes, levels, cares, plain=plain),
        upkeep=_upkeep(car, nodes),
        weight=np.einsum("h,w,q,z->hwqz", odometer_weight, level_weight, care_weight, point_weight),
        entries=() if plain else _entries(car, nodes),
    )
    return History(pass_input, odometer, levels, level_weight, care_weight, points, total_sd)


def _age(car: Car, day: datetime.date) -> float:
    return years_between(car.case.car.built, day)


def _event_days(car: Car) -> list[datetime.date]:
    case = car.case
    return [
        *(w.date for w in case.work),
        *(t.date for t in case.test),
        *(d for c in case.coverage for d in (c.start, c.end)),
        *(d for p in case.lived for d in (p.start, p.end)),
    ]


def _by_care(car: Car, figure: str, factor: Floats) -> Floats:
    return np.array([getattr(p, figure) for p in car.parts])[:, None] * factor[None, :]


def _years_clocks(car: Car, nodes: Floats) -> Floats:
    """(C, N + 1) effective age by class of exposure, storage, climate, use and lay-up."""
    rates = car.catalogue.settings.exposure
    case = car.case
    made: dict[tuple[str, float], Floats] = {}
    rows = []
    for part in car.parts:
        kind = (part.exposure, part.layup)
        if kind not in made:
            periods = [
                (
                    _age(car, p.start),
                    _age(car, p.end),
                    rates.rate(
                        part.exposure,
                        storage=p.storage if p.storage != "unknown" else case.car.storage,
                        climate=p.climate if p.climate != "unknown" else case.car.climate,
                        use=p.use,
                        layup=part.layup,
                    ),
                )
                for p in case.lived
            ]
            ordinary = rates.rate(
                part.exposure,
                storage=case.car.storage,
                climate=case.car.climate,
                use=case.car.use,
                layup=part.layup,
            )
            made[kind] = years_clock(nodes, periods, rate=ordinary)
        rows.append(made[kind])
    return np.array(rows)


def _km_clocks(car: Car, nodes: Floats, odometer: tuple[Hypothesis, ...]) -> Floats:
    """(H, C, N + 1) distance clocks; severity of use scales the distance driven from now on."""
    evidence = car.catalogue.settings.evidence
    exposure = car.catalogue.settings.exposure
    prior = list(zip(evidence.distance.age, evidence.distance.km, strict=True))
    clocks = np.array(
        [
            odometer_at(
                nodes,
                readings=[(min(age, car.age_years), distance) for age, distance in h.readings],
                annual_km_prior_by_age=prior,
                today_years=car.age_years,
                future_annual_km=car.annual_km * exposure.severity[car.case.car.use],
                use=idle_periods(car),
            )
            for h in odometer
        ]
    )
    return np.broadcast_to(clocks[:, None, :], (len(odometer), len(car.parts), nodes.size))


def _upkeep(car: Car, nodes: Floats) -> Floats:
    """(N,) pace of renewals by the periods lived: next to none while a car stands forgotten."""
    pace = car.catalogue.settings.exposure.upkeep
    middle = (nodes[1:] + nodes[:-1]) / 2
    upkeep = np.ones(middle.size)
    for period in car.case.lived:
        upkeep[(middle > _age(car, period.start)) & (middle < _age(car, period.end))] = pace[period.use]
    return upkeep


def _completeness(car: Car, *, plain: bool) -> tuple[Floats, Floats]:
    """Levels of how complete papers really are against what is claimed, and their weights."""
    settings = car.catalogue.settings.evidence.completeness
    if plain:
        return np.ones(1), np.ones(1)
    weights = settings.trader if car.case.car.sale in ("trader", "auction") else settings.owner
    return np.array(settings.levels), np.array(weights) / sum(weights)


def _recording(car: Car, nodes: Floats, levels: Floats, cares: list[int], *, plain: bool) -> Floats:
    """(C, W, Q, N) chance that a renewal in each step would be on record: small jobs are less often than big ones."""
    settings = car.catalogue.settings.evidence.completeness
    steps = nodes.size - 1
    if plain:
        return np.zeros((len(car.parts), levels.size, len(cares), steps))
    outside = np.outer(settings.outside_levels, np.array(settings.outside)[cares])
    chance = np.broadcast_to(outside[:, :, None], (levels.size, len(cares), steps)).copy()
    middle = (nodes[1:] + nodes[:-1]) / 2
    for period in car.case.coverage:
        inside = (middle > _age(car, period.start)) & (middle < _age(car, period.end))
        seen = period.completeness * (1.0 if period.own_work else 1 - settings.own_work)
        claim = np.minimum(seen * levels, settings.cap)
        chance[:, :, inside] = claim[:, None, None]
    return np.asarray(bills_kept(car)[:, None, None, None] * chance)


def bills_kept(car: Car) -> Floats:
    """(C,) how often the bill for a part is kept and typed in, against that for a dear one: cost / (cost + small job).

    Without it one missing bill for wiper blades would say as much about the folder as one for a gearbox.
    """
    cost = np.array(
        [
            typical_cost(
                car.catalogue, car.catalogue.components[part.id], build=car.traits, year=car.year_built
            )
            for part in car.parts
        ]
    )
    return np.asarray(cost / (cost + car.catalogue.settings.evidence.completeness.small_job))


def _entries(car: Car, nodes: Floats) -> tuple[tuple[Entry, ...], ...]:
    """Work entries and annual tests of every part, in order of date."""
    dated: list[list[tuple[datetime.date, Entry | None]]] = [[] for _ in car.parts]
    for work in car.case.work:
        for position in car.worked_on(work):
            dated[position].append((work.date, _entry(car, work, position, nodes)))
    for position, part in enumerate(car.parts):
        if part.test_category is not None:
            dated[position] += [
                (t.date, _test(car, t.result, part.id in t.components, t.date, nodes)) for t in car.case.test
            ]
        else:
            dated[position] += [
                (t.date, _test(car, t.result, True, t.date, nodes))
                for t in car.case.test
                if part.id in t.components
            ]
    return tuple(_in_force(sorted(events, key=lambda event: event[0])) for events in dated)


def _in_force(events: list[tuple[datetime.date, Entry | None]]) -> tuple[Entry, ...]:
    """Entries in order; an adjustment (None) voids what was seen before it."""
    kept: list[Entry] = []
    for _, entry in events:
        if entry is None:
            kept = [e for e in kept if isinstance(e, Renewal)]
        else:
            kept.append(entry)
    return tuple(kept)


def _entry(car: Car, work: Work, position: int, nodes: Floats) -> Entry | None:
    """A work entry as the pass reads it; None for an adjustment."""
    evidence = car.catalogue.settings.evidence
    node = int(node_of(nodes, _age(car, work.date)))
    part = car.parts[position]
    if work.what == "adjusted":
        return None
    one_side = work.side != "both" and (part.count > 1 or part.pairs)
    if work.what.startswith("seen-"):
        seen = getattr(evidence.seen[work.evidence], work.what.removeprefix("seen-"))
        return Observation(node, _of_one_side(seen) if one_side else seen)
    credibility = evidence.credibility[work.evidence] * (ONE_SIDE if one_side else 1.0)
    share, extra = fitted_life(car, position, work)
    return Renewal(max(node, 1), credibility, life_share=share, extra_age_years=extra)


def _of_one_side(seen: tuple[float, float, float]) -> tuple[float, float, float]:
    """The same table where one side of a pair was looked at: what ails the pair may ail the other side."""
    spent, worn, sound = seen
    return (
        ONE_SIDE * spent + (1 - ONE_SIDE) * sound,
        ONE_SIDE * worn + (1 - ONE_SIDE) * sound,
        sound,
    )


def fitted_life(car: Car, position: int, work: Work) -> tuple[float, float]:
    """Life of what was fitted against a new maker's part, and its age when fitted, years."""
    part = car.parts[position]
    if work.what == "overhauled":
        return part.overhaul_life, 0.0
    if work.fitted == "old-stock" and work.moulded is not None:
        return 1.0, max(years_between(work.moulded, work.date), 0.0)
    if work.fitted == "unknown":
        return part.replacement_life, 0.0
    kind = {"repaired": "repair"}.get(work.fitted, work.fitted)
    own = next((r.life for r in part.remedy if r.kind == kind), None)
    return own if own is not None else car.catalogue.settings.evidence.fitted[work.fitted], 0.0


def _test(car: Car, result: str, named: bool, day: datetime.date, nodes: Floats) -> Observation:
    table = car.catalogue.settings.evidence.annual_test
    likelihood = table.pass_
    if named and result == "refused":
        likelihood = table.refused
    elif named:
        likelihood = table.advice
    return Observation(int(node_of(nodes, _age(car, day))), likelihood)
