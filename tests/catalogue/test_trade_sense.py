"""What a strict mechanic would say first of a catalogue: cautions where the hand goes, no part on the wrong car.

Common practice throughout: how cars are built and how people get hurt on them, by no book in particular.
"""

from __future__ import annotations

import pytest

from estimator.catalogue.expressions import both, parse_expression
from estimator.catalogue.load import load_catalogue
from estimator.catalogue.records import AccessStep, Check, Component

CATALOGUE = load_catalogue()
CHECKS = CATALOGUE.checks
QUESTIONS = CATALOGUE.questions
PAID = ("laboratory",)  # made by people whose trade it is, where they do it
NEEDED = {  # condition of a check -> one of these cautions goes with it
    "lift": {"under-car"},
    "jack": {"under-car"},
    "drive": {"road-test"},
    "running": {
        "moving-parts",
        "carbon-monoxide",
        "road-test",
        "brakes",
        "hydropneumatic-pressure",
    },
    "hot": {"moving-parts", "hot-coolant", "hot-parts", "road-test", "electric-shock", "carbon-monoxide"},
}


@pytest.mark.parametrize("condition", NEEDED)
def test_a_check_carries_the_caution_of_the_place_it_is_made_in(condition: str) -> None:
    bare = [
        check.id
        for check in CHECKS.values()
        if condition in check.needs
        and check.station not in PAID
        and check.station != "before-you-go"
        and not NEEDED[condition] & set(check.cautions)
    ]
    assert bare == []


def test_linings_are_never_looked_at_without_the_word_on_asbestos() -> None:
    shoes = {"front-shoes-set", "rear-shoes-set", "handbrake-shoes-inside-disc", "transmission-brake"}
    bare = [
        check.id
        for check in CHECKS.values()
        if check.station in ("small-things-off", "one-wheel-at-a-time")
        and "brakes" in check.cautions
        and shoes & {link.component for link in check.links}
        and "asbestos" not in check.cautions
    ]
    assert bare == []


@pytest.mark.parametrize(
    ("caution", "build"),
    [
        ("hot-coolant", "air-cooled"),
        ("airbag", "dynamo"),
        ("handbrake-on-the-shaft", "front-drive"),
        ("hydropneumatic-pressure", "leaf-springs"),
    ],
)
def test_no_caution_for_what_the_car_has_not(caution: str, build: str) -> None:
    """Only of parts and checks that such cars alone have."""
    only = parse_expression(build)
    wrong = [
        record.id
        for records in (CATALOGUE.components, CHECKS)
        for record in records.values()
        if caution in record.cautions and QUESTIONS.implies(record.expression, only)
    ]
    assert wrong == []


def linked(check: Check, traits: str) -> set[str]:
    """Parts a check informs on cars of this build."""
    build = parse_expression(traits)
    return {
        link.component
        for link in check.links
        if QUESTIONS.can_hold(
            both((check.expression, build, CATALOGUE.components[link.component].expression))
        )
    }


@pytest.mark.parametrize("check", ["full-lock-both-ways-slowly", "behind-front-wheels-boots-hoses"])
def test_steering_the_front_wheels_tells_nothing_of_joints_in_the_rear_half_shafts(check: str) -> None:
    joints = {"constant-velocity-joints-outer", "constant-velocity-boots"}
    assert not linked(CHECKS[check], "front-engine-rear-drive,cv-half-shafts") & joints


def test_oil_at_the_tail_of_the_gearbox_is_the_output_seal() -> None:
    tail = {link.component: link.spent for link in CHECKS["gearbox-tail-wet"].links}
    assert tail["gearbox-output-seal"] == max(tail.values())


CANNOT = {  # part -> builds that cannot have it
    "crank-pulley-damper": ("air-cooled",),
    "front-wishbone-bushes-inner": ("beam-front-axle", "rear-engine,torsion-bars"),
    "front-coil-springs-seats": ("beam-front-axle,leaf-springs", "hydropneumatic"),
    "rear-subframe-mounts": ("live-axle", "rear-engine,!subframes"),
    "lower-ball-joints": ("kingpins", "trunnions"),
    "handbrake-shoes-inside-disc": ("drum-rear", "transmission-handbrake", "handbrake-front"),
    "petrol-burning-heater": ("!petrol-heater",),
    "transmission-brake": ("front-drive", "rear-engine", "handbrake-rear"),
    "overdrive-unit": ("front-drive", "rear-engine", "automatic"),
    "brake-fluid": ("hydropneumatic",),
    "distributor": ("diesel",),
    "automatic-cooler-pipes": ("air-cooled",),
}


@pytest.mark.parametrize("part", CANNOT)
def test_a_part_is_on_no_car_that_cannot_have_it(part: str) -> None:
    has = CATALOGUE.components[part].expression
    assert QUESTIONS.can_hold(has)
    for build in CANNOT[part]:
        assert QUESTIONS.can_hold(parse_expression(build))
        assert not QUESTIONS.can_hold(both((has, parse_expression(build)))), build


CAUTIONED = {  # what a part's name or a card speaks of -> one of these cautions stands on it
    "telescopic dampers": {"springs", "compressed-gas"},
    "spheres": {"compressed-gas", "hydropneumatic-pressure"},
    "brake hoses, ": {"brakes", "brake-fluid"},
    "pretensioners": {"airbag"},
    "windscreen": {"glass"},
    "asbestos": {"asbestos"},
}


@pytest.mark.parametrize("word", CAUTIONED)
def test_what_can_hurt_is_said_where_it_comes_apart(word: str) -> None:
    """A compressed spring or gas, a brake left open, a charge, glass: named in the words, named in the cautions."""
    told = [
        (x.id, x.cautions)
        for x in (*CATALOGUE.components.values(), *CATALOGUE.steps.values())
        if word in " ".join((x.name, *x.card))
    ]
    assert told
    assert [name for name, cautions in told if not CAUTIONED[word] & set(cautions)] == []


def test_damage_says_how_it_comes_about() -> None:
    """Common practice: who says that one part spoils another can say by what."""
    dumb = [
        (part.id, damage.component)
        for part in CATALOGUE.components.values()
        for damage in part.damages
        if len(damage.note.split()) < 2
    ]
    assert dumb == []


NO_DAMAGE = [  # they age side by side, or the first only shows the second
    ("airbag-unit-contact-ring", "belt-pretensioners"),
    ("column-change-linkage", "synchromesh"),
    ("torque-tube-couplings", "crankshaft-rear-oil-seal"),
    ("kingpins-bushes", "steering-damper"),
    ("diesel-injection-pump-injectors", "vacuum-pump-glow-plugs"),
    ("centre-posts-seat-belt-mountings", "seat-belts-reels"),
    ("handbrake-pads-separate", "inboard-discs-access"),
    ("earth-points", "headlamps-reflectors"),
    ("fuel-pipes-rigid", "fuel-hoses-flexible"),
]


@pytest.mark.parametrize(("part", "other"), NO_DAMAGE)
def test_parts_that_age_together_are_not_said_to_spoil_each_other(part: str, other: str) -> None:
    assert {part, other} <= set(CATALOGUE.components)
    assert other not in {damage.component for damage in CATALOGUE.components[part].damages}


def steps_of(record: Component | AccessStep, build: frozenset[str]) -> set[str]:
    """What has to come off on a car of this build, steps before steps included."""
    found: set[str] = set()
    uses = record.access if isinstance(record, Component) else record.after
    for use in uses:
        step = CATALOGUE.steps[use.step]
        if parse_expression(use.when).holds(build) and step.expression.holds(build) and step.id not in found:
            found |= {step.id} | steps_of(step, build)
    return found


@pytest.mark.parametrize(
    "step", ["seats-out", "console-out", "dash-top-dash-out", "carpets-out-one-side-all"]
)
def test_the_battery_comes_off_first_where_a_charge_is_near(step: str) -> None:
    """Published: guidance on airbags and pretensioners, the key of the caution they carry."""
    record = CATALOGUE.steps[step]
    assert "battery-disconnected-radio-alarm-noted" in steps_of(record, frozenset({"early-airbag"}))
    assert "airbag" in record.cautions


@pytest.mark.parametrize(
    ("part", "build"),
    [
        ("trailing-arm-bearings-tubes", "torsion-bars"),
        ("suspension-pick-up-points-rear", "independent-rear"),
        ("rear-subframe-mounts", "subframes"),
        ("front-subframe-mounts", "subframes"),
    ],
)
def test_wheels_are_aligned_after_what_holds_them_was_off(part: str, build: str) -> None:
    named = CATALOGUE.complete_traits(frozenset({build, "monocoque"}))
    assert "wheel-alignment-set" in steps_of(CATALOGUE.components[part], named)


@pytest.mark.parametrize("part", ["heater-blower-resistor", "electric-fan-switch-relay"])
def test_a_fan_that_can_start_says_so(part: str) -> None:
    assert "moving-parts" in CATALOGUE.components[part].cautions


def test_the_dust_of_an_open_bell_housing_carries_the_word_on_asbestos() -> None:
    build = frozenset({"front-engine-rear-drive", "manual-gearbox"})
    for part in ("clutch", "spigot-bearing", "gearbox-input-rear-seals", "crankshaft-rear-oil-seal"):
        component = CATALOGUE.components[part]
        told = set(component.cautions)
        for step in steps_of(component, build):
            told |= set(CATALOGUE.steps[step].cautions)
        assert "asbestos" in told, part
