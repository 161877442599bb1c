"""Papers of small jobs are lost and left untyped more often than those of dear ones."""

from __future__ import annotations

import dataclasses

import pytest

from estimator.car import resolve
from estimator.case import load_case
from estimator.catalogue.load import data_folder, load_catalogue
from estimator.catalogue.reference import typical_cost
from estimator.history import bills_kept, history
from estimator.pipeline import prepare
from tests.cars import cut, saloon

CATALOGUE = load_catalogue()
COVERED = "[[coverage]]\nfrom = 1999-05-01\nto = 2026-01-01\ncompleteness = 0.9\nown_work = true\n"


def test_a_bill_is_kept_by_what_the_job_costs():
    """By hand: cost / (cost + 60), so a dear job's paper is nearly always there and a small one's half the time."""
    car = resolve(saloon(), CATALOGUE)
    kept = dict(zip((p.id for p in car.parts), bills_kept(car), strict=True))
    part = CATALOGUE.components["clutch"]
    cost = typical_cost(CATALOGUE, part, build=car.traits, year=1979)
    assert kept["clutch"] == pytest.approx(cost / (cost + 60))
    assert kept["wiper-blades-arms"] < 0.5 < 0.9 < kept["manual-gearbox"]


def test_the_chance_of_a_paper_falls_with_the_job_inside_and_outside_what_is_claimed():
    """By hand: the claim times the level, capped, times how often such a bill is kept."""
    car = resolve(saloon(COVERED), CATALOGUE)
    told = history(car)
    chance, level = told.pass_input.recording, CATALOGUE.settings.evidence.completeness
    assert chance.shape == (len(car.parts), len(level.levels), 3, told.pass_input.nodes_years.size - 1)
    assert chance.max(axis=-1)[:, 1, 0] == pytest.approx(0.9 * level.levels[1] * bills_kept(car))
    assert chance.min(axis=-1)[:, 1, 0] == pytest.approx(
        level.outside[0] * level.outside_levels[1] * bills_kept(car)
    )


def test_a_folder_without_the_small_bills_is_still_a_folder():
    """Common practice: who keeps every big bill and throws away those for wiper blades, points and fluids has kept
    a good folder. The well documented example without the entries for its dozen smallest jobs stays believed; were
    each of those silences to weigh as much as that for a gearbox, it would not."""
    case = load_case(data_folder() / "examples" / "small-saloon.toml")
    car = resolve(case, CATALOGUE)
    small = {part.id for part, kept in zip(car.parts, bills_kept(car), strict=True) if kept < 0.67}
    thinner = dataclasses.replace(case, work=tuple(w for w in case.work if w.component not in small))
    assert len(thinner.work) < len(case.work) - 10
    all_count = cut(
        CATALOGUE, list(CATALOGUE.components), list(CATALOGUE.checks), evidence__completeness__small_job=0.0
    )
    assert _hardly_any(case, CATALOGUE) < 0.1
    assert _hardly_any(thinner, CATALOGUE) < 0.5 * _hardly_any(thinner, all_count)


def _hardly_any(case, catalogue):
    """Posterior of the lowest level of completeness."""
    grid = prepare(case, catalogue).grid
    return float(grid.weight[grid.w == grid.w.max()].sum()) if grid.w.max() == 3 else 0.0
