"""The pages in the order of the buyer's questions, the row of links above them, the step at their foot."""

from __future__ import annotations

from pathlib import Path

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from estimator.pages import session

HERE = Path(__file__).resolve().parent
LOOK = HERE / "look.css"
TO_TOP = "<script>document.querySelector('[data-testid=\"stMain\"]')?.scrollTo(0, 0) /* {turn} */</script>"
IN_SIGHT = """<script>for (const wait of [50, 600, 2000]) setTimeout(() => {{  // the links may be a moment late
  const row = document.querySelector('.st-key-menu'), link = row?.querySelector('a[href$="{address}"]');
  if (!link) return;
  const at = link.getBoundingClientRect(), room = row.getBoundingClientRect();
  if (at.left < room.left || at.right > room.right) row.scrollLeft += (at.left + at.right - room.left - room.right) / 2;
}}, wait)</script>"""

# File, title, address, label in the row. A page whose file does not exist yet is left out.
JOURNEY = (
    ("the_car.py", "The car", "car", "The car"),
    ("papers.py", "Papers", "papers", "Papers"),
    ("inspection.py", "Inspection", "inspection", "Inspection"),
    ("cost.py", "What it will cost", "cost", "Cost"),
    ("next_look.py", "What to look at next", "next", "Look next"),
    ("offer.py", "The offer", "offer", "Offer"),
    ("first_year.py", "The first year", "first-year", "First year"),
    ("keeping.py", "Keeping it", "keeping", "Keeping it"),
    ("candidates.py", "Candidates", "candidates", "Candidates"),
    ("worked_out.py", "How this was worked out", "how", "How"),
)


def _present() -> list[tuple[str, str, str, str]]:
    return [entry for entry in JOURNEY if (HERE / entry[0]).is_file()]


def page(file: str) -> StreamlitPage:
    """One page by its file name, to link to."""
    for position, (name, title, address, _) in enumerate(JOURNEY):
        if name == file:
            return st.Page(HERE / name, title=title, url_path=address, default=position == 0)
    raise ValueError(f"there is no page {file!r}")


def pages() -> list[StreamlitPage]:
    """All pages there are, first the one a visit starts with."""
    return [page(name) for name, *_ in _present()]


def show_row(here: StreamlitPage) -> None:
    """The look and the row of links: one line that scrolls sideways on a phone, the page one is on in sight."""
    st.html(LOOK)
    with st.container(horizontal=True, wrap=False, key="menu", gap=None):
        for name, _, _, label in _present():
            st.page_link(page(name), label=label, width="content")
        if here.url_path:  # the first page needs no scrolling to
            st.html(IN_SIGHT.format(address=here.url_path), unsafe_allow_javascript=True)


def show_next(file: str) -> None:
    """At the foot of a page: the step after it."""
    names = [name for name, *_ in _present()]
    place = names.index(file) + 1
    if place < len(names):
        title = _present()[place][1]
        with st.container(key="onward"):
            st.page_link(page(names[place]), label=f"Next: {title}", icon=":material/arrow_forward:")


def scroll_up() -> None:
    """After another car or station was opened: begin at the top. One line of script, as Streamlit keeps the place."""
    if session.note("scroll_up"):
        session.remember("scroll_up", False)
        turn = session.note("turns", 0) + 1
        session.remember("turns", turn)
        st.html(TO_TOP.format(turn=turn), unsafe_allow_javascript=True)
