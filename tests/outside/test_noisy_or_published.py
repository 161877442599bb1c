"""The noisy-OR solver against published networks and another library.

`data/noisy_or_networks.json` holds two invented networks and their exact answers as computed
by enumeration, inclusion and exclusion and two libraries, agreeing to 1e-14 (second method).
"""

from __future__ import annotations

import json
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from estimator.evidence.noisy_or import NoisyOr
from tests.evidence.networks import Case, pair_counts, pairs_by_conditioning

NETWORKS = json.loads((Path(__file__).parent / "data" / "noisy_or_networks.json").read_text("utf-8"))


def two_conditions(prior, link) -> tuple[np.ndarray, np.ndarray]:
    """(C,) chances of spent and (F, C) links as prior (C, 2) and sensitivity (F, C, 2)."""
    prior, link = np.asarray(prior, float), np.asarray(link, float)
    return np.stack([prior, 1 - prior], axis=1), np.stack([link, np.zeros_like(link)], axis=2)


def case_of(name: str) -> Case:
    stated = NETWORKS[name]["net"]
    prior, sensitivity = two_conditions(stated["prior"], stated["link"])
    seen = np.array([-1.0 if e is None else e for e in stated["evidence"]])
    return Case(prior, sensitivity, np.array(stated["leak"]), seen)


@pytest.mark.parametrize("name", NETWORKS)
def test_evidence_marginals_and_pairs_of_the_stored_networks(name):
    """Second method: see the module's docstring."""
    case, exact = case_of(name), NETWORKS[name]["exact"]

    found = case.net.posterior(case.findings)

    assert np.exp(found.log_evidence) == pytest.approx(exact["p_evidence"], rel=1e-9)
    np.testing.assert_allclose(found.marginal[:, 0], exact["marginal"], rtol=0, atol=1e-9)
    pair = pairs_by_conditioning(case)[:, 0, :, 0]
    np.testing.assert_allclose(pair, exact["pair"], rtol=0, atol=1e-9)


def test_the_figures_printed_for_the_small_network():
    """Second method, printed to ten digits; explaining away makes the pair rarer than the product."""
    case = case_of("A_4x3")

    marginal = case.net.posterior(case.findings).marginal[:, 0]

    np.testing.assert_allclose(
        marginal, [0.1212882904, 0.6013651152, 0.3551590569, 0.278233573], rtol=0, atol=5e-10
    )
    pair = pairs_by_conditioning(case)[0, 0, 1, 0]
    assert pair == pytest.approx(0.02244808, abs=5e-9)
    assert marginal[0] * marginal[1] == pytest.approx(0.0729, abs=5e-5)


@pytest.mark.parametrize("name", NETWORKS)
def test_drawn_pairs_of_the_stored_networks(name):
    """Second method, within five standard errors of 50,000 draws."""
    case, n = case_of(name), 50_000
    exact = np.array(NETWORKS[name]["exact"]["pair"])

    draws = case.net.sample(case.findings, n, np.random.default_rng(0))

    error = np.sqrt(exact * (1 - exact) / n)
    assert (np.abs(pair_counts(draws, 2)[:, 0, :, 0] - exact) / error).max() < 5


def test_most_probable_explanation_of_the_stored_networks_is_drawn_that_often():
    """Second method: probability of the most probable whole configuration."""
    n = 50_000
    for name, stored in NETWORKS.items():
        case, exact = case_of(name), stored["exact"]
        draws = case.net.sample(case.findings, n, np.random.default_rng(1))
        share = (draws == 1 - np.array(exact["map_state"])).all(axis=1).mean()
        assert share == pytest.approx(exact["map_prob"], abs=5 * np.sqrt(0.25 / n))


def test_predictive_probability_of_a_finding_not_made():
    """Second method: P(next finding | findings) is a ratio of two evidences."""
    case, exact = case_of("B_8x5"), NETWORKS["B_8x5"]["exact"]["predictive"]
    more = case.findings.copy()
    more[3] = 1.0

    ratio = case.net.posterior(more).log_evidence - case.net.posterior(case.findings).log_evidence

    assert np.exp(ratio) == pytest.approx(exact[3], abs=1e-9)


@pytest.mark.parametrize(
    ("cold", "flu", "malaria", "no_fever"),
    [(c, f, m, 0.6**c * 0.2**f * 0.1**m) for c, f, m in product((0, 1), repeat=3)],
)
def test_fever_table(cold, flu, malaria, no_fever):
    """From memory: Russell & Norvig, *Artificial Intelligence: A Modern Approach*, the noisy-OR
    table with inhibitions cold .6, flu .2, malaria .1; all three leave .012 without fever."""
    prior, sensitivity = two_conditions([cold, flu, malaria], [[0.4, 0.8, 0.9]])
    net = NoisyOr(prior, sensitivity, [0.0])
    if no_fever < 1:
        assert np.exp(net.posterior([1.0]).log_evidence) == pytest.approx(1 - no_fever, abs=1e-12)
    assert np.exp(net.posterior([0.0]).log_evidence) == pytest.approx(no_fever, abs=1e-12)
    if (cold, flu, malaria) == (1, 1, 1):
        assert no_fever == pytest.approx(0.012, abs=1e-12)


def joint_component(chance_of_state: dict) -> tuple[np.ndarray, list]:
    """One component whose conditions are the joint states of several variables."""
    states = list(chance_of_state)
    return np.array([[chance_of_state[s] for s in states]]), states


def test_burglary_and_alarm():
    """Published: Pearl 1988; Russell & Norvig, the alarm network: P(burglary | both call) = .284
    (four digits recalled, ten recomputed by enumeration). Burglary, earthquake and alarm together
    are one component of eight conditions, the calls two findings."""
    alarm = {(1, 1): 0.95, (1, 0): 0.94, (0, 1): 0.29, (0, 0): 0.001}
    chance = {}
    for b, e, a in product((0, 1), repeat=3):
        rings = alarm[b, e] if a else 1 - alarm[b, e]
        chance[b, e, a] = (0.001 if b else 0.999) * (0.002 if e else 0.998) * rings
    prior, states = joint_component(chance)
    calls = np.array(
        [[[0.9 if a else 0.05 for _, _, a in states]], [[0.7 if a else 0.01 for _, _, a in states]]]
    )

    marginal = NoisyOr(prior, calls, [0.0, 0.0]).posterior([1.0, 1.0]).marginal[0]

    burglary = sum(p for p, (b, _, _) in zip(marginal, states, strict=True) if b)
    assert burglary == pytest.approx(0.2841718354, abs=1e-10)


def test_asia():
    """Published: Lauritzen & Spiegelhalter, J. Royal Statistical Society B 50, 1988, the chest
    clinic; given dyspnoea: tuberculosis .018845, lung cancer .102759, bronchitis .833967."""
    chance = {}
    for visit, smoker, tub, lung, bron in product((0, 1), repeat=5):
        p_tub, p_lung, p_bron = (0.05, 0.01)[1 - visit], (0.01, 0.1)[smoker], (0.3, 0.6)[smoker]
        weight = (0.01 if visit else 0.99) * 0.5
        for happens, p in ((tub, p_tub), (lung, p_lung), (bron, p_bron)):
            weight *= p if happens else 1 - p
        chance[tub, lung, bron] = chance.get((tub, lung, bron), 0.0) + weight
    prior, states = joint_component(chance)
    dyspnoea = {(1, 1): 0.9, (1, 0): 0.7, (0, 1): 0.8, (0, 0): 0.1}  # (tub or lung, bronchitis)
    sensitivity = np.array([[[dyspnoea[t | lung, b] for t, lung, b in states]]])

    marginal = NoisyOr(prior, sensitivity, [0.0]).posterior([1.0]).marginal[0]

    given = [sum(p for p, s in zip(marginal, states, strict=True) if s[i]) for i in range(3)]
    np.testing.assert_allclose(given, [0.018845, 0.102759, 0.833967], rtol=0, atol=5e-7)


@pytest.mark.parametrize("seed", range(6))
def test_random_networks_agree_with_pyagrum(seed):
    """Second method: pyAgrum's lazy propagation. Our leak is one more independent cause, which there
    is addNoisyORNet (addNoisyORCompound means another leak); soft findings are likelihoods there."""
    gum = pytest.importorskip("pyagrum", reason="pyagrum (extra: oracles) is not installed")
    rng = np.random.default_rng(seed)
    links = rng.random((7, 10)) * (rng.random((7, 10)) < 0.4)
    prior, sensitivity = two_conditions(rng.uniform(0.02, 0.5, 10), links)
    leak, seen = rng.uniform(0.01, 0.3, 7), rng.choice([-1.0, 0.0, 1.0, 0.25, 0.9], 7)
    net = gum.BayesNet()
    causes = [net.add(gum.LabelizedVariable(f"c{i}", "", 2)) for i in range(10)]
    for cause, chance in zip(causes, prior, strict=True):
        net.cpt(cause).fillWith([chance[1], chance[0]])
    for f in range(7):
        finding = net.addNoisyORNet(gum.LabelizedVariable(f"f{f}", "", 2), float(leak[f]))
        for i in np.flatnonzero(links[f]):
            net.addWeightedArc(causes[i], finding, float(links[f, i]))
    engine = gum.LazyPropagation(net)
    engine.setEvidence({f"f{f}": [1 - q, q] for f, q in enumerate(seen) if q >= 0})
    engine.makeInference()

    found = NoisyOr(prior, sensitivity, leak).posterior(seen)

    theirs = [engine.posterior(f"c{i}")[1] for i in range(10)]
    np.testing.assert_allclose(found.marginal[:, 0], theirs, rtol=0, atol=1e-9)
    assert np.exp(found.log_evidence) == pytest.approx(engine.evidenceProbability(), rel=1e-9)
