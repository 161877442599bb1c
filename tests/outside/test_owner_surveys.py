"""What a sound, little-used historic car costs a year, like with like against surveys of owners.

Ours: renewals (wear that falls due, tyres, work on no list) plus running costs (service, fuel, insurance, tax, storage,
inspection), in money of the catalogue's price year, comfort and looks left out. The surveys ask owners for all they
spend on keeping their vehicles. Left out on our side: what is spent at once to put a neglected car right (the car is
sound: first year's backlog apart), change in value, restoration for its own sake, clubs and outings. The catalogue and
data/running.toml were not tuned to these figures.
"""

from __future__ import annotations

import pytest

from estimator.case import parse_case
from estimator.decide.keep import keep
from tests.outside.ordinary_cars import CATALOGUE, HISTORIC, kept_by

ORDINARY = 1
YEARS = 6
NOT_UPKEEP = ("putting_right", "value")
SOUND = """
format = 1
[car]
viewed = 2020-06-01
built = 1975-06-01
odometer = 140000
unit = "km"
odometer_digits = 6
sale = "owned"
storage = "dry-garage"
use = "summer"
parts = "common"
traits = [{traits}]
[money]
currency = "{currency}"
annual_distance = {km}
own_hours_per_month = {hours}
own_skill = {skill}
"""
OWNERS = {"all in a workshop": (0, 0), "easy work at home": (6, 1)}


def yearly_upkeep(currency: str, km: float, owner: str) -> float:
    """Mean yearly upkeep of such a car in ordinary care, no inflation."""
    hours, skill = OWNERS[owner]
    traits = ", ".join(f'"{t}"' for t in HISTORIC.split())
    text = SOUND.format(traits=traits, currency=currency, km=km, hours=hours, skill=skill)
    found = keep(
        parse_case(text, "a sound car"),
        kept_by(ORDINARY),
        years=YEARS,
        inflation=0.0,
        discount=0.0,
        draws=500,
    )
    return sum(v for part, v in found.parts.items() if part not in NOT_UPKEEP) / YEARS


@pytest.mark.parametrize("owner", OWNERS)
def test_against_the_uk_survey_of_2019(owner) -> None:
    """Published (press report of a federation's survey): 1,489 GBP per vehicle and year over 1.24 million historic
    vehicles, 2,214 miles a year: maintenance, fuel, insurance, storage together. Between half and twice."""
    survey = CATALOGUE.settings.prices.index.to_price_year(1489.0, year=2019)
    ours = yearly_upkeep("GBP", 2214 * 1.609344, owner)
    assert survey / 2 <= ours <= survey * 2


@pytest.mark.parametrize("owner", OWNERS)
def test_against_the_world_survey_of_2020(owner) -> None:
    """Published (an international federation, 2020/21): 3,800 EUR direct a year per enthusiast, who has
    128,000 / 55,000 = 2.33 vehicles (motorcycles among them), cars driven 1,413 km: 1,633 EUR a vehicle. Between half
    and twice. Both surveys lie below us, by a factor of 1.2 to 1.8 as seen on writing: owners do more themselves."""
    survey = CATALOGUE.settings.prices.index.to_price_year(3800.0 / (128_000 / 55_000), year=2020)
    ours = yearly_upkeep("EUR", 1413, owner)
    assert survey / 2 <= ours <= survey * 2
