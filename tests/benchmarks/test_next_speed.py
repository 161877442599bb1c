"""Work of ranking all checks of a full case against one assessment, as a ratio within one run."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from estimator import pipeline
from estimator.assess import assess_fully
from estimator.case import load_case
from estimator.catalogue.load import data_folder, load_catalogue
from estimator.decide import reference
from estimator.decide.next_checks import next_checks

CASE = Path(data_folder()) / "examples" / "coupe.toml"


def _seconds(work) -> float:
    best = float("inf")
    for _ in range(2):
        pipeline._KEPT.clear()  # every stage is made anew
        reference._KEPT.clear()
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


@pytest.mark.slow
def test_ranking_all_checks_takes_at_most_three_assessments():
    """Both from a case read and a catalogue loaded; ranking makes its own assessment and its reference car's."""
    catalogue = load_catalogue()
    case = load_case(CASE, catalogue)
    one = _seconds(lambda: assess_fully(case, catalogue))
    whole = _seconds(lambda: next_checks(case, catalogue))
    print(f"ranking all checks: {whole / one:.2f} times one assessment")
    assert whole <= 3 * one
