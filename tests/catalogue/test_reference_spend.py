"""What a little-used old car spends on renewals a year, against published surveys of owners."""

from __future__ import annotations

from estimator.catalogue.load import load_catalogue
from estimator.catalogue.reference import reference


def test_yearly_renewals_lie_between_half_and_twice_the_survey() -> None:
    """Published: UK survey of 2019, 1,489 GBP per vehicle and year, all costs of ownership (press report of it).

    The survey includes running costs; the figure here is renewals with tax alone, every part done for itself.
    Price level by the catalogue's own index, 2019 taken as 2020.
    """
    catalogue = load_catalogue()
    index = catalogue.settings.prices.index
    survey = index.to_price_year(1489.0, year=2020)
    assert survey / 2 <= reference(catalogue).yearly_spend <= survey * 2
