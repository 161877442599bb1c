"""What the later pages share: how each begins, the slow part behind a spinner, stops before any sum."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

import streamlit as st

from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.files import InputError
from estimator.pages import menu, opening, session
from estimator.views import sentences, words
from estimator.views.field_words import doubt_in_words, spoken

Made = TypeVar("Made")


def begin(title: str) -> tuple[Case, Catalogue]:
    """The title and the open car; without one the way back, and the page ends here."""
    case = session.case()
    if case is None:
        opening.show_way_back(title)
        st.stop()
    st.title(title)
    st.caption(words.plain(sentences.as_of(case)))
    return case, session.catalogue()


def worked(saying: str, make: Callable[[], Made]) -> Made:
    """What `make` returns, a spinner in its place meanwhile; what the case lacks is said, and the page ends here."""
    with st.container(), st.spinner(saying, show_time=True):
        try:
            return make()
        except InputError as error:
            st.info(words.plain(spoken(error)), icon=":material/edit:")
    st.page_link(menu.page("the_car.py"), label="The car", icon=":material/arrow_back:")
    st.page_link(menu.page("inspection.py"), label="Inspection", icon=":material/arrow_back:")
    st.stop()


def lines(message: str) -> str:
    """A message of several lines as Markdown that keeps them."""
    return "\n\n".join(words.plain(line) for line in message.splitlines())


def show_stops(stops: Iterable[tuple[str, str]], catalogue: Catalogue) -> None:
    """Stops that came out badly: (id of the check, what follows)."""
    failed = list(stops)
    if not failed:
        return
    with st.container(key="stops"):
        st.subheader("Stop" if len(failed) == 1 else "Stops", anchor=False)
        for check, text in failed:
            st.markdown(f"**{words.plain(catalogue.checks[check].name)}.** {words.plain(text)}")
        st.caption("Settle this before any sum below means anything.")


def show_open(lines: Iterable[str], saying: str) -> None:
    """Stops not looked at yet, each a line, under what they mean."""
    told = list(lines)
    if told:
        with st.container(key="stops_open"):
            st.markdown(f"**{saying}**")
            st.markdown("\n".join(f"- {words.plain(one)}" for one in told))


def show_taken(warnings: Iterable[str]) -> None:
    """What the case leaves open, and what was taken in its place."""
    told = list(warnings)
    if told:
        with st.expander(f"Not said, or doubtful ({len(told)}): what was taken instead", key="taken"):
            st.markdown("\n".join(f"- {words.plain(doubt_in_words(one, session.case()))}" for one in told))
