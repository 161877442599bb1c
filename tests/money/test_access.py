"""Strip-down: what snags, and how the papers tell how long nobody has been there."""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from estimator.car import resolve
from estimator.catalogue.load import load_catalogue
from estimator.money.access import GROUND_YEARS, access_plan
from tests.cars import saloon

WORK = '[[work]]\ncomponent = "clutch"\nwhat = "renewed"\ndate = {}\nevidence = "{}"\n'


def _gearbox_out(more: str = "") -> float:
    plan = access_plan(resolve(saloon(more), load_catalogue()), money_factor=1.0)
    return float(plan.snag_chance[plan.steps.index("gearbox-out-rear-drive")])


def test_what_was_undone_lately_seldom_snags():
    """By hand, from the catalogue's chance for GROUND_YEARS: an invoice of five years ago leaves a quarter of it."""
    catalogue = load_catalogue()
    car = resolve(saloon(), catalogue)
    snag = catalogue.steps["gearbox-out-rear-drive"].snag
    assert snag is not None
    day = car.case.today - datetime.timedelta(days=round(5 * 365.25))
    believed = catalogue.settings.evidence.credibility["invoice"]
    never = _gearbox_out()
    expected = believed * snag.chance * 5 / GROUND_YEARS + (1 - believed) * never
    assert _gearbox_out(WORK.format(day, "invoice")) == pytest.approx(expected, rel=2e-3)
    assert never > snag.chance


def test_hearsay_moves_it_less_and_long_ago_hardly():
    invoice, word = (_gearbox_out(WORK.format("2020-05-01", e)) for e in ("invoice", "trader-word"))
    assert invoice < word < _gearbox_out()
    ages = [_gearbox_out(WORK.format(f"{year}-05-01", "invoice")) for year in (1985, 1995, 2005, 2015)]
    assert (np.diff(ages) < 0).all()


def test_hearsay_undoes_no_bill():
    bill = WORK.format("2015-05-01", "invoice")
    assert _gearbox_out(bill + WORK.format("2018-05-01", "trader-word")) == _gearbox_out(bill)
