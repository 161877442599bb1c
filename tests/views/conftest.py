"""One real assessment with findings, drawn small."""

from __future__ import annotations

import pytest

from estimator.assess import Assessment, assess
from estimator.case import Case, load_case
from estimator.catalogue.load import Catalogue, data_folder, load_catalogue


@pytest.fixture(scope="session")
def catalogue() -> Catalogue:
    return load_catalogue()


@pytest.fixture(scope="session")
def case(catalogue: Catalogue) -> Case:
    return load_case(data_folder() / "examples" / "coupe.toml", catalogue)


@pytest.fixture(scope="session")
def assessment(case: Case, catalogue: Catalogue) -> Assessment:
    return assess(case, catalogue, draws=600)
