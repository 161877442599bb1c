"""Rules of thumb of the trade about the driveline of large old cars, held against the shipped catalogue.

All are common practice, without a source: what people who do this work say. The price rule was at hand when
the prices were set, so it shows that believable prices can meet it, not that they are right.
"""

from __future__ import annotations

import math

import pytest

from estimator.catalogue.expressions import parse_expression
from estimator.catalogue.load import load_catalogue
from estimator.catalogue.records import Component, Remedy, StepUse
from estimator.wear.life import weibull_from_quantiles

CATALOGUE = load_catalogue()
TRAITS = """
monocoque front-engine-rear-drive six-cylinder overhead-cam timing-chain carburettor contact-breaker
alternator manual-gearbox two-piece-prop-shaft flexible-couplings independent-rear strut-front disc-front
dual-circuit
"""
CAR = CATALOGUE.complete_traits(frozenset(TRAITS.split()))
# What a complete overhaul consists of, and how each is put right: (component, kind of remedy).
RUBBER = [
    ("flexible-coupling-front", "new"),
    ("flexible-coupling-rear", "new"),
    ("centre-bearing-rubber-mount", "new"),
    ("dust-boot-sliding-joint", "new"),
]
SPECIALIST = [
    ("universal-joint-centre", "rebuilt"),
    ("shaft-ends-out-true", "repair"),
    ("prop-shaft-rear-half", "repair"),  # straightened as needed and the whole shaft balanced
]
SMALL = [
    ("centre-bearing", "new"),
    ("centring-bush-pilot-front", "new"),
    ("centring-bush-pilot-rear", "new"),
    ("flexible-coupling-bolts-self-locking-nuts", "new"),
]
EVERYTHING = RUBBER + SPECIALIST + SMALL


def pert_mean(low: float, likely: float, high: float) -> float:
    """Closed form: mean of a PERT distribution."""
    return (low + 4 * likely + high) / 6


def remedy(component: str, kind: str) -> Remedy:
    return next(r for r in CATALOGUE.components[component].remedy if r.kind == kind)


def parts(jobs: list[tuple[str, str]]) -> float:
    """Expected price of parts and consumables, GBP of the price year before tax."""
    return sum(
        pert_mean(*remedy(*job).price) + pert_mean(*CATALOGUE.components[job[0]].consumables) for job in jobs
    )


def specialist(jobs: list[tuple[str, str]]) -> float:
    return sum(pert_mean(*remedy(*job).specialist) for job in jobs)


def in_2020_with_tax(amount: float) -> float:
    prices = CATALOGUE.settings.prices
    level = prices.index.level[prices.index.years.index(2020)]
    return amount * (1 + prices.currency["GBP"].tax) * level


def union_of_steps(jobs: list[tuple[str, str]]) -> set[str]:
    found: set[str] = set()
    waiting: list[StepUse] = [use for component, _ in jobs for use in CATALOGUE.components[component].access]
    while waiting:
        use = waiting.pop()
        step = CATALOGUE.steps[use.step]
        if _holds(use.when) and _holds(step.when) and step.id not in found:
            found.add(step.id)
            waiting += step.after
    return found


def _holds(when: str) -> bool:
    return parse_expression(when).holds(CAR)


def workshop_hours() -> float:
    """Expected trade hours: strip-down once, and each part's own."""
    strip = sum(pert_mean(*CATALOGUE.steps[step].hours) for step in union_of_steps(EVERYTHING))
    own = 0.0
    for component, kind in EVERYTHING:
        hours = remedy(component, kind).hours
        own += pert_mean(*(CATALOGUE.components[component].hours if hours is None else hours))
    return strip + own


def disturbed() -> float:
    """Expected price of gaskets, bolts and hangers that must be new because they were undone."""
    steps = [CATALOGUE.steps[step] for step in union_of_steps(EVERYTHING)]
    return sum(pert_mean(*item.price) for step in steps for item in step.disturbs)


def test_overhaul_of_a_two_piece_shaft_taken_off_by_the_owner() -> None:
    """About 1,000 GBP of 2020 (700 to 1,300): parts and specialist, tax included, no labour at the car."""
    parts_and_work = parts(EVERYTHING) + specialist(EVERYTHING)
    assert 700 <= in_2020_with_tax(parts_and_work) <= 1300
    assert specialist(SPECIALIST) / parts_and_work > 0.6  # "well over half"
    assert parts(RUBBER) / parts_and_work < 1 / 6


def test_overhaul_of_a_two_piece_shaft_by_a_workshop() -> None:
    """The same with a jobbing garage's labour, what was disturbed, and tax: specialist still over half."""
    rate = CATALOGUE.settings.prices.currency["GBP"].labour_rate[0]
    bill = parts(EVERYTHING) + specialist(EVERYTHING) + rate * workshop_hours() + disturbed()
    assert 700 <= in_2020_with_tax(bill) <= 1300
    assert specialist(SPECIALIST) / bill > 0.5
    assert parts(RUBBER) / bill < 1 / 6


def test_everything_of_the_overhaul_is_on_one_car() -> None:
    for component, _ in EVERYTHING:
        assert CATALOGUE.has(component, CAR, 1974) == 1.0


LIFT = ("on-a-lift", "small-things-off", "laboratory")


@pytest.mark.parametrize("component", [job[0] for job in EVERYTHING])
def test_none_of_it_can_be_judged_without_a_lift(component: str) -> None:
    """A look or feel before the lift finds a spent one less often than not; a vibration names no part."""
    judged = {"look", "feel", "measure"}
    for check in CATALOGUE.checks.values():
        for link in check.links:
            alone = len(check.links) <= 3
            if link.component == component and check.station not in LIFT and check.kind in judged:
                assert link.spent <= 0.5
                assert not alone


def test_the_joint_can_only_be_judged_with_the_shaft_out() -> None:
    """With the shaft fitted every check misses a spent one more often than not; on the bench it shows."""
    best: dict[str, float] = {}
    for check in CATALOGUE.checks.values():
        for link in check.links:
            if link.component == "universal-joint-centre":
                best[check.station] = max(best.get(check.station, 0.0), link.spent)
    assert max(found for station, found in best.items() if station != "small-things-off") < 0.5
    assert best["small-things-off"] > 0.85
    assert CATALOGUE.components["universal-joint-centre"].hidden_reason


def _survives(component: Component, *, years: float = 0.0, km: float = 0.0) -> float:
    hazard = 0.0
    for life, used in ((component.life_years, years), (component.life_km, km)):
        if life is not None and used:
            shape, scale = weibull_from_quantiles(life.b10, life.b50)
            hazard += (used / float(scale)) ** float(shape)
    return math.exp(-hazard)


@pytest.mark.parametrize("component", ["flexible-coupling-front", "flexible-coupling-rear"])
def test_rubber_couplings_are_hard_and_cracked_by_forty_years(component: str) -> None:
    """Never renewed, at any distance: at none at all nine in ten are spent, and hardly one is sound."""
    part = CATALOGUE.components[component]
    assert _survives(part, years=40) < 0.1
    assert _survives(part, years=40 / (1 - part.warning_share)) < 0.02


def test_the_small_dust_boot_is_more_often_missing_than_not() -> None:
    """Closed form: in the long run a part is spent D/(L+D) of the time, here on the years clock alone."""
    boot = CATALOGUE.components["dust-boot-sliding-joint"]
    assert boot.life_years is not None
    shape, scale = weibull_from_quantiles(boot.life_years.b10, boot.life_years.b50)
    mean_life_years = float(scale) * math.gamma(1 + 1 / float(shape))
    assert boot.deferral_years / (mean_life_years + boot.deferral_years) > 0.5


def test_a_universal_joint_can_last_250_000_miles() -> None:
    """It happens, and is no rule: one in a hundred to one in five."""
    reached = _survives(CATALOGUE.components["universal-joint-centre"], km=250_000 * 1.609344)
    assert 0.01 <= reached <= 0.2


def test_a_detent_in_the_joint_is_what_the_bench_check_looks_for() -> None:
    check = CATALOGUE.checks["prop-shaft-out"]
    assert any(word in check.do.lower() for word in ("notch", "detent", "catch"))
    assert check.station == "small-things-off"


def test_coupling_bolts_are_tightened_to_the_makers_figure() -> None:
    """45 Nm (M10), 65 Nm (M12) in makers' data, below the table for 8.8: the card says whose rules."""
    card = " ".join(CATALOGUE.components["flexible-coupling-bolts-self-locking-nuts"].card).lower()
    assert "maker" in card
