"""A trader's promise: in every verb alike, and smooth in what was found."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from estimator.assess import assess_fully
from estimator.decide.compare import common_outlays
from estimator.decide.first_year import buyers_outlay, known_of_now, warranty_relief
from estimator.decide.next_checks import ranked
from estimator.decide.offer import offered
from estimator.known import found_parts, known_share
from estimator.outlays import Pair
from estimator.pipeline import prepare
from tests.decide.small import catalogue, plain_costs, small_case, small_result

PROMISE = "[warranty]\nshare = 0.8\nmonths = 12\nexcess = 100\nlimit = 2000\n"


def result_of(more: str = ""):
    """A trader's car; what counts as found costs what its parts do, as in a real assessment."""
    result = small_result(small_case(sale="trader", value=9000, asking=7000, more=more))
    spent = result.draws.condition == 0
    known = (result.outlays.part * spent)[:, found_parts(result.prepared)].sum(axis=1, dtype=float)
    return dataclasses.replace(result, outlays=dataclasses.replace(result.outlays, known=Pair(known, known)))


def relief_of(result):
    return warranty_relief(result.prepared, result.draws, result.outlays)


def test_next_offer_and_compare_agree_on_what_the_promise_is_worth():
    """Second method: all three limits move by what the promise carries on average; neutral to risk, far from scrap."""
    plain, promised = result_of(), result_of(PROMISE)
    carried = float(relief_of(promised).mean())
    assert carried > 100
    offers = [offered(r, 0.0) for r in (plain, promised)]
    checks = [ranked(r, 0.0) for r in (plain, promised)]
    assert offers[1].walk_away - offers[0].walk_away == pytest.approx(carried, rel=0.02)
    assert checks[1].by_value == pytest.approx(offers[1].walk_away, abs=0.01)
    assert checks[1].perfect_information < checks[0].perfect_information  # less is left to be found out
    lined = [
        common_outlays(prepare(r.prepared.car.case, catalogue()), draws=20_000, seed=0, own=0)
        for r in (plain, promised)
    ]
    alone = [assess_fully(r.prepared.car.case, catalogue(), draws=20_000, seed=3) for r in (plain, promised)]
    by_itself = [buyers_outlay(r.prepared, r.draws, r.outlays).mean() for r in alone]
    error = 4 * np.hypot(*(x.std() for x in lined)) / np.sqrt(20_000)
    assert lined[0].mean() - lined[1].mean() == pytest.approx(by_itself[0] - by_itself[1], abs=error)


def test_share_excess_and_limit_by_hand():
    """Nothing found: what is due in a draw, less 100, four fifths of it, at most 2000; plain costs are all of today."""
    result = result_of(PROMISE)
    due = result.outlays.total.year
    assert relief_of(result) == pytest.approx(np.minimum(0.8 * np.maximum(due - 100, 0), 2000))
    none = result_of(PROMISE.replace("months = 12", "months = 0"))
    assert not relief_of(none).any()
    assert relief_of(result_of()) is None


def signs(sure: float) -> str:
    """Three signs of the frame, each as sure."""
    named = ("crack", "rust", "lift")
    return "".join(f'[[finding]]\ncheck = "{c}"\nresult = "present"\nsure = {sure}\n' for c in named)


def test_no_price_jumps_as_a_part_comes_to_count_as_found():
    """From no evidence to certainty in even steps: the part crosses the threshold of what counts as found on the way,
    and the share that is not the trader's grows evenly: no step takes more than three times its part of the way.
    """
    steps = np.linspace(0.4, 1.0, 25)
    results = [result_of(PROMISE + signs(sure)) for sure in steps]
    counts = [bool(found_parts(r.prepared).any()) for r in results]
    assert (counts[0], counts[-1]) == (False, True)
    carried = np.array([relief_of(r).mean() for r in results])
    limit = np.array([offered(r, 0.0).walk_away for r in results])
    for series in (carried, limit):
        moves = np.abs(np.diff(series))
        assert moves.max() < 3 * np.abs(series).max() * 0.6 / 24 + 0.002 * np.abs(series).max()
    at = counts.index(True)  # the step of the threshold is no larger than its neighbours
    moves = np.abs(np.diff(carried))
    assert moves[at - 1] < 2 * max(moves[max(at - 3, 0)], moves[min(at + 1, 23)]) + 0.002 * carried.max()


def test_what_was_known_is_the_share_of_the_doubt_that_is_gone():
    """By definition; nothing known where nothing was seen, all but nothing left where a sure sign has one cause."""
    plain = result_of(PROMISE)
    assert not known_share(plain.prepared).any()
    assert not known_of_now(plain.prepared, plain.draws, plain.outlays).any()
    seen = result_of(PROMISE + signs(1.0))
    share = known_share(seen.prepared)
    frame = seen.prepared.car.index["frame"]
    before, after = (r.prepared.grid.mean(r.prepared.grid.marginal)[frame, 0] for r in (plain, seen))
    assert share[frame] == pytest.approx((after - before) / (1 - before), abs=0.1)  # at the mean of the grid
    assert share.max() == share[frame]
    only = seen.draws.condition[:, frame] == 0
    known = known_of_now(seen.prepared, seen.draws, seen.outlays)
    assert known[only].mean() > 0.5 * share[frame]
    assert (known[~only] <= share.max()).all()


def test_known_work_is_not_the_traders():
    """By hand: where the tank, seen to leak, is all that is spent and 900 are due, the trader's is what was in
    doubt.
    """
    paper = '[[work]]\ndate = 2026-05-01\ncomponent = "tank"\nwhat = "seen-spent"\nevidence = "invoice"\n'
    case = small_case(sale="trader", value=9000, asking=7000, more=PROMISE + paper)
    seen = plain_costs(assess_fully(case, catalogue()))
    tank = seen.prepared.car.index["tank"]
    share = known_share(seen.prepared)[tank]
    assert share > 0.5
    spent = seen.draws.condition == 0
    alone = spent[:, tank] & (spent.sum(axis=1) == 1)
    due = np.full(len(alone), 900.0)
    total = dataclasses.replace(seen.outlays.total, now=due, year=due)
    relief = warranty_relief(seen.prepared, seen.draws, dataclasses.replace(seen.outlays, total=total))
    assert relief[alone] == pytest.approx(0.8 * max(900 * (1 - share) - 100, 0), abs=0.01)
