"""The real app under Streamlit's own test driver, with a store of its own and few draws."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from estimator.pages import estimate
from estimator.store import DATA_DIR_VARIABLE

APP = Path(__file__).resolve().parents[2] / "app.py"
PAGES = ("the_car", "papers", "inspection", "cost")
EXAMPLES = ("coupe", "estate", "small-saloon")


@pytest.fixture(autouse=True)
def _own_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(DATA_DIR_VARIABLE, str(tmp_path / "cases"))
    monkeypatch.setattr(estimate, "DRAWS", 400)
    st.cache_resource.clear()


@pytest.fixture
def app() -> AppTest:
    """The app as it opens, no car yet."""
    return ran(AppTest.from_file(str(APP), default_timeout=240).run())


@pytest.fixture
def opened(app: AppTest) -> Callable[[str], AppTest]:
    """The app with an example open."""

    def open_example(name: str) -> AppTest:
        return ran(app.button(key=f"example_{name}").click().run())

    return open_example


def ran(at: AppTest) -> AppTest:
    """The app after a run that raised nothing."""
    assert not at.exception, [e.message for e in at.exception]
    return at


def go(at: AppTest, page: str) -> AppTest:
    """Another page of the app."""
    return ran(at.switch_page(f"estimator/pages/{page}.py").run())


def case_of(at: AppTest):
    """The case the session holds."""
    return at.session_state["own_case"]


def words_on(at: AppTest) -> str:
    """Everything written on the page, one text."""
    kinds = ("title", "header", "subheader", "markdown", "caption", "error", "warning", "info")
    return "\n".join(str(one.value) for kind in kinds for one in getattr(at, kind))
