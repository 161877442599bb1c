"""Remedies that only some builds or years have: what a car's parts can be put right with."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from estimator.car import Car, resolve
from estimator.catalogue.load import load_catalogue, read_catalogue
from estimator.money.book import price_book
from estimator.problems import InputError
from tests.cars import saloon
from tests.catalogue.small import write

QUOTE = '[[quote]]\ncomponent = "radiator"\nremedy = "exchange"\nprice = 300\n'


def of_year(year: int, more: str = "") -> Car:
    return resolve(saloon(more, built=f"{year}-05-01"), load_catalogue())


def with_traits(*traits: str) -> Car:
    case = saloon()
    return resolve(
        dataclasses.replace(case, car=dataclasses.replace(case.car, traits=traits)), load_catalogue()
    )


def names(car: Car, part: str) -> list[str]:
    return [remedy.name or remedy.kind for remedy in car.parts[car.index[part]].remedy]


def test_a_radiator_with_plastic_tanks_is_not_re_cored() -> None:
    """Common practice: brass tanks are unsoldered and re-cored, plastic ones crimped on alloy are thrown away."""
    assert "your tanks re-cored, or exchange" in names(of_year(1970), "radiator")
    late = of_year(1992)
    assert not {"exchange", "repair"} & {r.kind for r in late.parts[late.index["radiator"]].remedy}
    ways = price_book(late).ways[late.index["radiator"]]
    assert {way.kind for way in ways} <= {"pattern", "used", "made"}


def test_a_quote_proves_that_the_way_exists() -> None:
    quoted = of_year(1992, QUOTE)
    ways = price_book(quoted).ways[quoted.index["radiator"]]
    assert [way.kind for way in ways if way.fixed] == ["exchange"]


def test_liners_are_renewed_where_there_are_any_and_bores_bored_where_not() -> None:
    """Common practice. Where it is not known, the chance that the car has them goes into the availability."""
    usual = saloon().car.traits
    dry, wet = with_traits(*usual), with_traits(*usual, "wet-liners")
    new, bored = (
        "new liners or barrels with their pistons, a matched set",
        "rebored, oversize pistons and rings",
    )
    assert bored in names(dry, "pistons-rings-bores")
    assert new not in names(dry, "pistons-rings-bores")
    assert new in names(wet, "pistons-rings-bores")
    assert bored not in names(wet, "pistons-rings-bores")


def test_where_the_build_is_open_the_chance_of_it_is_in_the_availability() -> None:
    """By hand: availability of bearings that can be adjusted is the catalogue's, times the share of that year's
    cars that are not front-driven.
    """
    car = with_traits()
    share = car.chance("!front-drive")
    assert 0 < share < 1
    part = car.parts[car.index["front-hub-bearings"]]
    whole = next(r for r in car.catalogue.components[part.id].remedy if r.kind == "repair")
    mixed = next(r for r in part.remedy if r.kind == "repair")
    assert mixed.availability.common == pytest.approx(share * whole.availability.common)


def test_a_last_resort_is_there_on_every_car(tmp_path: Path) -> None:
    folder = write(tmp_path, replace=('kind = "rebuilt"\n', 'kind = "rebuilt"\nwhen = "cooler"\n'))
    with pytest.raises(InputError, match="a last resort is there on every car"):
        read_catalogue(folder)
