"""Every test has the same day on the clock, whatever the machine's says; what is dear to set up is set up once."""

from __future__ import annotations

import pytest

from estimator.clock import VARIABLE

SET_UP_ONCE = (
    "test_whole_inference",
    "test_shipped_values",
    "test_plan_examples",
    "test_tables",
    "test_cherished_cars",
)


@pytest.fixture(autouse=True)
def _same_day(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, "2026-11-25")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """With `--dist loadgroup` the tests of a module that is dear to set up stay with one worker."""
    if config.pluginmanager.hasplugin("xdist"):
        for item in items:
            module = item.path.stem
            if module in SET_UP_ONCE:
                item.add_marker(pytest.mark.xdist_group(module))
