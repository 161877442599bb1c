"""The catalogue's parts, filed as annual tests file them, against published shares of failures.

Sources: FACTS of the regulators, named at each table. Which part belongs to which category follows the sections of the
UK manual in force since 2018, with which the tables of 2019 and 2022 are made (published: section 6.1.2 exhaust, 6.1.3
fuel system, 6.1.7 transmission with drive-shaft joints and their boots, all under "body, structure and attachments").
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import spearmanr

from estimator.pipeline import prepare
from tests.outside.ordinary_cars import (
    BUILDS,
    CATEGORIES,
    FLEET,
    HATCHBACK,
    case,
    fails,
    faults,
    looked_at,
    refused,
)
from tests.outside.ordinary_cars import CATALOGUE as WHOLE

# published: UK annual test, July-Sept 2019 (dvsa-mot-03), share of tests with a fault of the category, percent
UK_2019 = {
    "lamps": 13.9, "suspension": 9.7, "brakes": 8.1, "tyres": 6.8, "visibility": 5.3, "structure": 4.3,
    "emissions": 3.6, "steering": 2.0, "belts": 1.3, "wheels": 0.3,
}  # fmt: skip
UK_2019_FAILED = 31.7  # published, same table
# published: the same table, share of all faults, percent
UK_2019_FAULTS = {
    "lamps": 27.0, "suspension": 18.1, "brakes": 16.8, "tyres": 11.6, "visibility": 8.0, "structure": 6.8,
    "emissions": 5.6, "steering": 2.9, "belts": 1.9, "wheels": 0.6,
}  # fmt: skip
# published (press): UK to March 2022, share of all faults, percent
UK_2022 = {"lamps": 25.5, "suspension": 19.4, "brakes": 16.4, "tyres": 12.0, "visibility": 8.7}
# published (agency newsletter): New Zealand 2009, 3.8 million faults, percent; "other" is 10
NEW_ZEALAND_2009 = {
    "lamps": 27.0, "tyres": 16.0, "steering and suspension": 15.0, "brakes": 12.0, "glazing": 10.0, "exhaust": 4.0,
    "belts": 3.0,
}  # fmt: skip
# published (an inspection organisation, press): Germany 2019-21, share of significant defects, percent
GERMANY_2021 = {"brakes": 46.47, "lamps": 27.29, "axles, wheels and tyres": 17.69, "frame": 8.56}
MERGED = {
    "steering and suspension": ("steering", "suspension"),
    "axles, wheels and tyres": ("steering", "suspension", "tyres", "wheels"),
    "glazing": ("visibility",),
    "frame": ("structure",),
}


def parts_of(prepared, category: str):
    """(C,) parts of a category of any of the tables. Exhaust and drive joints stand apart in New Zealand's manual."""
    systems = np.array([p.system for p in prepared.car.parts])
    if category == "exhaust":
        return looked_at(prepared) & (systems == "exhaust")
    return np.any([looked_at(prepared, c) for c in MERGED.get(category, (category,))], axis=0)


@pytest.fixture(scope="module")
def ordinary():
    """(prepared, share) of cars of 12 to 14 years in the ordinary mix of care."""
    return [(prepare(case(built, age, build), WHOLE), share) for built, age, build, share in BUILDS]


def with_a_fault(ordinary, category: str) -> float:
    """Share of these cars refused for something of the category."""
    return sum(share * float(p.grid.weight @ refused(p, parts_of(p, category))) for p, share in ordinary)


def fault_count(ordinary, category: str) -> float:
    """Refused parts of the category a car."""
    return sum(share * faults(p, parts_of(p, category)) for p, share in ordinary)


def test_categories_rank_as_in_the_year_they_were_tuned_to(ordinary) -> None:
    """UK 2019, ten categories (identification is no wear). Figures of the catalogue were looked at against this table
    while they were written: not a validation."""
    ours = [with_a_fault(ordinary, c) for c in UK_2019]
    assert spearmanr(ours, list(UK_2019.values())).statistic >= 0.8


def test_categories_rank_as_in_another_year(ordinary) -> None:
    """UK to March 2022, share of all faults. Left alone, but the same country and nearly the same shares as 2019."""
    ours = [fault_count(ordinary, c) for c in UK_2022]
    assert spearmanr(ours, list(UK_2022.values())).statistic >= 0.8


def test_categories_rank_as_in_another_country(ordinary) -> None:
    """New Zealand 2009, seven categories, share of all faults. Not untouched: the table was seen before, when the same
    model reached 0.64 and then 0.79. Then exhausts had been compared with all that stains the air (carburettors, fuel
    hoses), drive-shaft joints counted as suspension, and every spent part was refused after the same delay. No life or
    deferral of a part was changed for it: parts were filed by the manuals, and the tester's rule now is the part's own
    deferral (ordinary_cars.gross)."""
    ours = [fault_count(ordinary, c) for c in NEW_ZEALAND_2009]
    assert spearmanr(ours, list(NEW_ZEALAND_2009.values())).statistic >= 0.8


def test_germany_contradicts_the_others() -> None:
    """By hand: merged to Germany's four categories the UK's published shares (axles 33.2, lamps 27.0, brakes 16.8,
    frame 6.8) rank against Germany's (brakes, lamps, axles, frame) with Spearman 0.2. No model that ranks like the one
    can rank like the other, and why they differ is not known here: Germany's table is unmet, and no check of ours. The
    UK and New Zealand do agree (0.89 over seven categories)."""
    uk = [sum(UK_2019_FAULTS[c] for c in MERGED.get(name, (name,))) for name in GERMANY_2021]
    assert spearmanr(uk, list(GERMANY_2021.values())).statistic == pytest.approx(0.2)
    shared = {
        "lamps": ("lamps",), "tyres": ("tyres",), "steering and suspension": ("steering", "suspension"),
        "brakes": ("brakes",), "glazing": ("visibility",), "exhaust": ("emissions",), "belts": ("belts",),
    }  # fmt: skip
    uk = [sum(UK_2019_FAULTS[c] for c in shared[name]) for name in NEW_ZEALAND_2009]
    assert spearmanr(uk, list(NEW_ZEALAND_2009.values())).statistic >= 0.85


@pytest.mark.parametrize("category", CATEGORIES)
def test_the_level_of_each_category_is_believable(category) -> None:
    """Within a factor of three of UK 2019 over the ages that come to a test (elicited). The catalogue's cars are of
    the 1980s, those tested in 2019 mostly of the 2000s and 2010s: closer would prove nothing. One constant tuned."""
    ours = sum(
        share * float(p.grid.weight @ refused(p, looked_at(p, category)))
        for age, share in FLEET
        for p in [prepare(case(1985, age, HATCHBACK), WHOLE)]
    )
    assert UK_2019[category] / 3 <= 100 * ours <= UK_2019[category] * 3


def test_failures_come_together_as_published() -> None:
    """By hand from UK 2019: 31.7 % fail where independent categories would give 44.2 %, ratio 0.72. Tuned: the spread
    of care was set with this in view."""
    together, each = 0.0, np.zeros(len(CATEGORIES))
    for age, share in FLEET:
        p = prepare(case(1985, age, HATCHBACK), WHOLE)
        rows = np.array([refused(p, looked_at(p, c)) for c in CATEGORIES])
        together += share * float(p.grid.weight @ (1 - np.prod(1 - rows, axis=0)))
        each += share * (rows @ p.grid.weight)
    assert 0.65 <= together / (1 - np.prod(1 - each)) <= 0.85
    assert UK_2019_FAILED / 1.5 <= 100 * together <= UK_2019_FAILED * 1.5


def test_failures_rise_with_age_and_then_level_off() -> None:
    """Published (regulator's figures in the trade press, UK 2020): 13.1 % at 3 years, 40 % at 12, 47 % at 16, the
    peak, 44 % at 20. Ours within a third of these from 12 years on, and level from 16 to 20; at 3 years cars of the
    1980s rusted and wore sooner than those of 2017, so there only "far fewer than at 12". Level tuned."""
    three, twelve, sixteen, twenty = (fails(case(1985, age, HATCHBACK)) for age in (3, 12, 16, 20))
    assert three < 0.6 * twelve
    for ours, published in ((twelve, 0.40), (sixteen, 0.47), (twenty, 0.44)):
        assert published / 1.33 <= ours <= published * 1.33
    assert abs(twenty - sixteen) < 0.05
