"""What a bad result says when the sign is the failure itself: the part that shows it needs doing now.

Common practice throughout: of a hundred old cars on which a mechanic found the sign, on most the part it points at
is renewed. The shares asked for here are the least that a tradesman would still call a plain sign.
"""

from __future__ import annotations

import pytest

from estimator.assess import assess_fully
from estimator.catalogue.load import load_catalogue
from tests.cars import saloon

CATALOGUE = load_catalogue()
PLAIN = {  # check, what was found -> the part it points at, the least share of cars on which that part needs doing
    ("tap-press-sill-bottoms-arch-lips", 'result = "present"'): ("outer-sills", 0.4),
    ("flexible-hoses-bent-squeezed", 'result = "present"'): ("brake-hoses-flexible-set", 0.7),
    ("flexible-coupling-rear", 'result = "present"'): ("flexible-coupling-rear", 0.7),
    ("gutters-roof-edge-under-vinyl-blisters", 'result = "present"'): ("roof-gutters-pillars", 0.55),
    ("tyre-tread-three-points-each-wheel", "value = 0.8"): ("tyres-set", 0.7),
    ("disc-thickness-over-minimum", "value = -0.8"): ("front-discs-pair", 0.6),
    ("prop-shaft-out-centre-joint-swung", 'result = "present"'): ("universal-joint-centre", 0.7),
    ("drums-off-all", 'result = "present"'): ("rear-wheel-cylinders-pair", 0.7),
    ("drum-bore-over-new", "value = 2.5"): ("rear-drums-pair", 0.7),
    ("slip", 'result = "present"'): ("clutch", 0.45),
    ("door-bottoms-drains-inside", 'result = "present"'): ("doors", 0.6),
    ("belts", 'result = "present"'): ("seat-belts-reels", 0.55),
    ("steering-wheel-rim-cracks", 'result = "present"'): ("steering-wheel", 0.7),
    ("column-lift-side-play", 'result = "present"'): ("column-bushes-clamps", 0.6),
    ("hoses-squeezed-bent", 'result = "present"'): ("coolant-hoses", 0.5),
    ("header-tank-cap-looked", 'result = "present"'): ("expansion-header-tank-cap", 0.6),
    ("water-pump", 'result = "present"'): ("water-pump", 0.5),
    ("belt-cracks-date", 'result = "present"'): ("fan-belts", 0.55),
    ("engine-mounts-levered", 'result = "present"'): ("engine-mountings", 0.7),
    ("distributor-shaft-rocked-advance-turned", 'result = "present"'): ("distributor", 0.55),
    ("throttle-snaps-shut-itself", 'result = "present"'): ("throttle-linkage-cable-return-spring", 0.5),
    ("fuel-hoses", 'result = "present"'): ("fuel-hoses-flexible", 0.5),
    ("flywheel-teeth-starter-hole", 'result = "present"'): ("flywheel-ring-gear", 0.6),
    ("combustion-gas-test-coolant", 'result = "present"'): ("head-gasket", 0.55),
    ("bottom-end-knock-hot", 'result = "present"'): ("crankshaft-big-ends-mains", 0.45),
}
MERELY_WORN = 0.1  # at most, of a spent part's chance to show the sign
HARMLESS = 0.02  # at most, on a car on which no part is spent or worn


@pytest.mark.parametrize(("check", "found"), PLAIN)
def test_a_plain_sign_seen_by_a_mechanic_points_at_its_part(check: str, found: str) -> None:
    part, least = PLAIN[check, found]
    case = saloon(f'[[finding]]\ncheck = "{check}"\n{found}\nby = "mechanic"\n')
    result = assess_fully(case, CATALOGUE, draws=100)
    spent = {c.id: c.p_spent for c in result.assessment.components}
    assert spent[part] >= least
    linked = {link.component for link in CATALOGUE.checks[check].links} & set(spent)
    assert max(linked, key=spent.__getitem__) == part


@pytest.mark.parametrize(("check", "found"), PLAIN)
def test_a_worn_part_and_a_sound_car_seldom_show_a_plain_sign(check: str, found: str) -> None:
    part, _ = PLAIN[check, found]
    entry = CATALOGUE.checks[check]
    link = next(link for link in entry.links if link.component == part)
    assert link.worn <= MERELY_WORN * link.spent
    assert entry.leak <= HARMLESS


def test_sills_and_arch_lips_are_told_apart() -> None:
    """Pressed sills say nothing of the arches, pressed arch lips nothing of the sills."""
    sills = {link.component for link in CATALOGUE.checks["tap-press-sill-bottoms-arch-lips"].links}
    lips = {link.component for link in CATALOGUE.checks["arch-lips-pressed-outside"].links}
    arches = {"rear-wheel-arches-inner-outer", "outer-front-wings"}
    assert "outer-sills" in sills
    assert not arches & sills
    assert arches <= lips
    assert "outer-sills" not in lips
