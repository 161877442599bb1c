"""Cars of ordinary use and of the historic kind, and what an annual test would refuse on them. For the tests here.

The catalogue says how often a part needs renewing by a mechanic's judgement. A tester refuses only what is gross, and
only what the manual names. So a part counts as refused if it is spent and has become gross meanwhile: waiting ends by
renewal after D years on average (the part's own deferral times that of care), grossness comes once in GROSS_YEARS,
and of two such waits that run together the share that is gross is D / (D + GROSS_YEARS) (closed form, exponential
waits). GROSS_YEARS is the one figure tuned to the published level of failures; nothing here is fitted by category.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from estimator.case import Case, parse_case
from estimator.catalogue.load import Catalogue, load_catalogue
from estimator.pipeline import Prepared, prepare
from tests.cars import _with

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
CATALOGUE = load_catalogue()
CATEGORIES = (
    "lamps", "suspension", "brakes", "tyres", "visibility", "structure", "emissions", "steering", "belts", "wheels",
)  # fmt: skip
GROSS_YEARS = 5.0
COMMON = "monocoque alternator dual-circuit servo disc-front electronic-ignition strut-front rack-steering"
HATCHBACK = f"{COMMON} front-drive estate-body overhead-cam timing-belt carburettor manual-gearbox"
BUILDS = (  # year built, age, build, share of such cars on the road (elicited)
    (1985, 13, HATCHBACK, 0.52),
    (1988, 12, f"{COMMON} front-drive overhead-cam timing-belt electronic-injection manual-gearbox "
     "power-steering", 0.31),
    (1984, 14, f"{COMMON} front-engine-rear-drive overhead-cam timing-belt carburettor manual-gearbox "
     "one-piece-prop-shaft live-axle", 0.17),
)  # fmt: skip
# cars that come to a test, by age and share: tested from three years, few past fifteen (elicited)
FLEET = ((3, 0.08), (4, 0.08), (6, 0.16), (8, 0.16), (10, 0.16), (12, 0.16), (14, 0.12), (16, 0.08))
HISTORIC = (
    "monocoque alternator dual-circuit servo disc-front contact-breaker wishbone-front rack-steering "
    "front-engine-rear-drive overhead-valve timing-chain carburettor manual-gearbox one-piece-prop-shaft live-axle"
)
CASE = """
format = 1
[car]
viewed = {viewed}-06-01
built = {built}-06-01
odometer = {km}
unit = "km"
odometer_digits = 6
sale = "{sale}"
traits = [{traits}]
[money]
currency = "GBP"
asking = 7000
"""


def case(
    built: int, age: int, traits: str, *, km: float | None = None, sale: str = "owned", more: str = ""
) -> Case:
    """A car of a build and age, driven as far as cars of its age usually are; `more` is appended to its file."""
    prior = CATALOGUE.settings.evidence.distance
    turned = km or sum(prior.yearly_km(a + 0.5) for a in range(age))
    named = ", ".join(f'"{t}"' for t in traits.split())
    text = CASE.format(viewed=built + age, built=built, km=round(turned), traits=named, sale=sale)
    return parse_case(text + more, "a car")


def lived(start: int, end: int, *, storage: str, use: str) -> str:
    """A period of a car's life, as its file says it."""
    return (
        f'[[lived]]\nfrom = {start}-06-01\nto = {end}-06-01\nstorage = "{storage}"\nuse = "{use}"\n'
        'climate = "unknown"\n'
    )


def kept_by(care: int) -> Catalogue:
    """The catalogue in a world where every owner is of one kind: 0 attentive, 1 ordinary, 2 neglectful."""
    prior = tuple(float(level == care) for level in range(3))
    settings = _with(CATALOGUE.settings, ["evidence", "care", "prior"], prior)
    return dataclasses.replace(CATALOGUE, settings=settings)


def gross(prepared: Prepared) -> Floats:
    """(Q, C) share of a part's spent time in which a tester would refuse it, by care."""
    care = np.array(prepared.car.catalogue.settings.evidence.care.deferral)
    waits = np.outer(care, [p.deferral_years for p in prepared.car.parts])
    return np.asarray(waits / (waits + GROSS_YEARS))


def looked_at(prepared: Prepared, category: str | None = None) -> Bools:
    """(C,) parts an annual test looks at, or those it files under a category."""
    filed = [p.test_category for p in prepared.car.parts]
    return np.array([f is not None if category is None else f == category for f in filed])


def refused(prepared: Prepared, parts: Bools) -> Floats:
    """(G,) P(at least one of these parts is refused) at each grid point, where parts are independent."""
    grid = prepared.grid
    each = gross(prepared)[grid.q][:, parts] * grid.prior[:, parts, 0]
    return np.asarray(1 - np.prod(1 - each, axis=1))


def faults(prepared: Prepared, parts: Bools) -> float:
    """Expected number of refused parts."""
    grid = prepared.grid
    return float(grid.weight @ (gross(prepared)[grid.q] * grid.prior[:, :, 0])[:, parts].sum(axis=1))


def fails(car: Case, catalogue: Catalogue = CATALOGUE) -> float:
    """P(refused at an annual test)."""
    prepared = prepare(car, catalogue)
    return float(prepared.grid.weight @ refused(prepared, looked_at(prepared)))
