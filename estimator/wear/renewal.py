"""The forward pass: what a car's history says about every part of it today.

A part is fitted, lives (two clocks), is spent, stays spent for a while, is renewed, and so on since
the car was built; renewals may or may not have left a paper. `forward_pass` carries the weight of
every cohort from the first day to today on the car's own timeline, with every paper and every silence
where it happened. The recursion stands in `sweep`, the lives in `cohorts`, the reading at today in
`outlook`; here components are grouped so that each group runs in the cheapest way.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estimator.wear.ages import age_edges
from estimator.wear.entries import tells_worn_from_sound
from estimator.wear.future import expected_renewals
from estimator.wear.outlook import Outlook, outlook
from estimator.wear.records import MONTHS, Entry, Observation, PassInput, PassResult, Renewal
from estimator.wear.sweep import Chunk, Sweep, chunk_entries

__all__ = [
    "Observation",
    "PassInput",
    "PassResult",
    "Renewal",
    "expected_renewals",
    "forward_pass",
    "long_run_spent_share",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_CHUNK_BYTES = 1_000_000  # the survivals of one chunk stay in the second-level cache
_MOST_IN_CHUNK = 24
_HALF_STEP_BELOW_YEARS = 2.0  # components with 10 % spent before this run at half the step ...
_QUARTER_STEP_BELOW_YEARS = 1.0  # ... and before this at a quarter


def long_run_spent_share(
    mean_life_years: ArrayLike, deferral_years: ArrayLike, *, precaution_rate: ArrayLike = 0.0
) -> Floats:
    """P(spent and still fitted) in the long run, whatever the life distribution: D P / (L + D P).

    Parameters
    ----------
    mean_life_years : L, mean years from fitted until spent or renewed as a precaution, > 0
        (`life.mean_life_years` with the same precaution rate a).
    deferral_years : D, mean years a spent part stays fitted, >= 0.
    precaution_rate : a per year; P = 1 - a L is the share of parts that become spent at all.

    References
    ----------
    Alternating renewal theorem, e.g. Ross, *Stochastic Processes*, 2nd ed., theorem 3.4.4.
    """
    life, deferral = np.asarray(mean_life_years, float), np.asarray(deferral_years, float)
    spent = deferral * np.clip(1 - np.asarray(precaution_rate, float) * life, 0.0, 1.0)
    return spent / (life + spent)


def forward_pass(inp: PassInput) -> PassResult:
    """Condition, time to need, age and likelihood of every component at every pass point.

    With `entries=()` and `recording` zero this is the plain alternating renewal process.

    Parameters
    ----------
    inp : see PassInput, which refuses bad input by name.

    Returns
    -------
    PassResult, axes (C, H, W, Q, Z, ...).
    """
    h, w, q, z = inp.weight.shape[-4:]
    c = len(inp.lives)
    edges = age_edges(float(inp.nodes_years[inp.today]))
    result = PassResult(
        condition=np.empty((c, h, w, q, z, 3)),
        due=np.empty((c, h, w, q, z, 2, MONTHS)),
        log_likelihood=np.empty((c, h, w, q, z)),
        mean_age_years=np.empty((c, h, w, q, z)),
        fitted_age=np.empty((c, edges.size - 1)),
        age_edges=edges,
        original_share=np.empty(c),
        future_renewals=np.empty((c, h, w, q, z, inp.nodes_years.size - 1 - inp.today))
        if inp.future
        else None,
    )
    for group in _groups(inp):
        job = _refined(inp, group.refine)
        for index in group.chunks:
            _run(job, index, group, result)
    return result


@dataclass(frozen=True)
class _Group:
    """Components that run alike: step refinement, with or without odometer hypotheses, chunks."""

    refine: int
    one_odometer: bool
    chunks: tuple[Ints, ...]


def _groups(inp: PassInput) -> list[_Group]:
    """Sort components by step and by what they need; observed ones run alone, the others together."""
    c = len(inp.lives)
    first_decile = _first_decile_years(inp)
    refine = np.where(
        first_decile < _QUARTER_STEP_BELOW_YEARS, 4, np.where(first_decile < _HALF_STEP_BELOW_YEARS, 2, 1)
    )
    timeless = np.isinf(inp.lives.scale_km)  # no distance clock: all odometer hypotheses are the same
    entries = inp.entries or ((),) * c
    alone = np.array([tells_worn_from_sound(events) for events in entries])
    dated = np.array([len(events) > 0 for events in entries])
    h, _, q, z = inp.weight.shape[-4:]
    groups = []
    for fine in np.unique(refine):
        for one in (False, True):
            mine = (refine == fine) & (timeless == one)
            columns = fine * inp.today + 1
            points = (1 if one else h) * q * z
            size = int(np.clip(_CHUNK_BYTES // (8 * points * columns), 1, _MOST_IN_CHUNK))
            chunks = [np.array([i]) for i in np.flatnonzero(mine & alone)]
            for kind in (dated & ~alone, ~dated):
                members = np.flatnonzero(mine & kind)
                chunks += [members[i : i + size] for i in range(0, members.size, size)]
            if chunks:
                groups.append(_Group(int(fine), one, tuple(chunks)))
    return groups


def _first_decile_years(inp: PassInput) -> Floats:
    """(C,) calendar years in which a new part reaches B10 at the fastest pace that matters here."""
    nodes, today = inp.nodes_years, inp.today
    recent = int(np.searchsorted(nodes, max(nodes[today] - 20.0, 0.0)))
    spans = ((0, today), (min(recent, today - 1), today), (today, nodes.size - 1))

    def pace(clock: Floats) -> Floats:
        return np.max(
            [(clock[..., b] - clock[..., a]) / (nodes[b] - nodes[a]) for a, b in spans if b > a], axis=0
        )

    decile = -np.log(0.9)
    lives = inp.lives
    km_rate, year_rate = pace(inp.km_clock).max(axis=0), pace(inp.years_clock)
    with np.errstate(divide="ignore"):
        by_km = lives.scale_km * decile ** (1 / lives.shape_km) / km_rate
        by_years = lives.scale_years * decile ** (1 / lives.shape_years) / year_rate
    return np.minimum(by_km, by_years)


def _refined(inp: PassInput, times: int) -> PassInput:
    """The same car with every step cut into `times`; clocks are linear within a step."""
    if times == 1:
        return inp
    n = inp.nodes_years.size - 1
    at = np.arange(n * times + 1) / times
    left = np.minimum(at.astype(int), n - 1)
    share = at - left

    def cut(values: Floats) -> Floats:
        return values[..., left] + share * (values[..., left + 1] - values[..., left])

    return replace(
        inp,
        nodes_years=cut(inp.nodes_years),
        today=inp.today * times,
        years_clock=cut(inp.years_clock),
        km_clock=cut(inp.km_clock),
        recording=np.repeat(inp.recording, times, axis=-1),
        upkeep=np.repeat(inp.upkeep, times),
        entries=tuple(tuple(replace(e, node=e.node * times) for e in events) for events in inp.entries),
    )


def _run(inp: PassInput, index: Ints, group: _Group, result: PassResult) -> None:
    """Run one chunk and write it into the result."""
    sweep = Sweep(_chunk(inp, index, one_odometer=group.one_odometer))
    sweep.to_today()
    seen = outlook(sweep)
    h, w, q, z = inp.weight.shape[-4:]

    def widen(values: Floats) -> Floats:
        """(c, H or 1, Q, Z, W, ...) -> (c, H, W, Q, Z, ...)"""
        moved = np.moveaxis(values, 4, 2)
        return np.broadcast_to(moved, (index.size, h, w, q, z, *moved.shape[5:]))

    result.condition[index] = widen(seen.condition)
    result.due[index] = widen(seen.due)
    result.log_likelihood[index] = widen(seen.log_likelihood)
    result.mean_age_years[index] = widen(seen.mean_age_years)
    ages = _averaged_ages(seen, sweep.chunk.weight)
    result.original_share[index] = ages[:, -1]
    result.fitted_age[index] = ages[:, :-1]
    result.fitted_age[index, -1] += ages[:, -1]
    if result.future_renewals is not None:
        steps = sweep.onwards()
        merged = steps.reshape(*steps.shape[:-1], -1, group.refine).sum(axis=-1)
        result.future_renewals[index] = widen(merged)


def _averaged_ages(seen: Outlook, weight: Floats) -> Floats:
    """(c, A + 1) ages over all points by weight times likelihood of the component's history."""
    c = weight.shape[0]
    told = seen.log_likelihood.reshape(c, -1)
    best = np.maximum(told.max(axis=1, keepdims=True), -1e300)
    posterior = weight.reshape(c, -1) * np.exp(told - best)
    posterior /= np.maximum(posterior.sum(axis=1, keepdims=True), 1e-300)
    return np.einsum("cp,cpa->ca", posterior, seen.age_mass.reshape(c, posterior.shape[1], -1))


def _chunk(inp: PassInput, index: Ints, *, one_odometer: bool) -> Chunk:
    """The chunk's own arrays, points ordered (c, H, Q, Z, W)."""
    hypotheses = 1 if one_odometer else inp.km_clock.shape[0]
    km = np.moveaxis(inp.km_clock[:hypotheses, index], 0, 1)
    years = np.broadcast_to(inp.years_clock[index][:, None], km.shape)
    weight = (
        inp.weight
        if inp.weight.ndim == 5
        else np.broadcast_to(inp.weight, (len(inp.lives), *inp.weight.shape))
    )
    mine = np.moveaxis(weight[index], 2, 4)
    if one_odometer:
        mine = mine.sum(axis=1, keepdims=True)
    recording = inp.recording[index] if inp.recording.ndim == 4 else inp.recording[None]
    steps = inp.nodes_years.size - 1 if inp.future else inp.today
    entries: list[list[Entry]] = [list(inp.entries[i]) if inp.entries else [] for i in index]
    return Chunk(
        nodes_years=inp.nodes_years,
        kept_years=np.concatenate([[0.0], np.cumsum(inp.upkeep * np.diff(inp.nodes_years))]),
        today=inp.today,
        steps=steps,
        lives=inp.lives.take(index),
        clocks=np.ascontiguousarray(np.stack([km, years], axis=2)),
        life_factor=inp.life_factor[index],
        deferral_years=inp.deferral_years[index],
        precaution_rate=inp.precaution_rate[index],
        replacement_life=inp.replacement_life[index],
        recording=np.swapaxes(recording, 1, 2)[:, None, :, None],
        weight=mine,
        entries=chunk_entries(entries),
    )
