"""Parts that spoil others: cars lived event by event, with damage, against the draws.

Tags: second method, by hand, closed form.
"""

from __future__ import annotations

import dataclasses
import random

import numpy as np
import pytest
from scipy.stats import weibull_min

from estimator.case import parse_case
from estimator.catalogue.load import load_catalogue
from estimator.catalogue.records import Damage as DamageRecord
from estimator.catalogue.records import Life
from estimator.evidence.findings import SOUND, SPENT
from estimator.pipeline import prepare
from estimator.simulate import Prospects, draw_conditions, spoilt_share
from tests.cars import SALOON, cut

AGE = 46.0
RATE = 0.35
ATTACKER, VICTIM = "water-pump", "radiator"
B10_B50 = {ATTACKER: (4.0, 9.0), VICTIM: (5.0, 14.0)}
LEFT = {ATTACKER: 3.0, VICTIM: 2.0}
CARS = 12_000


def _own_life(rng: random.Random, part: str) -> float:
    b10, b50 = B10_B50[part]
    shape = np.log(np.log(2) / -np.log(0.9)) / np.log(b50 / b10)
    return rng.weibullvariate(b50 / np.log(2) ** (1 / shape), shape)


def _spoilt_at(rng: random.Random, fitted: float, bad: list[tuple[float, float]]) -> float:
    """When a part fitted then is spoilt: the attacker's spent times run down an exponential allowance."""
    allowance = rng.expovariate(RATE)
    for start, end in bad:
        span = end - max(start, fitted)
        if span > 0:
            if span > allowance:
                return max(start, fitted) + allowance
            allowance -= span
    return np.inf


def _live(rng: random.Random, until: float) -> tuple[bool, bool, list[float]]:
    """One car: attacker and victim spent at AGE, and every life of the victim, whatever ended it."""
    bad, now = [], 0.0
    while now < until:
        failed = now + _own_life(rng, ATTACKER)
        now = failed + rng.expovariate(1 / LEFT[ATTACKER])
        bad.append((failed, now))
    attacker = any(a <= AGE < b for a, b in bad)
    victim, lives, fitted = False, [], 0.0
    while fitted < AGE:
        failed = min(fitted + _own_life(rng, VICTIM), _spoilt_at(rng, fitted, bad))
        lives.append(failed - fitted)
        renewed = failed + rng.expovariate(1 / LEFT[VICTIM])
        victim = victim or failed <= AGE < renewed
        fitted = renewed
    return attacker, victim, lives


@pytest.fixture(scope="module")
def lived():
    rng = random.Random(11)
    cars = [_live(rng, AGE + 60) for _ in range(CARS)]
    lives = np.concatenate([c[2] for c in cars])
    return np.array([c[0] for c in cars]), np.array([c[1] for c in cars]), lives


def two_parts(lives: np.ndarray):
    """A catalogue of the two, the victim's life as a club would measure it: from all causes, damage among them."""
    full = load_catalogue()
    care = full.settings.evidence.care.model_copy(
        update={**dict.fromkeys(("deferral", "life", "repair"), (1.0,) * 3), "precaution": (1e-9,) * 3}
    )
    small = cut(
        full, [ATTACKER, VICTIM], [], evidence__care=care, evidence__life__common_sd=0.01,
        evidence__completeness__outside=(1e-9,) * 3, evidence__for_sale__sale={"private": 0.0},
    )  # fmt: skip
    shape, _, scale = weibull_min.fit(lives, floc=0)
    measured = {ATTACKER: B10_B50[ATTACKER], VICTIM: tuple(weibull_min.ppf((0.1, 0.5), shape, scale=scale))}
    parts = {
        c: p.model_copy(update={
            "life_km": None, "life_years": Life(b10=measured[c][0], b50=measured[c][1]), "own_sd": 0.01,
            "exposure": "none", "layup": 1.0, "deferral_years": LEFT[c], "precaution_rate": 1e-9,
            "replacement_life": 1.0, "variant": (),
            "damages": (DamageRecord(component=VICTIM, rate=RATE),) if c == ATTACKER else (),
        })
        for c, p in small.components.items()
    }  # fmt: skip
    return dataclasses.replace(small, components=parts)


def _spent(prepared, n: int = 40_000) -> tuple[np.ndarray, np.ndarray]:
    """(n,) attacker and victim spent, in the draws that are priced."""
    rng = np.random.default_rng(3)
    drawn = draw_conditions(prepared.grid, prepared.evidence.belief, n=n, rng=rng)
    condition = Prospects.of(prepared).conditions(drawn, slice(0, n), rng)
    index = prepared.car.index
    return condition[:, index[ATTACKER]] == SPENT, condition[:, index[VICTIM]] == SPENT


CAR = SALOON.format(built="1980-05-04", odometer=132_000, sale="private")


def test_cars_lived_with_damage(lived):
    """Second method: how often the victim is spent today, and how much oftener with its attacker spent."""
    attacker, victim, lives = lived
    a, v = _spent(prepare(parse_case(CAR), two_parts(lives)))
    assert a.mean() == pytest.approx(attacker.mean(), abs=0.015)
    assert v.mean() == pytest.approx(victim.mean(), abs=0.02)
    for bad in (True, False):
        assert v[a == bad].mean() == pytest.approx(victim[attacker == bad].mean(), abs=0.03)
    apart = victim[attacker].mean() - victim[~attacker].mean()
    assert apart > 0.1  # that the cars lived show what is to be found


def test_a_new_part_has_not_been_spoilt_by_an_old_fault(lived):
    """By hand: a part on a bill of eleven days ago has had no time to be spoilt, whatever is bad beside it."""
    more = f'\n[[work]]\ndate = 2026-04-23\ncomponent = "{VICTIM}"\nevidence = "invoice"\nfitted = "new"\n'
    catalogue = two_parts(lived[2])
    prepared = prepare(parse_case(CAR + more), catalogue)
    before = prepared.grid.mean(prepared.grid.marginal)[prepared.car.index[VICTIM], SPENT]
    raised = []
    for text in (CAR, CAR + more):
        a, v = _spent(prepare(parse_case(text), catalogue))
        raised.append(v[a].mean() - v.mean())
    assert v.mean() == pytest.approx(before, abs=0.005)
    assert (
        raised[1] < 0.25 * raised[0]
    )  # ages are kept by the quarter of a year, and a bill is believed to 97 %


def test_the_share_spoilt_is_that_of_the_plain_process():
    """Second method: step by step in small steps, and closed forms where nothing is renewed and where all is old."""
    rate, d, v, age = 0.3, 2.0, 1.5, 3.0
    rng = np.random.default_rng(5)
    n, step = 40_000, 0.01
    bad_for = np.minimum(rng.exponential(d, n), age)
    spent = np.zeros(n, bool)
    for k in range(int(age / step)):
        live = bad_for > k * step
        u = rng.random(n)
        spent = np.where(live, np.where(spent, u >= step / v, u < rate * step), spent)
    one = np.ones(1)
    made = spoilt_share(rate, attacker_years=d, victim_years=v, age_weights=one, ages=np.array([age]))
    assert made == pytest.approx(spent.mean(), abs=0.006)
    never = spoilt_share(rate, attacker_years=d, victim_years=1e9, age_weights=one, ages=np.array([1e9]))
    assert never == pytest.approx(rate * d / (1 + rate * d))


def test_the_shipped_damages_leave_the_number_of_needs():
    """By the definition of a life (whatever ended it): before any finding no part needs doing oftener for them.

    A car whose shaft and body style were not said: a part that is on it with a chance only is spoilt with that chance.
    """
    text = CAR.replace('"two-piece-prop-shaft",', "").replace('"closed-body", ', "")
    prepared = prepare(parse_case(text), load_catalogue())
    rng, n = np.random.default_rng(6), 20_000
    drawn = draw_conditions(prepared.grid, prepared.evidence.belief, n=n, rng=rng)
    after = Prospects.of(prepared).conditions(drawn, slice(0, n), rng)
    typical = prepared.book.typical
    before, now = ((c == SPENT) @ typical for c in (drawn.condition, after))
    assert (after != drawn.condition).any()
    assert now.mean() == pytest.approx(before.mean(), rel=0.01)
    assert now.std() > 0.99 * before.std()
    has = prepared.car.has
    assert (has < 1).any()
    fitted = (after != SOUND).mean(axis=0)
    assert (fitted[has < 1] <= has[has < 1] + 0.02).all()
