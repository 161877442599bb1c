"""Life fitting against published fits of published data, scipy's censored fit, and simulated lives."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from estimator.wear.fitting import blend, fit_life

DATA = Path(__file__).parent / "data"
NIST_FAILED = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]


def shock_absorbers(mode: str | None = None) -> pd.DataFrame:
    """38 vehicle shock absorbers (O'Connor, *Practical Reliability Engineering*, 1985; Meeker & Escobar,
    *Statistical Methods for Reliability Data*, 1998, Table C.2); the other mode counts as still running."""
    frame = pd.read_csv(DATA / "shock_absorber_oconnor1985.csv")
    failed = (
        frame.status if mode is None else ((frame.status == 1) & (frame.failure_mode == mode)).astype(int)
    )
    return pd.DataFrame({"distance": frame.distance_km, "failed": failed})


def test_shock_absorbers():
    """Published fit mu 10.2299, sigma 0.3164 (Meeker & Escobar 1998): shape 3.1605, scale 27,718.7 km; log
    likelihood -123.9954 and B10 13,600.0 km from the same maximum (second method: scipy)."""
    fit = fit_life(shock_absorbers())
    clock = fit.clocks["distance"]
    assert np.log(clock.scale) == pytest.approx(10.2299, abs=5e-5)
    assert 1 / clock.shape == pytest.approx(0.3164, abs=5e-5)
    assert (clock.shape, clock.scale) == pytest.approx((3.160470, 27718.718), rel=1e-6)
    assert fit.log_likelihood == pytest.approx(-123.9954, abs=5e-5)
    assert fit.b10 == pytest.approx(13_600.0, abs=0.1)
    assert (fit.n, fit.failed) == (38, 11)


@pytest.mark.parametrize(
    ("mode", "shape", "scale"), [("mode_1", 3.383946, 31205.798), ("mode_2", 2.822211, 40865.861)]
)
def test_shock_absorbers_one_mode_at_a_time(mode, shape, scale):
    """Second method (scipy's censored fit, 7 digits): each failure mode with the other counted as running."""
    clock = fit_life(shock_absorbers(mode)).clocks["distance"]
    assert (clock.shape, clock.scale) == pytest.approx((shape, scale), rel=1e-6)


def test_both_modes_in_series():
    """Closed form: S = S1 S2: S(10,000) = 0.960714, S(20,000) = 0.701156."""
    fits = [fit_life(shock_absorbers(m)).clocks["distance"] for m in ("mode_1", "mode_2")]
    for km, expected in ((10_000, 0.960714), (20_000, 0.701156)):
        assert np.exp(-sum((km / f.scale) ** f.shape for f in fits)) == pytest.approx(expected, abs=5e-7)


def test_ball_bearings():
    """Published: Lieblein & Zelen, J. Res. NBS 57, 1956: shape 2.102, scale 81.875 million revolutions."""
    life = pd.read_csv(DATA / "ball_bearings_lieblein_zelen1956.csv").million_revolutions
    fit = fit_life({"distance": life, "failed": np.ones(life.size)})
    clock = fit.clocks["distance"]
    assert clock.shape == pytest.approx(2.102, abs=5e-4)
    assert clock.scale == pytest.approx(81.875, abs=5e-4)
    assert (fit.n, fit.failed) == (23, 23)


def test_nist_handbook_example():
    """Published: NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3: 20 units, 10 failures by 500 h:
    shape 1.7208, scale 606.5280 h. The ten still running stand in one row with count 10."""
    frame = {
        "years": [*NIST_FAILED, 500],
        "failed": [1] * 10 + [0],
        "count": [1] * 10 + [10],
    }
    fit = fit_life(frame)
    assert fit.clocks["years"].shape == pytest.approx(1.7208, abs=5e-5)
    assert fit.clocks["years"].scale == pytest.approx(606.5280, abs=1e-3)
    assert (fit.n, fit.failed) == (20, 10)
    sample = stats.CensoredData(uncensored=NIST_FAILED, right=[500] * 10)
    shape, _, scale = stats.weibull_min.fit(sample, floc=0)
    assert (fit.clocks["years"].shape, fit.clocks["years"].scale) == pytest.approx((shape, scale), rel=1e-4)


def test_likelihood_ratio_interval_is_where_the_profile_drops():
    """Second method: profile of the shape in closed form (scale from the score equation), crossed by hand at
    half the chi-square quantile 3.841459."""
    life = np.array([*NIST_FAILED, *[500] * 10], float)
    failed = np.arange(20) < 10

    def profile(shape: float) -> float:
        scale = ((life**shape).sum() / 10) ** (1 / shape)
        density = np.log(shape / scale) + (shape - 1) * np.log(life[failed] / scale)
        return float(density.sum() - ((life / scale) ** shape).sum())

    fit = fit_life({"years": life, "failed": failed.astype(int)}, level=0.95)
    for end in fit.clocks["years"].shape_interval:
        assert fit.log_likelihood - profile(end) == pytest.approx(3.841459 / 2, abs=1e-5)
    narrow = fit_life({"years": life, "failed": failed.astype(int)}, level=0.5).clocks["years"]
    wide = fit.clocks["years"]
    assert wide.shape_interval[0] < narrow.shape_interval[0] < wide.shape < narrow.shape_interval[1]
    assert narrow.scale_interval[1] < wide.scale_interval[1]


def test_parts_already_in_use_when_records_began():
    """Simulated: 4,000 units of known life seen only if they lived past a random age. Counted from that age on
    the true life comes back; taken for new ones it does not."""
    rng = np.random.default_rng(3)
    shape, scale = 2.5, 12.0
    life = scale * rng.weibull(shape, 12_000)
    entry = rng.uniform(0, 15, life.size)
    end = entry + 8
    seen = life > entry
    frame = pd.DataFrame(
        {
            "years": np.minimum(life, end)[seen],
            "failed": (life < end)[seen].astype(int),
            "entry_years": entry[seen],
        }
    )
    fit = fit_life(frame).clocks["years"]
    assert fit.shape == pytest.approx(shape, rel=0.05)
    assert fit.scale == pytest.approx(scale, rel=0.02)
    naive = fit_life(frame.drop(columns="entry_years")).clocks["years"]
    assert abs(naive.scale / scale - 1) > 0.05


def test_two_clocks_are_told_apart():
    """Simulated: failures by distance (shape 3, 90,000) or by age (shape 2, 20 years), whichever comes first, at
    1,000 to 20,000 a year; both lives lie inside the
    fit's 99.9 % intervals."""
    rng = np.random.default_rng(11)
    n = 1_500
    rate = rng.uniform(1_000, 20_000, n)
    by_km, by_age = 90_000 * rng.weibull(3.0, n) / rate, 20 * rng.weibull(2.0, n)
    end = rng.uniform(5, 25, n)
    years = np.minimum(np.minimum(by_km, by_age), end)
    frame = {"years": years, "distance": years * rate, "failed": (years < end).astype(int)}
    fit = fit_life(frame, level=0.999)
    for clock, shape, scale in (("distance", 3.0, 90_000), ("years", 2.0, 20)):
        found = fit.clocks[clock]
        assert found.shape_interval[0] < shape < found.shape_interval[1]
        assert found.scale_interval[0] < scale < found.scale_interval[1]
        assert found.scale_interval[1] < 1.5 * found.scale_interval[0]
    at = {"distance": fit.b50 * fit.distance_per_year, "years": fit.b50}
    assert sum((at[c] / f.scale) ** f.shape for c, f in fit.clocks.items()) == pytest.approx(
        np.log(2), rel=1e-6
    )


def test_a_clock_that_shows_nothing_is_left_out_and_said():
    """Simulated: failures by distance alone."""
    rng = np.random.default_rng(5)
    rate = rng.uniform(1_000, 20_000, 800)
    years = 60_000 * rng.weibull(3.0, 800) / rate
    fit = fit_life({"years": years, "distance": years * rate, "failed": np.ones(800)})
    if len(fit.clocks) == 1:
        assert list(fit.clocks) == ["distance"]
        assert "adds nothing" in fit.notes[0]
    else:  # a trace of the other clock by chance: it must be a faint one
        assert fit.clocks["years"].scale > 3 * np.median(years)
    assert fit.clocks["distance"].scale == pytest.approx(60_000, rel=0.05)


def test_blend_with_an_elicited_life():
    """By hand: 15 failures against a prior worth 5: weight 0.75, B10 = 8^.75 * 4^.25 = 6.7272."""
    mixed = blend(8, 16, prior=(4, 12), failures=15, worth=5)
    assert mixed.weight == 0.75
    assert mixed.b10 == pytest.approx(6.7272, abs=5e-5)
    assert 12 < mixed.b50 < 16
    assert 1 - np.exp(-((mixed.b10 / mixed.scale) ** mixed.shape)) == pytest.approx(0.1, abs=1e-12)
    fit = fit_life({"years": NIST_FAILED, "failed": [1] * 10}, prior=(100, 400), prior_worth=10)
    assert fit.blend.weight == 0.5
    assert min(fit.b10, 100) < fit.blend.b10 < max(fit.b10, 100)


@pytest.mark.parametrize(
    ("frame", "message"),
    [
        ({"years": [1, 2]}, "column failed"),
        ({"failed": [1, 1]}, "distance, years or both"),
        ({"years": [], "failed": []}, "not a single row"),
        ({"years": [1, -2], "failed": [1, 1]}, "row 2: years must be above 0; found -2"),
        ({"years": [1, np.nan], "failed": [1, 1]}, "row 2: years"),
        ({"years": [1, 2], "failed": [1, 3]}, "row 2: failed must be 1"),
        ({"years": [1, 2], "failed": [0, 0]}, "two failures at different lives"),
        ({"years": [2, 2], "failed": [1, 1]}, "two failures at different lives"),
        ({"years": [1, 2], "failed": [1, 1], "entry_years": [0, 5]}, "row 2: entry_years must be below"),
        ({"years": [1, 2], "failed": [1, 1], "count": [1, 0]}, "row 2: count"),
        (
            {"years": [1, 2], "failed": [1, 1], "component": ["a", "b"]},
            "several components; choose one of a, b",
        ),
    ],
)
def test_bad_frames_are_refused_by_row(frame, message):
    with pytest.raises(ValueError, match=message):
        fit_life(frame)


def test_bad_settings_are_refused():
    good = {"years": NIST_FAILED, "failed": [1] * 10}
    with pytest.raises(ValueError, match="level"):
        fit_life(good, level=1.0)
    with pytest.raises(ValueError, match="prior_worth"):
        fit_life(good, prior=(1, 2), prior_worth=-1)
    with pytest.raises(ValueError, match="B10 < B50"):
        fit_life(good, prior=(2, 1))
    with pytest.raises(ValueError, match="no column component"):
        fit_life(good, component="water-pump")
