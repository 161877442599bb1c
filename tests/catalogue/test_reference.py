"""The reference car: long-run spend and backlog of the catalogue, by renewal theory."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from estimator.catalogue.load import load_catalogue, read_catalogue
from estimator.catalogue.records import Component, Life
from estimator.catalogue.reference import TRAITS, mean_life_years, reference, typical_cost
from estimator.catalogue.verify import verify
from tests.catalogue.small import write

NONE: frozenset[str] = frozenset()


def part(**given: object) -> Component:
    first = next(iter(load_catalogue().components.values()))
    return first.model_copy(update={"variant": (), "life_km": None, "life_years": None, **given})


def test_mean_life_of_one_clock() -> None:
    """Closed form: B10 8, B50 15 is a Weibull of shape 2.996864, scale 16.951376, mean 15.136536."""
    found = mean_life_years(part(life_years=Life(b10=8, b50=15)), annual_km=1000, build=NONE, year=1974)
    assert found == pytest.approx(15.136536, rel=1e-3)


def test_mean_life_of_two_clocks() -> None:
    """Closed form: same shape b on both, scales ea years and em km at r km a year: Weibull of scale
    (ea^-b + (em/r)^-b)^(-1/b); b 2.5, ea 18, em 90,000, r 4,000 has mean 13.325895."""

    def quantile(scale: float, share: float) -> float:
        return float(scale * (-np.log(1 - share)) ** (1 / 2.5))

    clocks = {
        "life_years": Life(b10=quantile(18, 0.1), b50=quantile(18, 0.5)),
        "life_km": Life(b10=quantile(90_000, 0.1), b50=quantile(90_000, 0.5)),
    }
    assert mean_life_years(part(**clocks), annual_km=4000, build=NONE, year=1974) == pytest.approx(
        13.325895, rel=1e-3
    )


def test_small_catalogue_by_hand(tmp_path: Path) -> None:
    """By hand: PERT mean of [40, 60, 110] is 65; own hours 1.5; strip-down .4333 + .4167 hours; 75 an hour,
    tax a fifth: (65 + 75 x 2.35) x 1.2 = 289.5."""
    catalogue = read_catalogue(write(tmp_path))
    pump = catalogue.components["water-pump"]
    cost = typical_cost(catalogue, pump, build=frozenset({"front-drive"}), year=1974)
    assert cost == pytest.approx(289.5)
    found = reference(catalogue, traits=frozenset({"front-drive"}))
    life = mean_life_years(pump, annual_km=found.annual_km, build=NONE, year=1974)
    assert found.yearly_spend == pytest.approx(cost / (life + 0.5))
    assert found.backlog == pytest.approx(found.yearly_spend * 0.5)
    assert found.deferral_years == pytest.approx(0.5)


def test_backlog_is_spend_times_deferral_and_can_be_believed() -> None:
    """Common practice: some hundreds to a couple of thousand pounds a year and some years of waiting are
    believable; ten thousand of waiting work on an ordinary car, even with nothing shared, is not."""
    found = reference(load_catalogue())
    assert found.backlog == pytest.approx(found.yearly_spend * found.deferral_years)
    assert 500 <= found.yearly_spend <= 2500
    assert 1 <= found.deferral_years <= 6
    assert found.backlog < 10_000


def test_verify_says_it() -> None:
    assert set(load_catalogue().traits) >= TRAITS
    assert any("waiting at any time" in note for note in verify(load_catalogue()).notes)


def test_systems_add_up_to_the_whole() -> None:
    found = reference(load_catalogue())
    assert len(found.by_system) > 12
    assert sum(spend for _, spend, _ in found.by_system) == pytest.approx(found.yearly_spend)
    assert sum(backlog for *_, backlog in found.by_system) == pytest.approx(found.backlog)
