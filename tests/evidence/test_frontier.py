"""The elimination order: complete, consistent, and narrow."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.evidence.frontier import plan
from tests.evidence.networks import neighbourly_network

link_lists = st.lists(st.integers(0, 2**7 - 1), min_size=1, max_size=12)


def width_of(order, links) -> int:
    """Most findings open at once when components take their turns in this order (second method)."""
    widest = 0
    for place in range(len(order)):
        seen = [links[c] for c in order[: place + 1]]
        ahead = [links[c] for c in order[place:]]
        is_open = [f for f in range(7) if any(m >> f & 1 for m in seen) and any(m >> f & 1 for m in ahead)]
        widest = max(widest, len(is_open))
    return widest


@given(links=link_lists)
@settings(deadline=None)
def test_every_linked_component_has_one_turn_and_every_finding_opens_and_closes_once(links):
    made = plan(tuple(links))

    assert sorted(step.component for step in made.steps) == [c for c, mask in enumerate(links) if mask]
    entered = [f for step in made.steps for f in step.enter]
    closed = [f for step in made.steps for f, _ in step.close]
    findings = [f for f in range(7) if any(mask >> f & 1 for mask in links)]
    assert sorted(entered) == sorted(closed) == findings


@given(links=link_lists)
@settings(deadline=None)
def test_bit_positions_follow_the_findings_open_at_the_time(links):
    """Replaying the plan on a plain list of open findings finds each where the plan says."""
    is_open = []
    for step in plan(tuple(links)).steps:
        is_open += step.enter
        assert len(is_open) == step.width
        assert [is_open[bit] for _, bit in step.bits] == [finding for finding, _ in step.bits]
        assert sum(1 << finding for finding, _ in step.bits) == links[step.component]
        for finding, bit in step.close:
            assert is_open.pop(bit) == finding
    assert not is_open


@given(links=link_lists)
@settings(deadline=None)
def test_the_stated_width_is_the_width_of_the_order(links):
    made = plan(tuple(links))

    assert made.width == width_of([step.component for step in made.steps], links)


def test_small_networks_are_within_one_of_the_best_order():
    """Second method: every order of six components tried; most plans are the best possible."""
    rng = np.random.default_rng(0)
    excess = []
    for _ in range(30):
        links = tuple(int(sum(1 << f for f in rng.choice(7, rng.integers(1, 4), False))) for _ in range(6))
        best = min(width_of(order, links) for order in permutations(range(6)))
        excess.append(plan(links).width - best)
    assert max(excess) <= 1
    assert np.mean(excess) < 0.1


def test_a_chain_of_findings_stays_two_wide_in_any_listing():
    """By hand: finding f is shared by components f and f + 1, so two are open where they meet."""
    links = [0] * 41
    for finding in range(40):
        links[finding] |= 1 << finding
        links[finding + 1] |= 1 << finding
    shuffled = np.random.default_rng(3).permutation(links)

    assert plan(tuple(int(mask) for mask in shuffled)).width == 2


@pytest.mark.parametrize("seed", range(5))
def test_forty_present_findings_on_a_catalogue_like_network_are_solved_exactly(seed):
    case = neighbourly_network(np.random.default_rng(seed), present=40)

    found = case.net.posterior(case.findings)

    assert found.method == "exact"
    assert found.present == 40
    assert found.frontier <= 11
