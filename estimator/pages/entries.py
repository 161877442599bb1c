"""Entries of the papers: a list of what there is, each to be changed or taken out where it stands, and one to add.

What is half written stays when another entry is opened, until it is kept or left.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import streamlit as st

from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.pages import entry_forms, session
from estimator.pages.entry_forms import Form
from estimator.views import timeline, words
from estimator.views.field_words import spoken

SHOWN = 12


@dataclass(frozen=True)
class Table:
    """A list of the case: its key in the file, its name on the screen, how to write one, how to show one."""

    key: str
    title: str
    one: str
    help: str
    form: Callable[[Form], None]
    line: Callable[[Any, Case, Catalogue], str]


def _when(entry: Any) -> str:
    if hasattr(entry, "start"):
        return f"{_day(entry.start)} to {_day(entry.end)}"
    return _day(entry.date)


def _day(value: datetime.date) -> str:
    return str(value.year) if (value.month, value.day) == (7, 1) else words.day(value)


def _work_line(entry: Any, case: Case, catalogue: Catalogue) -> str:
    return f"{timeline.work_name(entry, catalogue)}: {timeline.work_line(entry)}"


def _reading_line(entry: Any, case: Case, catalogue: Catalogue) -> str:
    return words.distance(entry.odometer, entry.unit or case.car.unit)


def _swap_line(entry: Any, case: Case, catalogue: Catalogue) -> str:
    unit = entry.unit or case.car.unit
    old = (
        "nobody knows what the old one last showed: the line above adds only what was read before, the estimate the "
        "usual distance since"
        if entry.old is None
        else f"the old one last showed {words.distance(entry.old, unit)}"
    )
    return f"replaced; the new one started at {words.distance(entry.new, unit)}; {old}"


TABLES = {
    one.key: one
    for one in (
        Table(
            "work",
            "Work done",
            "work done, or a part looked at",
            "One entry for every part on a bill; a set the trade does as one is a kit.",
            entry_forms.work,
            _work_line,
        ),
        Table(
            "reading",
            "Odometer",
            "an odometer reading",
            "What it showed on other days: from bills, tests, stickers.",
            entry_forms.reading,
            _reading_line,
        ),
        Table(
            "test",
            "Tests",
            "an official test",
            "A pass speaks for the parts that are tested; advice or a refusal names parts.",
            entry_forms.test,
            lambda entry, case, catalogue: timeline.test_line(entry, catalogue),
        ),
        Table(
            "lived",
            "How it was kept",
            "a period of its life",
            "Where it was kept or used differently from what is said under The car. Periods must not overlap.",
            entry_forms.lived,
            lambda entry, case, catalogue: timeline.lived_line(entry),
        ),
        Table(
            "coverage",
            "Papers complete",
            "a period with complete papers",
            "From when to when the papers claim to hold every bill. What such papers never mention was probably "
            "not done.",
            entry_forms.coverage,
            lambda entry, case, catalogue: timeline.coverage_line(entry),
        ),
        Table(
            "odometer_replaced",
            "Odometer replaced",
            "a replaced odometer",
            "Another odometer was fitted and started at its own figure.",
            entry_forms.odometer_replaced,
            _swap_line,
        ),
    )
}


def show(table: Table, case: Case, catalogue: Catalogue) -> None:
    """The list of a table, newest first, and the form for one more."""
    st.caption(table.help)
    editing = session.note("editing")
    if editing is not None and editing[0] != session.serial():
        _put_by()  # it was of another car, or of this one before it was opened again
        editing = None
    if editing != (session.serial(), table.key, None):
        st.button(
            f"Add {table.one}{_half_written(table.key, None)}",
            key=f"add_{table.key}",
            icon=":material/add:",
            on_click=_edit,
            args=(table.key, None),
        )
    else:
        _form(table, case, catalogue, None)
    records = getattr(case, table.key)
    order = sorted(range(len(records)), key=lambda i: _sort_day(records[i]), reverse=True)
    every = session.note(f"all_{table.key}", False)
    for index in order if every else order[:SHOWN]:
        if editing == (session.serial(), table.key, index):
            _form(table, case, catalogue, index)
        else:
            _row(table, case, catalogue, index)
    if len(order) > SHOWN and not every:
        st.button(f"Show all {len(order)}", key=f"all_{table.key}", on_click=session.remember,
                  args=(f"all_{table.key}", True))  # fmt: skip


def _sort_day(entry: Any) -> datetime.date:
    found: datetime.date = entry.end if hasattr(entry, "end") else entry.date
    return found


def _row(table: Table, case: Case, catalogue: Catalogue, index: int) -> None:
    entry = getattr(case, table.key)[index]
    with st.container(
        key=f"entry_{table.key}_{index}",
        border=True,
        horizontal=True,
        wrap=False,
        vertical_alignment="center",
    ):
        note = f"  \n{words.plain(entry.note)}" if entry.note else ""
        if _ahead(entry):
            note += "  \n**This day has not come yet: is the year right?**"
        st.markdown(
            f"**{_when(entry)}**  \n{words.plain(table.line(entry, case, catalogue))}{note}", width="stretch"
        )
        st.button(
            f"Edit{_half_written(table.key, index)}",
            key=f"edit_{table.key}_{index}",
            on_click=_edit,
            args=(table.key, index),
        )


def _ahead(entry: Any) -> bool:
    return _sort_day(entry) > session.today() + datetime.timedelta(days=1)


def _edit(table: str, index: int | None) -> None:
    _put_by()
    place = _place(table, index)
    for key, value in session.note("entry_drafts", {}).get(place, {}).items():
        session.hold(key, value)
    session.remember("editing", (session.serial(), table, index))
    session.remember("entry_place", place)


def _leave() -> None:
    """Close the form; what stood in it is given up, or has been kept."""
    session.note("entry_drafts", {}).pop(session.note("entry_place"), None)
    _close()


def _put_by() -> None:
    """Close the form; what was changed in it waits for the next time it is opened."""
    place, drafts = session.note("entry_place"), session.note("entry_drafts", {})
    now, first = session.held(entry_forms.PREFIX), session.note("entry_first") or {}
    if place is not None and (place in drafts or any(first.get(k, v) != v for k, v in now.items())):
        drafts[place] = now
    _close()


def _close() -> None:
    session.forget(entry_forms.PREFIX)
    for name in ("editing", "entry_place", "entry_first", "entry_problem"):
        session.remember(name, None)


def _place(table: str, index: int | None) -> tuple[str, str, str]:
    """What a half-written entry belongs to: the car, the list, and the entry as it stands in the case (its number
    changes when one before it is taken out)."""
    entry = "" if index is None else repr(session.entries(table)[index])
    return session.case_id() or str(session.serial()), table, entry


def _half_written(table: str, index: int | None) -> str:
    drafts = session.note("entry_drafts", {})
    return " · half written" if drafts and _place(table, index) in drafts else ""


def _form(table: Table, case: Case, catalogue: Catalogue, index: int | None) -> None:
    original = {} if index is None else session.entries(table.key)[index]
    with st.container(key="entry_form", border=True):
        st.markdown(f"**{'Add' if index is None else 'Change'} {table.one}**")
        form = Form(case, catalogue, original)
        table.form(form)
        if session.note("entry_first") is None:
            session.remember("entry_first", session.held(entry_forms.PREFIX))
        problem = session.note("entry_problem")
        if problem:
            st.error(f"{words.plain(problem)}\n\nWhat you entered stays here.")
        with st.container(horizontal=True):
            st.button(
                "Add" if index is None else "Keep",
                type="primary",
                key="entry_keep",
                on_click=_keep,
                args=(table.key, index, original, form),
            )
            if index is not None:
                st.button("Take out", key="entry_out", on_click=_take_out, args=(table.key, index))
            st.button("Leave as it was", key="entry_leave", on_click=_leave)


def _keep(table: str, index: int | None, original: dict[str, Any], form: Form) -> None:
    error = session.put_entry(table, index, form.result(original))
    if error is None:
        _leave()
    else:
        session.remember("entry_problem", spoken(error, session.case()))


def _take_out(table: str, index: int) -> None:
    error = session.put_entry(table, index, None)
    if error is None:
        _leave()
    else:
        session.remember("entry_problem", spoken(error, session.case()))
