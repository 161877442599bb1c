"""Three-point ranges against the closed forms of the beta distribution."""

import numpy as np
import pytest
from scipy import stats

from estimator.money.ranges import draw, open_ended_table, pert_mean, quantile_table


@pytest.mark.parametrize(
    ("figures", "mean", "sd"),
    [
        ((400, 1200, 4500), 1616.666667, 707.920047),  # closed form: variance (mean - a)(b - mean) / 7
        ((100, 200, 600), 250.0, 86.6025),
        ((250, 400, 1200), 508.333333, 159.768),
    ],
)
def test_table_has_the_mean_and_spread_of_its_pert(figures, mean, sd):
    """Closed form of the PERT distribution (operations-research literature; recomputed)."""
    table = quantile_table([figures])
    u = (np.arange(200_000) + 0.5) / 200_000
    values = draw(table, np.zeros(u.size, np.intp), u)
    assert pert_mean(figures) == pytest.approx(mean, rel=1e-8)
    assert values.mean() == pytest.approx(mean, rel=1e-6)
    assert values.std() == pytest.approx(sd, rel=2e-3)


@pytest.mark.parametrize(("q", "expected"), [(0.1, 144.951), (0.5, 238.336), (0.8, 325.129), (0.9, 372.667)])
def test_table_quantiles(q, expected):
    """Closed form: quantiles of PERT(100, 200, 600) by scipy's beta distribution, given to three decimals."""
    exact = 100 + 500 * stats.beta(1 + 4 * 0.2, 5 - 4 * 0.2).ppf(q)
    assert exact == pytest.approx(expected, abs=5e-4)
    value = draw(quantile_table([[100, 200, 600]]), np.zeros(1, np.intp), np.array([q]))[0]
    assert value == pytest.approx(expected, rel=1e-3)


def test_a_certain_price_is_certain():
    table = quantile_table([[7.0, 7.0, 7.0]])
    assert set(draw(table, np.zeros(5, np.intp), np.linspace(0, 0.999, 5))) == {7.0}


@pytest.mark.parametrize("figures", [(400, 1000, 2200), (100, 200, 400), (50, 50, 50), (0, 0, 0)])
def test_an_open_ended_price_keeps_its_mean_and_exceeds_high_one_time_in_ten(figures):
    """Closed form of the lognormal: mean exp(mu + s^2 / 2), upper decile exp(mu + 1.2816 s)."""
    table = open_ended_table([figures])
    u = (np.arange(200_000) + 0.5) / 200_000
    values = draw(table, np.zeros(u.size, np.intp), u)
    assert values.mean() == pytest.approx(pert_mean(figures), rel=1e-6)
    if figures[0] < figures[2]:
        # the rows keep the uncut mean: what the cut takes is spread over the rest
        assert np.quantile(values, 0.9) == pytest.approx(figures[2], rel=0.02)
        spread = 1.28155 - np.sqrt(1.28155**2 - 2 * np.log(figures[2] / pert_mean(figures)))
        assert values.max() == pytest.approx(
            pert_mean(figures) * np.exp(3.0902 * spread - spread**2 / 2), rel=0.02
        )
