"""Work of planning a large case that does not fit its limits, against one assessment, as a ratio within one run."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from estimator import pipeline
from estimator.assess import assess_fully
from estimator.case import load_case
from estimator.catalogue.load import data_folder, load_catalogue
from estimator.decide import ahead
from estimator.decide.plan import plan_year

CASE = Path(data_folder()) / "examples" / "coupe.toml"


@pytest.mark.slow
def test_planning_a_case_that_does_not_fit_takes_at_most_six_assessments():
    """Thirty jobs and more, money for half of them: search, proof, what would free it, and the simulation."""
    catalogue = load_catalogue()
    case = load_case(CASE, catalogue)
    pipeline._KEPT.clear()
    ahead._KEPT.clear()
    start = time.process_time()
    result = assess_fully(case, catalogue)
    one = time.process_time() - start
    start = time.process_time()
    plan = plan_year(case, catalogue, result=result)
    whole = time.process_time() - start
    print(f"planning {len(plan.jobs) + len(plan.left_out)} jobs: {whole / one:.2f} times one assessment")
    assert plan.left_out
    assert plan.binds
    assert whole <= 6 * one
