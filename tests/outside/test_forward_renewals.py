"""Lives drawn one after another against published renewal functions, aged parts, and a field record."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from estimator.wear.life import Lives
from estimator.wear.lived_on import need_times, renewals_after
from estimator.wear.renewal import expected_renewals

DATA = Path(__file__).parent / "data"
N = 60_000


def one_clock(shape: float, scale: float = 1.0) -> Lives:
    return Lives([1.0], [np.inf], [shape], [scale], [0.1])


def counts(shape: float, until: float, *, seed: int = 0) -> np.ndarray:
    """Renewals of N parts, new at 0, up to `until`."""
    nothing = np.zeros(N, np.intp)
    draw, _, _ = renewals_after(
        np.arange(N), nothing, np.zeros(N), one_clock(shape), km_rate=np.zeros(1), years_rate=np.ones(1),
        factor=np.ones(N), until=until, rng=np.random.default_rng(seed),
    )  # fmt: skip
    return np.bincount(draw, minlength=N)


@pytest.mark.parametrize(
    ("shape", "at_one", "at_two"),
    [
        (0.5, 1.307984264, 2.047613595), (1.0, 1.0, 2.0), (1.5, 0.841578137, 1.945500800),
        (2.0, 0.753691278, 1.894039347), (3.0, 0.672329100, 1.801075257),
    ],
)  # fmt: skip
def test_weibull_renewal_function(shape, at_one, at_two):
    """Published method: Smith & Leadbetter, Technometrics 1963, series to 9 digits; within four standard errors."""
    for until, expected in ((1.0, at_one), (2.0, at_two)):
        found = counts(shape, until)
        assert found.mean() == pytest.approx(expected, abs=4 * found.std() / np.sqrt(N))


def test_the_whole_renewal_table():
    """The same series, every time and shape of the table, for the forward run that expects instead of drawing."""
    with (DATA / "weibull_renewal_function.csv").open() as stream:
        rows = [
            (float(r["shape"]), float(r["t_over_eta"]), float(r["M_series"])) for r in csv.DictReader(stream)
        ]
    for shape in (1.5, 2.0, 3.0):
        nodes = np.linspace(0, 3, 241)
        total = np.cumsum(
            expected_renewals(
                nodes_years=nodes, lives=one_clock(shape), years_clock=nodes, km_clock=nodes * 0
            )[0]
        )
        for _, t, expected in (r for r in rows if r[0] == shape and r[1] <= 3):
            assert np.interp(t, nodes[1:], total) == pytest.approx(expected, rel=0.01, abs=0.002)


@pytest.mark.parametrize(
    ("age", "ahead", "expected", "at_least_one"),
    [(0.5, 1.0, 1.15158655, None), (1.0, 0.5, 0.78157676, 0.71349520), (1.0, 1.0, 1.34388916, 0.95021293)],
)
def test_part_already_aged(age, ahead, expected, at_least_one):
    """Second method (delayed renewal equation, 8 digits): shape 2, alive at that age."""
    rng = np.random.default_rng(7)
    part, rates = np.zeros(N, np.intp), {"km_rate": np.zeros(1), "years_rate": np.ones(1)}
    first = need_times(
        rng.exponential(size=N), part, one_clock(2.0), factor=np.ones(N), used_years=age, **rates
    )
    inside = np.flatnonzero(first < ahead)
    draw, _, _ = renewals_after(
        inside, part[inside], first[inside], one_clock(2.0), factor=np.ones(inside.size), until=ahead, rng=rng,
        **rates,
    )  # fmt: skip
    found = np.bincount(np.concatenate([inside, draw]), minlength=N)
    assert found.mean() == pytest.approx(expected, abs=4 * found.std() / np.sqrt(N))
    if at_least_one is not None:
        assert (found > 0).mean() == pytest.approx(at_least_one, abs=0.006)


def test_two_clocks_decide_by_the_earlier():
    """Second method (numerical integration): shapes 1.5 (18 y) and 3 (90,000 km at 4,000 a year): mean 12.595132 y."""
    lives = Lives([3.0], [90_000.0], [1.5], [18.0], [0.1])
    rng = np.random.default_rng(2)
    times = need_times(
        rng.exponential(size=N), np.zeros(N, np.intp), lives, km_rate=np.array([4000.0]), years_rate=np.ones(1),
        factor=np.ones(N),
    )  # fmt: skip
    assert times.mean() == pytest.approx(12.595132, abs=4 * times.std() / np.sqrt(N))
    still = need_times(
        np.ones(1),
        np.zeros(1, np.intp),
        lives,
        km_rate=np.zeros(1),
        years_rate=np.zeros(1),
        factor=np.ones(1),
    )
    assert np.isinf(still).all()


def test_valve_seats_within_their_band():
    """Published: 41 diesel engines, 48 valve-seat replacements (Nelson, Technometrics 37, 1995), mean cumulative
    function 1.542688 at 653 days. Sixteen seats an engine, each renewed as it fails, of one Weibull life fitted to
    the counts (maximum likelihood of the superposed failures), give an expected number that stays inside the
    field's own 95 % band (engines drawn again 2,000 times) at every fifty days from 150 on."""
    table = pd.read_csv(DATA / "valve_seats_nelson1995.csv")
    printed = pd.read_csv(DATA / "valve_seats_mcf.csv")
    assert printed.MCF.iloc[-1] == pytest.approx(1.542688, abs=5e-7)
    engines = [(g.time[g.status == 1].to_numpy(float), float(g.time.max())) for _, g in table.groupby("id")]
    assert (len(engines), sum(e[0].size for e in engines)) == (41, 48)
    ends = np.array([end for _, end in engines])
    logs = np.concatenate([np.log(events) for events, _ in engines])
    # power-law intensity 16 (t / eta)^shape: score equations, shape by bisection
    low, high = 0.3, 6.0
    for _ in range(80):
        shape = (low + high) / 2
        slope = (
            logs.size / shape
            + logs.sum()
            - logs.size * (ends**shape * np.log(ends)).sum() / (ends**shape).sum()
        )
        low, high = (shape, high) if slope > 0 else (low, shape)
    eta = (16 * (ends**shape).sum() / logs.size) ** (1 / shape)
    nodes = np.linspace(0, 660, 331)
    run = expected_renewals(
        nodes_years=nodes, lives=one_clock(shape, eta), years_clock=nodes, km_clock=nodes * 0
    )[0]
    model = 16 * np.cumsum(run)
    at = np.arange(150, 651, 50)
    rng = np.random.default_rng(1)
    seen = np.array([[(events <= t).sum() for t in at] for events, _ in engines])
    watched = ends[:, None] >= at
    drawn = []
    for _ in range(2000):
        pick = rng.integers(0, 41, 41)
        drawn.append(_mcf([engines[i] for i in pick], at))
    band = np.quantile(drawn, [0.025, 0.975], axis=0)
    found = np.interp(at, nodes[1:], model)
    assert (watched.sum(axis=0) > 0).all()
    assert seen.max() > 1
    assert ((band[0] <= found) & (found <= band[1])).all()


def _mcf(engines, at) -> np.ndarray:
    """Mean cumulative function (Nelson): sum of events over engines still watched."""
    ends = np.sort([end for _, end in engines])
    times = np.sort(np.concatenate([events for events, _ in engines]))
    watched = ends.size - np.searchsorted(ends, times, side="left")
    steps = np.cumsum(1 / np.maximum(watched, 1))
    return np.concatenate([[0.0], steps])[np.searchsorted(times, at, side="right")]
