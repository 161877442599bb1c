"""How fast the forward pass is, as ratios of times measured in the same process."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from estimator.wear.life import Lives
from estimator.wear.records import PassInput
from estimator.wear.renewal import forward_pass
from estimator.wear.timeline import node_grid, node_of
from tests.reference.wear_events import Process
from tests.reference.wear_events_vectorised import spent_today

EXPONENTIALS = 8.0  # at most so many times np.exp over components x points x N (N + 1) / 2
EVENTS = 50.0  # at least so many times faster than simulating events to the same error
ERROR = 0.005


def seconds(work: Callable[[], object], *, repeats: int = 5) -> float:
    """Best of a few runs: other work on the machine only ever adds."""
    best = np.inf
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def fleet(
    *, components: int, levels: int, care: int, life_points: int, nodes: np.ndarray, today: int
) -> PassInput:
    """Components of every length of life on one car, no papers."""
    rng = np.random.default_rng(1)
    b50 = rng.uniform(5, 40, components)
    b10 = b50 * rng.uniform(0.4, 0.7, components)
    shape = (components, care)
    return PassInput(
        nodes_years=nodes,
        today=today,
        lives=Lives.from_quantiles(b10_km=b10 * 9000, b50_km=b50 * 9000, b10_years=b10, b50_years=b50 * 1.2),
        years_clock=np.tile(nodes, (components, 1)),
        km_clock=np.tile(nodes * 6000, (1, components, 1)),
        life_factor=np.broadcast_to(np.exp(np.linspace(-0.9, 0.9, life_points)), (*shape, life_points)),
        deferral_years=np.full(shape, 0.5),
        precaution_rate=np.full(shape, 0.01),
        replacement_life=np.full(shape, 0.85),
        recording=np.full((levels, care, nodes.size - 1), 0.1),
        weight=np.full((1, levels, care, life_points), 1 / (levels * care * life_points)),
    )


@pytest.mark.parametrize(("levels", "care", "life_points"), [(1, 1, 18), (3, 3, 9)])
def test_a_pass_costs_a_few_exponentials(levels, care, life_points):
    """60 years of quarters. The exponentials are taken over blocks of two million doubles."""
    components, quarters = 60, 240
    nodes = np.linspace(0, 61, 245)
    inp = fleet(
        components=components, levels=levels, care=care, life_points=life_points, nodes=nodes, today=quarters
    )
    count = components * levels * care * life_points * quarters * (quarters + 1) // 2
    block = -np.random.default_rng(0).random(2_000_000)

    def exponentials() -> None:
        for _ in range(count // block.size):
            np.exp(block)

    ratio = seconds(lambda: forward_pass(inp)) / seconds(exponentials)
    print(
        f"forward pass / np.exp, {levels * care * life_points} points: {ratio:.2f} (limit {EXPONENTIALS:g})"
    )
    assert ratio <= EXPONENTIALS


def test_a_pass_is_far_faster_than_simulating_events():
    """P(spent) of all components within 0.5 %, against the time simulated cars need for a standard
    error of 0.5 %: the time of 100,000 of them, scaled by the square of their error."""
    today = 45.0
    nodes = node_grid(today, horizon_years=1)
    inp = fleet(components=40, levels=1, care=1, life_points=1, nodes=nodes, today=int(node_of(nodes, today)))
    one_life = {"life_factor": np.ones((40, 1, 1))}
    inp = replace(inp, **one_life, recording=0 * inp.recording)
    fine = node_grid(today, horizon_years=1, fine=4)
    exact = fleet(components=40, levels=1, care=1, life_points=1, nodes=fine, today=int(node_of(fine, today)))
    exact = replace(exact, **one_life, recording=0 * exact.recording)
    found, truth = (forward_pass(i).condition[:, 0, 0, 0, 0, 0] for i in (inp, exact))
    assert found == pytest.approx(truth, rel=ERROR)

    rng, cars, needed = np.random.default_rng(2), 100_000, 0.0
    for i in range(0, 40, 5):
        lives = inp.lives.take(np.array([i]))
        machine = Process(
            times=tuple(nodes),
            km=tuple(inp.km_clock[0, i]),
            years=tuple(nodes),
            shape_km=lives.shape_km.item(),
            scale_km=lives.scale_km.item(),
            shape_years=lives.shape_years.item(),
            scale_years=lives.scale_years.item(),
            warning_share=0.15,
            deferral_years=0.5,
            precaution_rate=0.01,
            replacement_life=0.85,
        )
        start = time.perf_counter()
        share = spent_today(machine, today, cars=cars, rng=rng).mean()
        took = time.perf_counter() - start
        error = np.sqrt(share * (1 - share) / cars)
        assert share == pytest.approx(truth[i], abs=4.5 * error)
        needed += 5 * took * (error / (ERROR * share)) ** 2
    ratio = needed / seconds(lambda: forward_pass(inp))
    print(f"events / forward pass, 40 components: {ratio:.0f} (at least {EVENTS:g})")
    assert ratio >= EVENTS
