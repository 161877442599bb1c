"""Strip-down: what snags, and how the papers tell how long nobody has been there."""

from __future__ import annotations

import dataclasses
import datetime
import re

import numpy as np
import pytest

from estimator.car import resolve
from estimator.catalogue.load import load_catalogue
from estimator.money.access import GROUND_YEARS, access_plan
from estimator.money.book import price_book
from estimator.money.sheets import price_sheets
from estimator.money.total import Jobs, Pricing
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


def _reached(catalogue, part) -> set[str]:
    """Every step that may come before a part, whatever the car."""
    found, waiting = set(), [use.step for use in part.access]
    while waiting:
        step = waiting.pop()
        if step not in found and step in catalogue.steps:
            found.add(step)
            waiting += [use.step for use in catalogue.steps[step].after]
    return found


def _words(text: str) -> set[str]:
    plain = {w.removesuffix("s") for w in re.findall(r"[a-z]+", text.lower())}
    return plain - {"and", "or", "of", "the", "where", "new", "fresh", "each", "one", "fitted"}


def test_nothing_is_paid_twice_in_one_visit_for_itself():
    """By hand (the catalogue's words): where a part's own strip-down makes one renew what the part is called, the step
    says that the part's price holds it. Nuts and clips that share a word with a part are not the part.
    """
    catalogue = load_catalogue()
    priced_without = {"brake-fluid"}  # its price is what comes on top of the fill
    only_a_word = {  # another part's seals, bolts or oil; the fluid that a hose or a cap merely holds
        "ball gaiter or seals", "joint gasket or ring, bolts and brass nuts", "seals and drier",
        "oil, strainer gasket, fuel hose, edge rubber", "paint of lower flank and sill", "bleed nipples and caps",
    }  # fmt: skip
    holds_it = {"brake-reservoir-cap-warning-switch", "coolant-hoses", "long-coolant-pipes-under-floor"}
    missing = []
    for part in catalogue.components.values():
        for step in _reached(catalogue, part):
            for disturbed in catalogue.steps[step].disturbs:
                phrases = [w for w in map(_words, re.split(r",| and | or |:", disturbed.item)) if w]
                called = any(phrase <= _words(part.name) for phrase in phrases)
                known = part.id in {*disturbed.of, *priced_without, *holds_it}
                if called and not known and disturbed.item not in only_a_word:
                    missing.append((part.id, step, disturbed.item))
    assert missing == []


def test_what_a_step_says_a_part_holds_is_on_the_parts_way():
    """By hand: a part named by a step that is never on its way would change nothing."""
    catalogue = load_catalogue()
    for step in catalogue.steps.values():
        for disturbed in step.disturbs:
            for one in disturbed.of:
                assert step.id in _reached(catalogue, catalogue.components[one]), (step.id, one)


def test_a_head_gasket_is_paid_once():
    """By hand: the dearer of the part's own goods and of what the step holds of it, draw for draw; a cylinder head
    done in the same visit pays the gasket set no second time.
    """
    car = resolve(saloon(), load_catalogue())
    book = price_book(car)
    c, head = car.index["head-gasket"], car.index["cylinder-head"]
    off = book.access.steps.index("cylinder-head-off")
    pairs = (book.access.held_part == c) & (book.access.held_step == off)
    assert book.access.held_share[pairs].sum() == pytest.approx(1.0)
    n, rng = 4_000, np.random.default_rng(8)
    sheets = price_sheets(book, rng)

    def goods(parts: list[int], plain) -> np.ndarray:
        draw, part = np.repeat(np.arange(n), len(parts)), np.tile(np.array(parts, np.intp), n)
        jobs = Jobs(draw, part, np.zeros(draw.size, np.intp), np.ones(draw.size, bool), now=draw.size)
        return Pricing(plain, sheets, jobs, n, np.random.default_rng(9)).everything.now

    none = np.zeros(0, np.intp)
    access = dataclasses.replace(book.access, held_part=none, held_step=none, held_share=np.zeros(0))
    twice = dataclasses.replace(book, access=access)
    saved = (goods([c], twice) - goods([c], book)) / (1 + book.tax)
    mean = book.access.mean_disturbed[off]
    assert 0.7 * mean < saved.mean() <= 1.01 * mean  # less than all of it where a cheap pattern set is fitted
    both = (goods([c, head], twice) - goods([c, head], book)) / (1 + book.tax)
    assert both.mean() == pytest.approx(saved.mean(), rel=0.02)
    assert (saved >= -1e-9).all()
