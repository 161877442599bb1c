"""Discounting against NIST Handbook 135 / ASTM E917 factor tables and a reference library's worked example."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.money.discount import nominal_rate, npv, real_rate, spv, upv, upv_star


@pytest.mark.parametrize(
    ("rate", "years", "factor"), [(0.03, 1, 0.9709), (0.03, 10, 0.7441), (0.03, 20, 0.5537)]
)
def test_single_present_value(rate, years, factor):
    """Published: NIST Handbook 135 (1995), SPV table, 3 %, four decimals."""
    assert spv(rate, years) == pytest.approx(factor, abs=5e-5)


@pytest.mark.parametrize(
    ("rate", "years", "factor"),
    [
        (0.03, 5, 4.580), (0.03, 10, 8.530), (0.03, 20, 14.877), (0.05, 10, 7.722), (0.07, 10, 7.024),
        (0.05, 5, 4.3295), (0.035, 5, 4.5151),
    ],
)  # fmt: skip
def test_uniform_present_value(rate, years, factor):
    """Published: NIST Handbook 135, UPV table, three decimals (the last two rows: closed form, four)."""
    digits = len(str(factor).split(".")[1])
    assert upv(rate, years) == pytest.approx(factor, abs=0.51 * 10**-digits)


def test_modified_uniform_present_value():
    """Closed form sum((1+e)/(1+d))^t (NIST Handbook 135): d 3 %, e 2 %: 20 years 18.081229, 10 years 9.4813."""
    assert upv_star(0.03, 0.02, 20) == pytest.approx(18.081229, abs=5e-7)
    assert upv_star(0.03, 0.02, 10) == pytest.approx(9.4813, abs=5e-5)


def test_handbook_base_case():
    """From memory: NIST Handbook 135 base case, 103000 + 12000 SPV(12) - 3500 SPV(20) + 20000 and 7000 a year
    for 20 years at 3 %, the first growing: printed factors .701 .554 15.13 14.88 give 516233."""
    replaced, residual = round(float(spv(0.03, 12)), 3), round(float(spv(0.03, 20)), 3)
    yearly = round(float(upv(0.03, 20)), 2)
    assert (replaced, residual, yearly) == (0.701, 0.554, 14.88)
    total = 103_000 + 12_000 * replaced - 3_500 * residual + 20_000 * 15.13 + 7_000 * yearly
    assert total == pytest.approx(516_233, abs=0.5)


def test_npv_does_not_discount_the_first_flow():
    """Published: numpy-financial's documented example, 8 %."""
    assert npv(0.08, [-40_000, 5_000, 8_000, 12_000, 30_000]) == pytest.approx(3065.2226682, abs=5e-8)


def test_real_rate():
    """Closed form: 5 % nominal, 2 % inflation -> 2.941176 %."""
    assert real_rate(0.05, 0.02) == pytest.approx(0.02941176, abs=5e-9)
    assert nominal_rate(real_rate(0.05, 0.02), 0.02) == pytest.approx(0.05, abs=1e-15)


@given(st.floats(-0.5, 1.0), st.floats(-0.5, 1.0), st.integers(0, 60))
def test_upv_star_is_the_plain_sum(rate, growth, years):
    """Second method: term by term, also where growth and discount cancel."""
    ratio = (1 + growth) / (1 + rate)
    plain = sum(ratio**t for t in range(1, years + 1))
    assert upv_star(rate, growth, years) == pytest.approx(plain, rel=1e-6)
    assert upv_star(rate, rate, years) == pytest.approx(years)


@pytest.mark.parametrize("rate", [-1.0, -1.5, float("nan"), float("inf")])
def test_money_that_vanishes_or_is_no_number_is_refused(rate):
    with pytest.raises(ValueError, match="above -100 %"):
        spv(rate, 1)
    with pytest.raises(ValueError, match="0 or more"):
        upv(0.03, -1)
    with pytest.raises(ValueError, match="whole number"):
        upv(0.03, 1.5)
    with pytest.raises(ValueError, match="not a number"):
        npv(0.03, [1.0, np.nan])
