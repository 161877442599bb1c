"""The sheet to take along on the Inspection page: what is there for the buyer decides what stands on it. By hand."""

from __future__ import annotations

from collections.abc import Callable

from streamlit.testing.v1 import AppTest

from estimator.pages import take_along
from estimator.report.sheet_choice import BEYOND
from tests.pages.conftest import go, ran

Opened = Callable[[str], AppTest]


def test_what_will_be_there_goes_into_the_files(opened: Opened, monkeypatch) -> None:
    made: list[tuple[str, bytes]] = []
    files = take_along._files

    def kept(*given):
        made.append(files(*given))
        return made[-1]

    monkeypatch.setattr(take_along, "_files", kept)
    at = opened("small-saloon")
    at.session_state["sheet_out"] = True  # the box is open
    at = go(at, "inspection")
    there = next(one for one in at.button_group if one.key == "sheet_having")
    assert there.value == []
    page, paper = made[-1]
    assert paper.startswith(b"%PDF")
    assert BEYOND in page.split('id="s-on-a-lift"')[1].split("</section>")[0]
    ran(there.set_value(["lift", "workshop"]).run())
    page, paper = made[-1]
    assert paper.startswith(b"%PDF")
    assert BEYOND not in page.split('id="s-on-a-lift"')[1].split("</section>")[0]
