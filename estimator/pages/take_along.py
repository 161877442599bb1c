"""The inspection sheet to take along, and the findings it brings back: nothing in the case is lost by either."""

from __future__ import annotations

from typing import Any

import streamlit as st

from estimator.case import Case, case_data
from estimator.catalogue.load import Catalogue
from estimator.files import InputError, KeyPath, decode_text
from estimator.pages import common, estimate, session
from estimator.report.sheet_content import sheet_of
from estimator.report.sheet_html import file_stem, sheet_html
from estimator.report.sheet_order import worth_of_checks
from estimator.report.sheet_pdf import sheet_pdf
from estimator.report.sheet_reach import HAVING
from estimator.report.sheet_reading import Joined, joined_case, read_sheet
from estimator.views import words

PASTE = "sheet_pasted"
THERE = {"jack": "a jack and stands", "lift": "a lift", "workshop": "a workshop", "tools": "tools and meters"}


def show(case: Case, catalogue: Catalogue) -> None:
    """Both ways, each in a box of its own; what takes time is made when its box is opened."""
    with st.expander("A sheet to take along: paper, or a phone without network", key="sheet_out",
                     on_change="rerun") as box:  # fmt: skip
        if box.open:
            _give(case, catalogue)
    told = session.note("sheet_told")
    with st.expander("Bring a sheet's findings back", key="sheet_back", expanded=bool(told)):
        _take(told)


@st.cache_data(max_entries=8, show_spinner=False)
def _files(
    case: Case, stamp: int, draws: int, having: tuple[str, ...], _catalogue: Catalogue
) -> tuple[str, bytes]:
    worth = worth_of_checks(estimate.fully(case, _catalogue), _catalogue, having=having)
    sheet = sheet_of(case, _catalogue, worth=worth, having=having)
    return sheet_html(sheet, worth=worth), sheet_pdf(sheet, worth=worth)


def _give(case: Case, catalogue: Catalogue) -> None:
    having = st.pills("What will be there for you", HAVING, selection_mode="multi", format_func=THERE.__getitem__,
                      key="sheet_having", persist_state="session")  # fmt: skip
    page, paper = common.worked(
        "Putting the checks in order …",
        lambda: _files(case, id(catalogue), estimate.DRAWS, tuple(having), catalogue),
    )
    stem = file_stem(case.name)
    st.caption(
        "Nothing on either is a price or a chance. Send the file to the phone and open it in a browser there."
    )
    with st.container(horizontal=True):
        st.download_button("For a phone (one file)", page, f"{stem}-sheet.html", "text/html", key="sheet_html",
                           icon=":material/smartphone:", on_click="ignore")  # fmt: skip
        st.download_button("For paper (PDF)", paper, f"{stem}-sheet.pdf", "application/pdf", key="sheet_pdf",
                           icon=":material/print:", on_click="ignore")  # fmt: skip


def _take(told: str | None) -> None:
    st.caption(
        "Findings that are here already stay; where the sheet says otherwise, the note keeps what stood before."
    )
    st.text_area("Paste what the phone copied", key=session.start(PASTE, ""), height=120)
    st.button("Read it in", key="sheet_read", on_click=_read_pasted, width="stretch")
    upload = st.file_uploader("Or the file it saved", type=["toml", "txt"], key=f"sheet_file_{session.serial()}",
                              max_upload_size=2)  # fmt: skip
    if upload is not None and session.note("sheet_seen") != upload.file_id:
        session.remember("sheet_seen", upload.file_id)
        try:
            text = decode_text(upload.getvalue(), upload.name)
        except InputError as error:
            _say(problem=str(error))
        else:
            read_in(text, name=upload.name)
        st.rerun()
    if session.note("sheet_problem"):
        st.error(f"Nothing was read in.\n\n{common.lines(session.note('sheet_problem'))}")
    other = session.note("sheet_other")
    if other is not None:
        text, name, car = other
        st.warning(f"This sheet was made for another car: {words.plain(car)}. Nothing has been read in yet.")
        st.button("Read it in all the same", key="sheet_anyway", on_click=_anyway, args=(text, name))  # fmt: skip
    if told:
        st.info(words.plain(told), icon=":material/done:")


def _anyway(text: str, name: str) -> None:
    read_in(text, name=name, anyway=True)


def _read_pasted() -> None:
    if read_in(session.value(PASTE, "")):
        session.hold(PASTE, "")


def _say(
    *, told: str | None = None, problem: str | None = None, other: tuple[str, str, str] | None = None
) -> None:
    session.remember("sheet_told", told)
    session.remember("sheet_problem", problem)
    session.remember("sheet_other", other)


def read_in(text: str, *, name: str = "the pasted text", anyway: bool = False) -> bool:
    """Put a sheet's findings into the open case; True if that was done. What is wrong is kept to be shown."""
    case = session.case()
    if case is None:
        return False
    catalogue = session.catalogue()
    try:
        joined = joined_case(case, read_sheet(text, catalogue, name=name), catalogue, name=name)
    except InputError as error:
        _say(problem=str(error))
        return False
    if joined.other_car and not anyway:
        _say(other=(text, name, joined.other_car))
        return False
    findings = case_data(joined.case).get("finding")
    edits: dict[KeyPath, Any] = {("finding",): findings, ("car", "note"): joined.case.car.note or None}
    if joined.case.bought != case.bought and joined.case.bought is not None:
        edits["bought", "as_of"] = joined.case.bought.as_of
    refused = session.change(edits, keep=False)
    if refused is not None:
        _say(problem=str(refused))
        return False
    _say(told=said(joined))
    return True


def said(joined: Joined) -> str:
    """How many findings came in, changed, and were there before."""
    counts = (
        (len(joined.added), "new"),
        (len(joined.changed), "changed"),
        (len(joined.same), "here already"),
    )
    parts = [f"{count} {what}" for count, what in counts if count]
    told = f"Read in: {words.listed(parts)}." if parts else "Read in: notes only."
    return " ".join([told, *(f"{words.sentence(note)}." for note in joined.notes)])
