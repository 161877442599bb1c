"""Cars drawn at random from everything the catalogue allows: each is a whole car, with one of each thing it needs.

Common practice: what no car goes without. The builds are invented, by the shares of the year and with a fixed seed;
details that are rare are drawn more often than they were made, so that odd combinations are met.
"""

from __future__ import annotations

import random
from datetime import date

import pytest

from estimator.catalogue.builds import share_in
from estimator.catalogue.load import load_catalogue
from tests.catalogue.test_whole_car import OPEN_TO_HAND, SHAFT_STEPS, _steps

CATALOGUE = load_catalogue()
QUESTIONS = CATALOGUE.questions
CARS, SEED, LEAST_SHARE = 250, 20, 0.1
FLUID = ("hydropneumatic-spheres", "interconnected-displacer-units")
AT_LEAST_ONE = {
    "gearbox": ("manual-gearbox", "transaxle", "automatic-gearbox-internals"),
    "clutch or converter": ("clutch", "torque-converter"),
    "front springs": ("front-coil-springs-seats", "leaf-springs", "torsion-bars-adjusters", *FLUID),
    "rear springs": ("rear-coil-springs-pads", "leaf-springs", "torsion-bars-adjusters", *FLUID),
    "front dampers": ("telescopic-dampers-front", "strut-cartridges", "lever-arm-dampers", *FLUID),
    "rear dampers": ("telescopic-dampers-rear", "lever-arm-dampers", *FLUID),
    "front friction": ("front-pads-set", "front-shoes-set"),
    "front disc or drum": ("front-discs-pair", "front-drums-pair", "inboard-discs-access"),
    "rear friction": ("rear-pads-set", "rear-shoes-set"),
    "rear disc or drum": ("rear-discs-pair", "rear-drums-pair", "inboard-discs-access"),
    "handbrake": (
        "rear-shoes-set",
        "rear-calipers-handbrake-mechanism",
        "handbrake-pads-separate",
        "transmission-brake",
        "front-handbrake-mechanism",
    ),
    "fuel metering": (
        "carburettor",
        "carburettors-pair-more-balanced",
        "injectors-seals",
        "mechanical-injection-pump",
        "diesel-injection-pump-injectors",
    ),
    "fuel supply": ("mechanical-fuel-pump", "electric-fuel-pump", "diesel-injection-pump-injectors"),
    "ignition or glow": ("contact-points-condenser", "ignition-module-pick-up", "vacuum-pump-glow-plugs"),
    "front pivots": ("kingpins-bushes", "trunnions-threaded-swivels", "lower-ball-joints"),
    "heater": ("heater-matrix", "heat-exchangers"),
    "drive to the wheels": (
        "half-shafts-live-axle",
        "half-shaft-universal-joints",
        "half-shaft-flexible-couplings",
        "constant-velocity-joints-outer",
        "swing-axle-pivots-tubes-gaiters",
    ),
    "way to the axle": (
        "prop-shaft-one-piece",
        "prop-shaft-rear-half",
        "torque-tube-bearings-inner-shaft",
        "transaxle",
    ),
    "what carries it": ("inner-sills-membranes", "chassis-main-rails", "bonded-steel-in-glass-fibre"),
    "wheels": ("steel-wheels", "alloy-wheels", "wire-wheel-spokes-rims"),
}
JUST_ONE = {
    "final drive": ("final-drive-gears", "transaxle"),
    "steering gear": ("steering-box", "steering-rack"),
    "charging": ("dynamo", "alternator-regulator"),
    "valves": ("cylinder-head", "valves-seats-block", "air-cooled-exhaust-valves-heads"),
    "camshaft drive": ("timing-chain-tensioner-guides", "timing-belt-tensioner-idlers", "timing-gears"),
    "cooling": ("radiator", "cooling-tinware-flaps-fan-housing"),
    "brake pressure": ("master-cylinder-single", "master-cylinder-tandem", "high-pressure-brake-supply"),
    "rear wheel bearings": ("rear-wheel-bearings-live-axle", "rear-hub-bearings-independent"),
    "carburettors": ("carburettor", "carburettors-pair-more-balanced", "injectors-seals"),
}


def drawn(rng: random.Random, year: int) -> frozenset[str]:
    """A build with every question answered, the answers of a group by its shares."""
    named: set[str] = set()
    for group in CATALOGUE.groups.values():
        so_far = QUESTIONS.complete(frozenset(named))
        members = CATALOGUE.members[group.id]
        if not QUESTIONS.asked(group, so_far):
            continue
        free = [t for t in members if t != "no-prop-shaft" and not QUESTIONS.excluded[t] & named]
        made = [share_in(CATALOGUE.traits[t], year) for t in free]
        shares = [max(share, LEAST_SHARE) if share else 0.0 for share in made]
        if group.choose == "one":
            if sum(shares):
                named.add(rng.choices(free, shares)[0])
            continue
        for trait, share in zip(free, shares, strict=True):
            if rng.random() < share and not QUESTIONS.excluded[trait] & named:
                named.add(trait)
    return frozenset(named)


def cars() -> list[tuple[int, frozenset[str], frozenset[str]]]:
    """(year, build, parts) of each."""
    rng = random.Random(SEED)
    found = []
    for _ in range(CARS):
        year = rng.randint(1955, 1999)
        build = drawn(rng, year)
        parts = frozenset(c for c in CATALOGUE.components if CATALOGUE.has(c, build, year) > 0)
        found.append((year, build, parts))
    return found


DRAWN = cars()


def test_builds_drawn_are_possible_and_cover_every_trait() -> None:
    """Every trait is met, so every condition of the catalogue was tried both ways."""
    met: set[str] = set()
    for _, build, _ in DRAWN:
        whole = CATALOGUE.complete_traits(build)
        assert not QUESTIONS.clash(whole)
        assert CATALOGUE.open_groups(build) == ()
        met |= whole
    assert set(CATALOGUE.traits) - met == set()


@pytest.mark.parametrize("what", AT_LEAST_ONE)
def test_no_car_goes_without(what: str) -> None:
    known = set(AT_LEAST_ONE[what])
    assert known <= set(CATALOGUE.components)
    assert [(year, sorted(build)) for year, build, parts in DRAWN if not known & parts] == []


@pytest.mark.parametrize("what", JUST_ONE)
def test_no_car_has_two_of(what: str) -> None:
    known = set(JUST_ONE[what])
    assert known <= set(CATALOGUE.components)
    assert [(year, sorted(build)) for year, build, parts in DRAWN if len(known & parts) > 1] == []
    if what != "carburettors":
        assert [(year, sorted(build)) for year, build, parts in DRAWN if not known & parts] == []


FINAL_DRIVES = ("final-drive-gears", "transaxle", "second-final-drive")
SHAFTS_OF_AN_AXLE = (  # each stands for the half shafts of one axle
    {"half-shafts-live-axle"},
    {"half-shaft-universal-joints", "half-shaft-flexible-couplings"},
    {"swing-axle-pivots-tubes-gaiters"},
    {"constant-velocity-joints-outer"},
    {"second-half-shafts"},
)
TO_THE_SECOND_AXLE = ("front-prop-shaft-double-joint", "second-prop-shaft")
FOUR_DRIVEN = [car for car in DRAWN if "four-wheel-drive" in car[1]]


@pytest.mark.parametrize("layout", ["front-engine-rear-drive", "rear-engine", "mid-engine", "front-drive"])
def test_four_wheel_drive_has_both_ends(layout: str) -> None:
    """By hand: a final drive and half shafts in front and behind, a transfer and one shaft that leads to the
    axle the layout does not drive."""
    of_it = [car for car in FOUR_DRIVEN if layout in car[1]]
    assert of_it
    for year, build, parts in of_it:
        here = (year, sorted(build))
        assert len(parts & set(FINAL_DRIVES)) == 2, here
        assert sum(bool(shafts & parts) for shafts in SHAFTS_OF_AN_AXLE) >= 2, here
        assert "transfer-box-chain" in parts, here
        assert len(parts & set(TO_THE_SECOND_AXLE)) == 1, here
        assert ("front-prop-shaft-double-joint" in parts) == (layout == "front-engine-rear-drive"), here


def test_only_four_wheel_drive_has_a_second_axle_to_drive() -> None:
    """By hand."""
    second = {"second-final-drive", "second-half-shafts", *TO_THE_SECOND_AXLE}
    assert second <= set(CATALOGUE.components)
    assert [(y, sorted(b)) for y, b, parts in DRAWN if second & parts and "four-wheel-drive" not in b] == []


LEAST_OF_BEST = 0.25


def test_no_check_is_asked_of_a_car_that_lacks_what_it_is_about() -> None:
    """Of the parts a check speaks for, one that gives the sign a quarter as well as the best is on the car.

    Left out: what also tells of care, presentation, distance or identity, and what opens a place for other checks.
    """
    openers = {check.after for check in CATALOGUE.checks.values()}
    beside = []
    for year, build, parts in DRAWN:
        whole = CATALOGUE.complete_traits(build)
        for check in CATALOGUE.checks.values():
            if not (check.expression.holds(whole) and check.suits(date(year, 6, 1)) and check.links):
                continue
            other = (check.stop, check.care, check.presentation, check.odometer, check.entry)
            if any(other) or check.id in openers:
                continue
            best = max(link.spent for link in check.links)
            here = max((link.spent for link in check.links if link.component in parts), default=0.0)
            if here < LEAST_OF_BEST * best:
                beside.append((check.id, year, sorted(build)))
    assert beside == []


BESIDES = OPEN_TO_HAND | {"aluminium-panels-steel-joints"}  # an open car's panels without doors to take apart
EITHER = (  # never both on one car
    {"prop-shaft-out-one-piece", "prop-shaft-out-two-piece"},
    {"gearbox-out-rear-drive", "gearbox-out-automatic"},
    {"gearbox-out-front-drive", "transaxle-out-rear"},
    {"engine-out-rear-engined-car", "engine-out-alone"},
)


def test_every_part_has_a_way_to_it_and_none_through_what_the_car_lacks() -> None:
    blocked, wrong = set(), set()
    for _, build, parts in DRAWN:
        whole = CATALOGUE.complete_traits(build)
        shaftless = not whole & {
            "one-piece-prop-shaft",
            "two-piece-prop-shaft",
            "torque-tube",
            "four-wheel-drive",
        }
        for part in parts:
            steps = _steps(CATALOGUE.components[part], whole)
            if CATALOGUE.components[part].access and not steps:
                blocked.add(part)
            if (shaftless and steps & SHAFT_STEPS) or any(both <= steps for both in EITHER):
                wrong.add(part)
    assert blocked <= BESIDES
    assert wrong == set()
