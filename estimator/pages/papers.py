"""Papers: what is on record, entry by entry, and on a line of time."""

import streamlit as st

from estimator.pages import entries, menu, opening, session
from estimator.views import timeline, words

case = session.case()
if case is None:
    opening.show_way_back("Papers")
    st.stop()
catalogue = session.catalogue()

st.title("Papers")
count = sum(len(getattr(case, table)) for table in entries.TABLES)
st.markdown(
    f"{words.sentence(words.plural(count, 'entry', 'entries'))} for {words.plain(case.name)}. What is written "
    "counts, and so does what complete papers never mention."
)

dated = timeline.history(case, catalogue)
if len(dated):
    st.altair_chart(timeline.chart(dated, case=case), alt=timeline.alt_text(dated))
readings = timeline.readings(case)
if len(readings) > 1:
    st.altair_chart(
        timeline.readings_chart(readings, case=case), alt=timeline.readings_alt(readings, case=case)
    )

chosen = st.pills(
    "What to enter",
    list(entries.TABLES),
    format_func=lambda table: f"{entries.TABLES[table].title} · {len(getattr(case, table))}",
    **session.steady("papers_table", "work", entries.TABLES),
    label_visibility="collapsed",
    wrap=True,
)
entries.show(entries.TABLES[chosen or "work"], case, catalogue)

menu.show_next("papers.py")
