"""What is kept between runs, and what is held at once."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from estimator import assess as assessing
from estimator.car import resolve
from estimator.catalogue.load import load_catalogue
from estimator.commands import shell
from estimator.history import fitted_life
from estimator.money.unlisted import _diagnosis
from estimator.pipeline import _KEPT, prepare, wear_of
from estimator.simulate import draw_conditions
from tests.cars import saloon
from tests.test_assess import FINDINGS

QUOTE = '[[quote]]\ncomponent = "{0}"\nremedy = "{1}"\nprice = 100\n'
WORK = '[[work]]\ndate = 2015-05-01\ncomponent = "{0}"\nevidence = "invoice"\nfitted = "{1}"\n'


def test_a_quote_tells_nothing_about_how_long_old_parts_lived():
    """By the model: the wear pass is the same with a quote and without, in whichever order they are asked for.

    The part's remedy of the kind that was fitted is none of this build's; the quote says that it can be bought now.
    """
    catalogue = load_catalogue()
    papers = WORK.format("radiator", "repaired")
    quoted = papers + QUOTE.format("radiator", "repair")
    found = []
    for text in (papers, quoted):
        _KEPT.clear()
        found.append(wear_of(resolve(saloon(text, built="1990-05-01"), catalogue)))
    np.testing.assert_array_equal(found[0].table.condition, found[1].table.condition)
    plain, offered = (resolve(saloon(text, built="1990-05-01"), catalogue) for text in (papers, quoted))
    assert fitted_life(plain, plain.index["radiator"], plain.case.work[0]) != fitted_life(
        offered, offered.index["radiator"], offered.case.work[0]
    )  # so that the test can fail


def test_tracing_signs_holds_no_more_for_more_draws():
    """By hand: twenty times the draws, less than three times the memory (it was all findings times draws)."""
    prepared = prepare(saloon(FINDINGS), load_catalogue())
    peak = []
    for n in (5_000, 100_000):
        drawn = draw_conditions(prepared.grid, prepared.evidence.belief, n=n, rng=np.random.default_rng(1))
        tracemalloc.start()
        _diagnosis(prepared, drawn, np.random.default_rng(2))
        peak.append(tracemalloc.get_traced_memory()[1] - 16 * n)  # result and places, a number each
        tracemalloc.stop()
    assert peak[1] < 3 * peak[0]


def test_diagnosis_is_the_same_in_pieces(monkeypatch: pytest.MonkeyPatch):
    """By hand: the pieces take the random numbers in the order in which the whole takes them."""
    prepared = prepare(saloon(FINDINGS), load_catalogue())
    drawn = draw_conditions(prepared.grid, prepared.evidence.belief, n=3_000, rng=np.random.default_rng(1))
    whole = _diagnosis(prepared, drawn, np.random.default_rng(2))
    monkeypatch.setattr("estimator.money.unlisted.BLOCK", 700)
    np.testing.assert_array_equal(_diagnosis(prepared, drawn, np.random.default_rng(2)), whole)
    assert (whole > 0).any()


def test_the_command_line_knows_the_fewest_draws():
    assert shell.FEWEST_DRAWS == assessing.FEWEST_DRAWS
