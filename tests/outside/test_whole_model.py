"""The whole model held against common sense."""

from __future__ import annotations

from estimator.assess import assess
from tests.outside.ordinary_cars import CATALOGUE, COMMON, case

BUILD = (
    f"{COMMON} front-engine-rear-drive overhead-cam timing-chain carburettor manual-gearbox one-piece-prop-shaft "
    "live-axle"
)


def test_a_full_file_makes_a_car_of_forty_years_cheaper() -> None:
    """Common practice: 40 years and 60,000 miles with no papers comes out dearer than the same car with a full file."""
    papers = "[[coverage]]\nfrom = 1985-06-01\nto = 2025-05-31\ncompleteness = 0.95\n"
    for part, years in {"battery": (1995, 2005, 2015), "tyres-set": (2000, 2015), "clutch": (2008,)}.items():
        for year in years:
            papers += f'[[work]]\ncomponent = "{part}"\ndate = {year}\nevidence = "invoice"\n'
    bare, full = (
        assess(case(1985, 40, BUILD, km=96_560, sale="private", more=more), CATALOGUE, draws=2000)
        for more in ("", papers)
    )
    assert full.total.plan_year.mean < bare.total.plan_year.mean
