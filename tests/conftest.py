"""Every test has the same day on the clock, whatever the machine's says."""

from __future__ import annotations

import pytest

from estimator.clock import VARIABLE


@pytest.fixture(autouse=True)
def _same_day(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, "2026-11-25")
