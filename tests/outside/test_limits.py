"""Measurements of the catalogue against published roadworthiness limits, each quoted beside its check."""

from __future__ import annotations

from datetime import date

import pytest

from estimator.catalogue.load import load_catalogue

CHECKS = load_catalogue().checks
ANY = date(1980, 6, 1)  # where the day of first use does not matter
# check id, first used, published limit, which side is worse
PUBLISHED = [
    ("tyre-tread-three-points-each-wheel", ANY, 1.6, "below"),  # published: UK inspection manual s.5.2.3, 1.6 mm
    ("tyre-date-codes-all-five", ANY, 10.0, "above"),  # published: NHTSA advisory 2008, makers say 6 to 10 years
    ("brake-fluid-boiling-point-tester", ANY, 155.0, "below"),  # published: 49 CFR 571.116 S5.1.2, DOT 4 wet 155 C
    ("steering-free-play-rim-engine-off", ANY, 75.0, "above"),  # published: UK manual 2012 s.2.2, box 75 mm
    ("steering-free-play-rim-rack", ANY, 13.0, "above"),  # published: the same, rack 13 mm, 380 mm wheel
    ("brake-efficiency-imbalance-rollers", ANY, 50.0, "below"),  # published: UK manual s.1.2, before 2010 50 %
    ("brake-imbalance-rollers", ANY, 30.0, "above"),  # published: UK change of June 2013, more than 30 %
    ("parking-brake-efficiency-rollers", ANY, 16.0, "below"),  # published: UK manual s.1.2, dual circuit 16 %
    ("parking-brake-efficiency-rollers-single", ANY, 25.0, "below"),  # published: the same, single line 25 %
    ("exhaust-carbon-monoxide-idle-fast-idle", date(1975, 8, 1), 4.5, "above"),  # published: UK manual s.8.2, Aug 1975
    ("exhaust-carbon-monoxide-idle-fast-idle", date(1986, 7, 31), 4.5, "above"),  # published: the same, to 31 July 1986
    ("exhaust-carbon-monoxide-idle-fast-idle", date(1986, 8, 1), 3.5, "above"),  # published: the same, from 1 Aug 1986
    ("exhaust-carbon-monoxide-idle-fast-idle", date(1992, 7, 31), 3.5, "above"),  # published: the same, to 31 July 1992
    ("exhaust-unburnt-fuel-idle", date(1975, 8, 1), 1200.0, "above"),  # published: the same, hydrocarbons 1,200 ppm
    ("exhaust-unburnt-fuel-idle", date(1992, 7, 31), 1200.0, "above"),  # published: the same
    ("catalyst-carbon-monoxide-fast-idle", date(1995, 6, 1), 0.3, "above"),  # published: the same, at fast idle
    ("catalyst-carbon-monoxide-idle", date(1995, 6, 1), 0.5, "above"),  # published: the same, catalyst, at idle
    ("wheel-play-at-rim-measured", ANY, 6.35, "above"),  # published: 49 CFR 570.7(b), a quarter of an inch
    ("toe-against-makers-figure", ANY, 1.5, "above"),  # published: 49 CFR 570.7(d), 1.5 times the maker's figure
]  # fmt: skip


@pytest.mark.parametrize(("check", "used", "limit", "worse"), PUBLISHED)
def test_limit_is_the_published_one(check: str, used: date, limit: float, worse: str) -> None:
    reading = CHECKS[check].reading
    assert reading is not None
    assert CHECKS[check].suits(used)
    assert reading.limit_for(used) == limit
    assert reading.worse == worse


def test_corrosion_counts_within_30_cm_of_a_mounting() -> None:
    """Published: UK inspection manual, appendix A section 2."""
    assert "30 cm" in CHECKS["tap-scrape-within-30-cm-every-mounting"].name


BEFORE = date(
    1975, 7, 31
)  # published: UK inspection manual s.8.2, first used before 1 August 1975: visual only


@pytest.mark.parametrize("check", ["exhaust-carbon-monoxide-idle-fast-idle", "exhaust-unburnt-fuel-idle"])
def test_before_august_1975_no_gas_limit_applies(check: str) -> None:
    """Published: UK inspection manual s.8.2."""
    assert not CHECKS[check].suits(BEFORE)
    assert CHECKS[check].suits(date(1975, 8, 1))


def test_before_august_1975_the_exhaust_is_judged_by_eye() -> None:
    """Published: UK inspection manual s.8.2; what is measured all the same is held against no law."""
    look = CHECKS["exhaust-smoke-by-eye-at-idle"]
    assert look.suits(BEFORE)
    assert not look.suits(date(1975, 8, 1))
    assert look.reading is None
    limits = {
        check.id for check in CHECKS.values() if check.reading and check.reading.source == "exhaust-limits-uk"
    }
    bare = {one for one in limits if CHECKS[one].suits(BEFORE) and "!catalyst" in CHECKS[one].when}
    assert bare == set()


def test_tread_has_one_limit_whatever_the_age() -> None:
    """Published: 1.6 mm for cars in Britain (inspection manual s.5.2.3). From memory: the same in the European Union
    (89/459/EEC); 2/32 inch = 1.5875 mm in the United States (49 CFR 570.9), nearer than any gauge reads.
    """
    reading = CHECKS["tyre-tread-three-points-each-wheel"].reading
    assert reading is not None
    assert {reading.limit_for(date(year, 1, 1)) for year in range(1955, 2000)} == {1.6}
    assert abs(1.6 - 2 / 32 * 25.4) < reading.error_sd / 10


def test_free_play_is_stated_for_a_size_of_wheel() -> None:
    """Published: UK manual 2012 s.2.2 holds for a wheel of 380 mm; the note says so where the figure is read."""
    for check in ("steering-free-play-rim-engine-off", "steering-free-play-rim-rack"):
        reading = CHECKS[check].reading
        assert reading is not None
        assert "380 mm" in reading.note


def test_seat_belts_are_looked_for_from_1965_and_cuts_have_their_limits() -> None:
    """Published: UK manual s.7.1.2, cuts over 2 mm at an edge, obviously over 4 mm elsewhere; s.7 tables, front belts
    on cars first used from 1 January 1965.
    """
    belts = CHECKS["belts"]
    assert "2 mm" in belts.do
    assert "4 mm" in belts.do
    assert belts.suits(date(1965, 1, 1))
    assert not belts.suits(date(1964, 12, 31))
    assert load_catalogue().components["seat-belts-reels"].built == (1965, 1999)
