"""Price sheets: what is drawn apart is independent, and the marginals are the tables'."""

import numpy as np
import pytest

from estimator.car import resolve
from estimator.catalogue.load import load_catalogue
from estimator.money.book import price_book
from estimator.money.ranges import pert_mean
from estimator.money.sheets import SCENARIOS, price_sheets
from tests.cars import price_ranges, saloon


@pytest.fixture(scope="module")
def world():
    car = resolve(saloon(), load_catalogue())
    book = price_book(car)
    return car, book, price_sheets(book, np.random.default_rng(31))


def _correlation(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """(rows,) correlation of two tables, row by row, where both vary."""
    rows = (a.std(axis=1) > 1e-6) & (b.std(axis=1) > 1e-6)
    a, b = (
        (x[rows] - x[rows].mean(axis=1, keepdims=True)) / x[rows].std(axis=1, keepdims=True) for x in (a, b)
    )
    return (a * b).mean(axis=1)


def test_hours_and_goods_of_a_step_are_independent(world):
    """Closed form: correlation of independent columns is 0 with standard error 1 / sqrt(rows x scenarios)."""
    _, book, sheets = world
    shape = (len(book.access.steps), SCENARIOS)
    found = _correlation(sheets.step_hours.reshape(shape), sheets.step_bought.reshape(shape))
    assert abs(found.mean()) < 4 / np.sqrt(found.size * SCENARIOS)
    assert np.abs(found).max() < 0.2


def test_a_bills_spread_is_that_of_its_independent_pieces(world):
    """Closed form: the variance of parts, specialist work and small things bought together is the sum of theirs."""
    car, book, sheets = world
    consumables = np.array(price_ranges(car)["consumables"])
    shape = (book.scarcity_weights.size, sheets.parts, SCENARIOS)
    bought, way = sheets.bought.reshape(shape)[0], sheets.way.reshape(shape)[0]
    expected, drawn = [], []
    for c, (first, *_) in enumerate(book.ways):
        here = way[c] == 0
        plain = not first.open_ended and first.surcharge == 0 and not first.fixed and here.mean() > 0.5
        if plain and consumables[c, 2] > 0.2 * first.parts[2] > 0:
            pieces = [np.array(p) for p in (first.parts, first.specialist, consumables[c])]
            expected.append(sum((pert_mean(p) - p[0]) * (p[2] - pert_mean(p)) / 7 for p in pieces))
            drawn.append(bought[c, here].var())
    assert len(drawn) >= 5
    assert np.mean(np.array(drawn) / np.array(expected)) == pytest.approx(1.0, abs=0.04)
