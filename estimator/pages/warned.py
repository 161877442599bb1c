"""Above every page: what went wrong with keeping things, and a car that another window changed meanwhile."""

from __future__ import annotations

import streamlit as st

from estimator.pages import session
from estimator.pages.edits import differences
from estimator.views import words
from estimator.views.field_words import changes

MOST = 6


def show() -> None:
    """Nothing, while all is well."""
    found = session.troubles()
    for trouble in found:
        st.warning(words.plain(trouble))
    if found:
        st.button("I have read it", key="troubles_read", on_click=session.troubles_read)
    _overtaken()


def _overtaken() -> None:
    case, other = session.case(), session.overtaken()
    if case is None or other is None:
        return
    version, there = other
    with st.container(key="overtaken", border=True):
        st.markdown(
            f"**This car was changed in another window, too** ({version.saved.astimezone():%H:%M}). What you entered "
            "here did not have that in it. Both are kept; which one do you want to go on with?"
        )
        told = [] if there is None else changes(differences(case, there))
        more = [f"and {len(told) - MOST} more"] if len(told) > MOST else []
        if told:
            st.markdown("\n".join(f"- {words.plain(one)}" for one in (*told[:MOST], *more)))
        with st.container(horizontal=True):
            st.button(
                "Go on with what is here", key="overtaken_own", type="primary", on_click=session.keep_own
            )
            st.button(
                "Take the other window's",
                key="overtaken_other",
                on_click=_take_other,
                args=(version.case_id, version.number),
            )
        if session.note("other_problem"):
            st.error(words.plain(session.note("other_problem")))
        st.caption("The one you do not take stays among the earlier versions, on the page The car.")


def _take_other(case_id: str, number: int) -> None:
    error = session.open_kept(case_id, number)
    session.remember("other_problem", str(error) if error else None)
