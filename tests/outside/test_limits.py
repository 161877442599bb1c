"""Measurements of the catalogue against published roadworthiness limits, each quoted beside its check."""

from __future__ import annotations

import pytest

from estimator.catalogue.load import load_catalogue

CHECKS = load_catalogue().checks
# check id, year built, published limit, which side is worse
PUBLISHED = [
    ("tyre-tread-three-points-each-wheel", 1980, 1.6, "below"),  # published: UK inspection manual s.5.2.3, 1.6 mm
    ("tyre-date-codes-all-five", 1980, 10.0, "above"),  # published: NHTSA advisory 2008, makers say 6 to 10 years
    ("brake-fluid-boiling-point-tester", 1980, 155.0, "below"),  # published: 49 CFR 571.116 S5.1.2, DOT 4 wet 155 C
    ("steering-free-play-rim-engine-off", 1980, 75.0, "above"),  # published: UK manual 2012 s.2.2, box 75 mm
    ("steering-free-play-rim-rack", 1980, 13.0, "above"),  # published: the same, rack 13 mm, 380 mm wheel
    ("brake-efficiency-imbalance-rollers", 1980, 50.0, "below"),  # published: UK manual s.1.2, before 2010 50 %
    ("brake-imbalance-rollers", 1980, 30.0, "above"),  # published: UK change of June 2013, more than 30 %
    ("parking-brake-efficiency-rollers", 1980, 16.0, "below"),  # published: UK manual s.1.2, dual circuit 16 %
    ("parking-brake-efficiency-rollers-single", 1960, 25.0, "below"),  # published: the same, single line 25 %
    ("exhaust-carbon-monoxide-idle-fast-idle", 1980, 4.5, "above"),  # published: UK manual s.8.2, Aug 1975 to July 1986
    ("exhaust-carbon-monoxide-idle-fast-idle", 1990, 3.5, "above"),  # published: the same, Aug 1986 to July 1992
    ("catalyst-carbon-monoxide-idle", 1995, 0.5, "above"),  # published: the same, later catalyst cars at idle
    ("wheel-play-at-rim-measured", 1980, 6.35, "above"),  # published: 49 CFR 570.7(b), a quarter of an inch
    ("toe-against-makers-figure", 1980, 1.5, "above"),  # published: 49 CFR 570.7(d), 1.5 times the maker's figure
]  # fmt: skip


@pytest.mark.parametrize(("check", "year", "limit", "worse"), PUBLISHED)
def test_limit_is_the_published_one(check: str, year: int, limit: float, worse: str) -> None:
    reading = CHECKS[check].reading
    assert reading is not None
    assert reading.limit_for(year) == limit
    assert reading.worse == worse


def test_corrosion_counts_within_30_cm_of_a_mounting() -> None:
    """Published: UK inspection manual, appendix A section 2."""
    assert "30 cm" in CHECKS["tap-scrape-within-30-cm-every-mounting"].name
