"""What was entered survives another window, another entry being opened, and a deletion. By hand: what was typed where,
and what must still be there."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from streamlit.testing.v1 import AppTest

from estimator.case import parse_case
from estimator.store import Store
from tests.pages.conftest import APP, case_of, go, ran, words_on

Opened = Callable[[str], AppTest]


def other_window(at: AppTest) -> AppTest:
    """The same car in a second window."""
    again = AppTest.from_file(str(APP), default_timeout=120)
    again.query_params["car"] = Store().list()[0].case_id
    return ran(again.run())


def overtaken(at: AppTest) -> bool:
    return any(button.key == "overtaken_other" for button in at.button)


def two_windows(opened: Opened) -> tuple[AppTest, AppTest]:
    """One window asks 7,000; the other, which never saw that, notes a sheet's remark on another page."""
    one = opened("small-saloon")
    other = go(other_window(one), "inspection")
    one = ran(one.number_input(key="c1_money.asking").set_value(7_000.0).run())
    other.text_area(key="sheet_pasted").set_value('format = 1\n[sheet]\nnote = "rain all day"\n')
    return one, ran(other.button(key="sheet_read").click().run())


def test_a_window_that_overtakes_another_is_told_on_the_page_it_is_on(opened: Opened) -> None:
    one, other = two_windows(opened)
    assert not overtaken(one)
    assert overtaken(other)
    said = words_on(other).replace("\\", "")
    assert "changed in another window" in said
    assert "Asking price: " in said
    assert "money." not in said
    assert "7,000 there" in said
    assert overtaken(go(other, "papers"))  # and on every page until he chooses


@pytest.mark.parametrize(
    ("key", "asking", "note"), [("overtaken_other", 7_000, False), ("overtaken_own", 7_950, True)]
)
def test_either_version_may_be_taken_and_neither_is_lost(
    opened: Opened, key: str, asking: int, note: bool
) -> None:
    other = two_windows(opened)[1]
    chosen = ran(other.button(key=key).click().run())
    assert not overtaken(chosen)
    found = case_of(chosen)
    assert found.money.asking == asking
    assert ("rain all day" in found.car.note) == note
    store = Store()
    case_id = store.list()[0].case_id
    every = [parse_case(store.text(case_id, v.number)) for v in store.versions(case_id)]
    assert any(one.money.asking == 7_000 for one in every)
    assert any("rain all day" in one.car.note for one in every)
    assert parse_case(store.text(case_id)) == found


def test_trouble_with_keeping_things_is_told_on_every_page_until_read(opened: Opened) -> None:
    at = opened("estate")
    at.session_state["own_store_trouble"] = "the disk is full"
    at = go(at, "papers")
    assert "the disk is full" in words_on(at)
    at = ran(at.button(key="troubles_read").click().run())
    assert "the disk is full" not in words_on(at)


def test_a_half_written_entry_waits_while_another_is_opened(opened: Opened) -> None:
    at = go(opened("coupe"), "papers")
    before = case_of(at)
    at = ran(at.button(key="add_work").click().run())
    at.text_input(key="entry_field_note").set_value("half a thought")
    at = ran(at.selectbox(key="entry_field_component").set_value("coolant-hoses").run())
    at = ran(at.button(key="edit_work_0").click().run())
    assert at.text_input(key="entry_field_note").value != "half a thought"
    assert "half written" in at.button(key="add_work").label
    at = ran(at.text_input(key="entry_field_note").set_value("of the first entry").run())
    at = ran(at.button(key="add_work").click().run())
    assert at.text_input(key="entry_field_note").value == "half a thought"
    assert at.selectbox(key="entry_field_component").value == "coolant-hoses"
    at = ran(at.button(key="edit_work_0").click().run())
    assert at.text_input(key="entry_field_note").value == "of the first entry"
    at = ran(at.button(key="entry_leave").click().run())
    at = ran(at.button(key="edit_work_0").click().run())  # left on purpose: as it was
    assert at.text_input(key="entry_field_note").value == before.work[0].note
    assert case_of(at) == before


def test_an_entry_that_was_kept_leaves_no_draft(opened: Opened) -> None:
    at = go(opened("coupe"), "papers")
    at = ran(at.button(key="add_work").click().run())
    at = ran(at.text_input(key="entry_field_date").set_value("2001-04-03").run())
    at = ran(at.button(key="edit_work_0").click().run())
    at = ran(at.button(key="add_work").click().run())
    at = ran(at.selectbox(key="entry_field_component").set_value("coolant-hoses").run())
    at = ran(at.button(key="entry_keep").click().run())
    assert case_of(at).work[-1].component == "coolant-hoses"
    at = ran(at.button(key="add_work").click().run())
    assert at.text_input(key="entry_field_date").value == ""


def test_a_deleted_car_comes_back_with_every_version(opened: Opened) -> None:
    at = opened("estate")
    at = ran(at.number_input(key="c1_money.asking").set_value(8_000.0).run())
    before, entry = case_of(at), Store().list()[0]
    at = ran(at.button(key="delete_car").click().run())
    assert case_of(at) is None
    assert Store().list() == ()
    assert f"kept_{entry.case_id}" not in [b.key for b in at.button]
    at = ran(at.button(key="undo").click().run())
    assert case_of(at) == before
    assert Store().list()[0].versions == entry.versions

    at = ran(at.button(key="delete_car").click().run())
    later = ran(AppTest.from_file(str(APP), default_timeout=120).run())  # another day: no undo, but a list
    later = ran(later.button(key=f"deleted_{entry.case_id}").click().run())
    assert case_of(later) == before
