"""Values of checks on draws against going through every state of a small car (second method)."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from estimator.decide.board import set_value, singles
from estimator.decide.information import value
from estimator.decide.next_checks import board_of
from estimator.decide.scene import scene_of
from estimator.decide.stakes import stakes_of
from tests.decide.small import CHECKS, COSTS, small_case, small_result
from tests.reference.decide_brute_force import set_worth, states

ASKING, VALUE = 4000.0, 5000.0
IDS = ("sag", "smell", "rattle", "crack", "rust", "habits")


def _shows(prepared, check, share, points, conditions):
    """(S,) P(present | state) as the catalogue says, by hand: noisy-OR, or by care."""
    if check.care is not None:
        return np.array(check.care)[prepared.grid.q[points]]
    silent = np.full(len(points), 1 - check.leak)
    for link in check.links:
        rate = share * np.array([link.spent, link.worn, 0.0])
        silent *= 1 - rate[conditions[:, prepared.car.index[link.component]]]
    return 1 - silent


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


def test_singles_are_information_value(both):
    """All at once and one by one through `information.value` are the same, with its invariants, to 1e-9."""
    board, ids, _ = both
    found = singles(board)
    for column in range(len(ids)):
        chance = board.chance[:, column]
        one = value(
            board.payoff[:, None],
            np.full(board.draws, 1 / board.draws),
            np.stack([chance, 1 - chance], axis=1),
            board.settlement,
        )
        money = float(board.settlement.money(one.now, one.value))
        assert found.value[column] == pytest.approx(max(money, 0.0), abs=1e-9 * ASKING)  # rounding of sums
        assert -1e-9 <= money <= board.perfect + 1e-9


def test_sets_of_all_checks_keep_within_their_bounds(both):
    board, ids, _ = both
    before = 0.0
    for count in range(1, len(ids) + 1):
        found = set_value(board, list(range(count)))
        assert -1e-9 <= found.value <= board.perfect + 1e-9
        assert found.value >= before - 4 * found.error  # more results are never worth less, up to pooling
        before = found.value


def test_the_small_catalogue_has_all_its_checks():
    assert len(CHECKS) == 7
