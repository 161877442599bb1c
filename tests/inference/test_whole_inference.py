"""The whole inference on cars that lived by the model's own story: are its probabilities what they say?

Second method: tests/reference/cars_lived.py, event by event. 300 cars with papers (entries, some of them false;
coverage claimed more complete than it is) and findings are drawn from it and assessed.
"""

from __future__ import annotations

import dataclasses
import itertools
import random

import numpy as np
import pytest

from estimator.assess import assess_fully
from estimator.catalogue.load import load_catalogue
from tests.cars import cut, price_ranges
from tests.reference.bill import first_round
from tests.reference.cars_lived import CARE, false_paper_rates, live

CARS = 300
PARTS = [
    "water-pump", "radiator", "coolant-hoses", "thermostat-housing", "fan-belts", "clutch",
    "crankshaft-rear-oil-seal", "gearbox-mounting", "flexible-coupling-front", "flexible-coupling-rear",
    "centre-bearing", "centre-bearing-rubber-mount", "universal-joint-centre", "pinion-oil-seal", "tyres-set",
    "brake-hoses-flexible-set", "rear-wheel-cylinders-pair", "front-calipers-pair", "steering-box",
    "silencers-pipes", "battery", "starter-motor-solenoid", "front-wishbone-bushes-inner", "carburettor",
]  # fmt: skip


def two_dozen(**settings):
    """Two dozen parts, the checks that speak about them alone, and a few about care and presentation.

    The for-sale effect, the odometer's stories and the rust that parts share are left out: the cars here do not
    live by them. settings : figures replaced by path, as in tests.cars.cut.
    """
    full = load_catalogue()
    parts = [p for p in PARTS if p in full.components]
    kept = set(parts)
    checks = []
    for check in full.checks.values():
        linked = sum(link.component in kept for link in check.links)
        factors = sum(f is not None for f in (check.care, check.presentation, check.odometer))
        if check.stop or check.reading or check.entry or check.odometer is not None:
            continue
        if (linked and not factors and linked >= 2) or (not check.links and factors == 1):
            checks.append(check.id)
    rng = random.Random(7)
    rng.shuffle(checks)
    full = cut(
        full,
        parts,
        checks[:45],
        evidence__rust__odds=(1.0, 1.0, 1.0),
        evidence__for_sale__sale={**full.settings.evidence.for_sale.sale, "trader": 0.0},
        evidence__completeness__trader=full.settings.evidence.completeness.owner,
        evidence__odometer__tampered_home=0.0,
        evidence__odometer__floor=0.2,
        **settings,
    )
    trimmed = {
        cid: check.model_copy(update={"links": tuple(x for x in check.links if x.component in kept)})
        for cid, check in full.checks.items()
    }
    return dataclasses.replace(full, checks=trimmed)


@pytest.fixture(scope="module")
def catalogue():
    """At the values at which the story of these cars is the model's own; the shipped ones: test_shipped_values.py."""
    return two_dozen(
        evidence__life__history_weight=1.0,  # in this story parts' histories are independent given what they share
        evidence__care__papers=(0.5, 0.5, 0.5),  # ... and every car has its papers, whoever kept it
    )


@pytest.fixture(scope="module")
def outcomes(catalogue):
    """(P(spent), truth) pairs, care posteriors, life posteriors, P80 hits, of 300 cars."""
    rng = random.Random(20261124)
    rates = false_paper_rates(catalogue, rng)
    levels = catalogue.settings.prices.scarcity_spread.levels
    money = np.random.default_rng(5)
    said, true, care, life, hits, completeness = [], [], [], [], [], []
    for _ in range(CARS):
        lived = live(catalogue, rng, false_rate=rates, sale="trader")
        result = assess_fully(lived.case, catalogue, draws=2000, workers=1)
        assessed, parts = result.assessment, result.prepared.car.parts
        book, ranges = result.prepared.book, price_ranges(result.prepared.car)
        for c in assessed.components:
            said.append(c.p_spent)
            true.append(lived.condition[c.id] == 0)
        care.append((*(assessed.grid["care"][k] for k in CARE), lived.care))
        life.append((assessed.grid["life"]["mean"], assessed.grid["life"]["sd"], lived.life))
        completeness.append((*assessed.grid["completeness"].values(), lived.completeness))
        spent = {i for i, p in enumerate(parts) if lived.condition[p.id] == 0}
        worn = {i for i, p in enumerate(parts) if lived.condition[p.id] == 1}
        paid = first_round(book, ranges, spent=spent, worn=worn, levels=levels, rng=money)
        hits.append(paid <= assessed.total.now.p80)
    return {
        "said": np.array(said), "true": np.array(true, float), "care": np.array(care),
        "life": np.array(life), "hits": np.array(hits), "completeness": np.array(completeness),
    }  # fmt: skip


@pytest.mark.slow
def test_probabilities_are_what_they_say(outcomes):
    """P(spent) in ten bins against the observed share, within 3 standard errors."""
    said, true = outcomes["said"], outcomes["true"]
    edges = np.quantile(said, np.linspace(0, 1, 11))
    edges[-1] += 1e-9
    for low, high in itertools.pairwise(edges):
        inside = (said >= low) & (said < high)
        expected, seen = said[inside].mean(), true[inside].mean()
        error = np.sqrt((said[inside] * (1 - said[inside])).sum()) / inside.sum()
        assert abs(seen - expected) <= 3 * error + 0.003, (
            f"{low:.3f}-{high:.3f}: {expected:.4f} against {seen:.4f}"
        )


@pytest.mark.slow
def test_the_total_is_as_uncertain_as_it_says(outcomes):
    """Four cars in five cost no more than their P80 (within 7 points)."""
    assert outcomes["hits"].mean() == pytest.approx(0.80, abs=0.07)


@pytest.mark.slow
@pytest.mark.parametrize("level", range(3))
def test_care_is_calibrated(outcomes, level):
    """Mean posterior of each level of care against how often it was true, within 3 standard errors."""
    said, true = outcomes["care"][:, level], outcomes["care"][:, 3] == level
    error = np.sqrt((said * (1 - said)).sum()) / said.size
    assert abs(said.mean() - true.mean()) <= 3 * error + 0.005


@pytest.mark.slow
def test_life_is_calibrated(outcomes):
    """The common log life: standardised error has mean 0 and sd 1, and 80 % intervals hold 80 +- 7 %."""
    mean, sd, true = outcomes["life"].T
    z = (true - mean) / sd
    assert abs(z.mean()) <= 3 / np.sqrt(z.size)
    assert z.std() == pytest.approx(1.0, abs=0.15)
    assert (np.abs(z) <= 1.2816).mean() == pytest.approx(0.80, abs=0.07)


@pytest.mark.slow
def test_findings_and_papers_teach_something(outcomes):
    """The posterior of care beats its prior on the log score, and life's is narrower than its prior."""
    care = outcomes["care"]
    chosen = care[np.arange(len(care)), care[:, 3].astype(int)]
    prior = np.array([0.3, 0.5, 0.2])[care[:, 3].astype(int)]
    assert np.log(chosen).mean() > np.log(prior).mean() + 0.05
    assert outcomes["life"][:, 1].mean() < 0.23
