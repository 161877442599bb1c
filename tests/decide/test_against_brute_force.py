"""Values of checks on draws against going through every state of a small car (second method)."""

from __future__ import annotations

import dataclasses
import datetime
from itertools import combinations

import numpy as np
import pytest

from estimator.casefile.records import Finding
from estimator.decide.board import exact_groups, set_value, singles
from estimator.decide.information import value
from estimator.decide.next_checks import board_of
from estimator.decide.readings import ranges_of
from estimator.decide.scene import cost, scene_of
from estimator.decide.selection import Limits, Search
from estimator.decide.stakes import stakes_of
from estimator.evidence.findings import belief_in
from tests.decide.small import CHECKS, COSTS, catalogue, small_case, small_result
from tests.reference.decide_brute_force import set_worth, states

ASKING, VALUE = 4000.0, 5000.0
USED = datetime.date(1986, 5, 1)  # the small car
IDS = ("sag", "smell", "rattle", "crack", "rust", "habits", "gauge")


def _shows(prepared, check, share, points, conditions):
    """(S,) P(present | state) as the catalogue says, by hand: noisy-OR, or by care."""
    if check.care is not None:
        return share * np.array(check.care)[prepared.grid.q[points]]
    silent = np.full(len(points), 1 - check.leak)
    for link in check.links:
        rate = share * np.array([link.spent, link.worn, 0.0])
        silent *= 1 - rate[conditions[:, prepared.car.index[link.component]]]
    return 1 - silent if check.reading is None else _ranges(check, 1 - silent)


CUTS = (
    0.0,
    1.0,
    1.6,
    2.2,
    3.2,
)  # mm: the limit, two errors of 0.3 either side, and as far again as the gauge goes


def _ranges(check, sign, *, points=3200):
    """(S, 4) chance of each range of a reading, added up millimetre by millimetre: a reading x is told by signs that
    are there in proportion to the belief q(x) the evidence engine gives it, by others in proportion to 1 - q(x).
    """
    x = (np.arange(points) + 0.5) * CUTS[-1] / points
    q = np.array([belief_in(Finding(check=check.id, value=v), check, first_used=USED) for v in x])
    there, gone = q / q.sum(), (1 - q) / (1 - q).sum()
    which = np.searchsorted(CUTS[1:-1], x, side="right")
    a, b = (np.bincount(which, weights=w, minlength=4) for w in (there, gone))
    return sign[:, None] * a + (1 - sign[:, None]) * b


@pytest.fixture(scope="module", params=[None, 1500.0], ids=["mean only", "minds risk"])
def both(request):
    rho = request.param
    money = "" if rho is None else f"risk_tolerance = {rho}"
    case = small_case(asking=ASKING, value=VALUE, money=money)
    result = small_result(case, draws=40_000)
    prepared = result.prepared
    scene = scene_of(prepared.car)
    options = [o for o in scene.options if o.id in IDS]
    board = board_of(result, stakes_of(result, 0.0), options)
    order = [p.id for p in prepared.car.parts]

    chance, points, conditions = states(prepared.grid.prior, prepared.grid.weight)
    cost = sum(np.array([*COSTS[name], 0.0])[conditions[:, c]] for c, name in enumerate(order))
    worth = np.maximum(VALUE - cost, 200.0)
    shows = {o.id: _shows(prepared, o.check, o.check.who.handy, points, conditions) for o in options}

    def exact(ids):
        return set_worth(chance, worth, [shows[i] for i in ids], asking=ASKING, split=0.5, rho=rho)

    return board, [o.id for o in options], exact


def test_every_single_equals_full_enumeration(both):
    board, ids, exact = both
    found = singles(board)
    for column, name in enumerate(ids):
        assert found.value[column] == pytest.approx(exact([name]), abs=4 * found.error[column] + 0.02), name
    assert found.value.max() > 5  # the comparison is of values worth having


def test_every_pair_equals_full_enumeration(both):
    board, ids, exact = both
    largest = 0.0
    for a, b in combinations(range(len(ids)), 2):
        found = set_value(board, [a, b])
        assert found.pooled == 0
        assert found.value == pytest.approx(exact([ids[a], ids[b]]), abs=4 * found.error + 0.02)
        largest = max(largest, found.value)
    assert largest > singles(board).value.max()


def test_the_proposed_set_reaches_nine_tenths_of_the_best_set_for_the_same_minutes(both):
    """Every subset that fits a quarter of an hour, gone through state by state (second method)."""
    board, ids, exact = both
    options = [o for o in scene_of(small_result(small_case(), draws=100).prepared.car).options if o.id in ids]
    assert [o.id for o in options] == ids
    limits = Limits(minutes=15.0)
    search = Search(board, options, limits, single=singles(board).value)
    search.minute = 0.0
    chosen = search.best()
    subsets = [s for k in range(len(ids) + 1) for s in combinations(range(len(ids)), k)]
    fitting = [s for s in subsets if limits.allow([options[i] for i in s])]
    worth = {s: exact([ids[i] for i in s]) - cost([options[i] for i in s]) for s in fitting}
    assert len(fitting) > 20
    assert max(worth.values()) > 5
    assert worth[tuple(sorted(chosen.checks))] >= 0.9 * max(worth.values())


def test_singles_are_information_value(both):
    """All at once and one by one through `information.value` are the same, with its invariants, to 1e-9."""
    board, ids, _ = both
    found = singles(board)
    for column in range(len(ids)):
        told = board.results_of[column]
        chance = board.chance[:, column, None] * told[:, 0] + (1 - board.chance[:, column, None]) * told[:, 1]
        weight = np.full(board.draws, 1 / board.draws)
        one = value(board.payoff[:, None], weight, chance, board.settlement)
        money = float(board.settlement.money(one.now, one.value))
        assert found.value[column] == pytest.approx(max(money, 0.0), abs=1e-9 * ASKING)  # rounding of sums
        assert -1e-9 <= money <= board.perfect + 1e-9


def test_a_reading_is_told_apart_in_ranges_and_worth_more_than_its_limit_alone(both):
    """Finer results are never worth less (Blackwell); the words and bounds by hand."""
    board, ids, _ = both
    column = ids.index("gauge")
    told = ranges_of(_gauge(), first_used=USED)
    assert told.words == ("below 1 mm", "1 to 1.6 mm", "1.6 to 2.2 mm", "2.2 mm or more")
    assert told.channel.sum(axis=0) == pytest.approx([1, 1])
    assert told.channel[:, 0] == pytest.approx(
        told.channel[::-1, 1]
    )  # as good at telling either way: by hand
    assert exact_groups(board, [column]).shape[0] == 4
    halves = dataclasses.replace(board, channel=np.pad(board.halves, ((0, 0), (0, 2), (0, 0))))
    fine, coarse = (singles(b).value[column] for b in (board, halves))
    assert fine > coarse > 0


def test_a_reading_near_its_limit_says_less_than_one_far_from_it():
    """The odds a range speaks for its sign rise from the good end to the bad one, and are even about the limit."""
    told = ranges_of(_gauge(), first_used=USED)
    odds = told.channel[:, 0] / told.channel[:, 1]
    assert (np.diff(odds) < 0).all()
    assert odds[0] * odds[3] == pytest.approx(1)
    assert odds[1] * odds[2] == pytest.approx(1)


def _gauge():
    return catalogue().checks["gauge"].reading


def test_sets_of_all_checks_keep_within_their_bounds(both):
    board, ids, _ = both
    before = 0.0
    for count in range(1, len(ids) + 1):
        found = set_value(board, list(range(count)))
        assert -1e-9 <= found.value <= board.perfect + 1e-9
        assert found.value >= before - 4 * found.error  # more results are never worth less, up to pooling
        before = found.value


def test_the_small_catalogue_has_all_its_checks():
    assert len(CHECKS) == 8
