"""What it will cost: stops first, one sentence, one picture; then part by part, with reasons."""

import streamlit as st

from estimator.assess import Assessment
from estimator.files import InputError
from estimator.pages import breakdown, drawing, estimate, menu, opening, session
from estimator.views import charts, frames, sentences, words
from estimator.views.field_words import spoken

case = session.case()
if case is None:
    opening.show_way_back("What it will cost")
    st.stop()
catalogue = session.catalogue()

st.title("What it will cost")
st.caption(words.plain(sentences.as_of(case)))
page = st.container()
with page, st.spinner("Working it out: a few seconds the first time a car's papers change …", show_time=True):
    try:
        a: Assessment = estimate.of(case, catalogue)
        left_over = estimate.budget(case, catalogue)
    except InputError as error:
        st.error(words.plain(spoken(error, case)))
        st.page_link(menu.page("inspection.py"), label="Inspection", icon=":material/arrow_back:")
        st.stop()
room = None if left_over is None else left_over.reach  # of listed work

if a.stops:
    with st.container(key="stops"):
        st.subheader("Stop" if len(a.stops) == 1 else "Stops", anchor=False)
        for check, text in a.stops:
            st.markdown(f"**{words.plain(catalogue.checks[check].name)}.** {words.plain(text)}")
        st.caption("Settle this before any sum below means anything.")
if a.open_stops:
    with st.expander(f"{words.plural(len(a.open_stops), 'stop')} not looked at yet", key="open_stops"):
        st.caption("Each of these alone can end the deal. They come before any sum.")
        for check in a.open_stops:
            record = catalogue.checks[check]
            st.markdown(f"- {words.plain(record.name)} ({words.STATIONS[record.station].lower()})")
        st.page_link(menu.page("inspection.py"), label="Inspection", icon=":material/arrow_forward:")

with st.container(key="headline"):
    st.header(sentences.headline(a), anchor=False)
st.markdown(" ".join(filter(None, (sentences.worst(a), sentences.budget(left_over)))))
moved = sentences.change(session.looked(case, (a.total.plan_year.p50, a.total.plan_year.p80)), a)
if moved:
    st.info(moved, icon=":material/compare_arrows:")

left, right = st.columns(2, gap="large")
with left:
    st.markdown("**Twenty dots, each an equally likely outcome**")
    st.altair_chart(
        drawing.inked(charts.dots(frames.dots(a, room=room), currency=a.currency, room=room)),
        alt=sentences.dots_alt(a, room),
    )
    if room is not None and room > 0:
        st.caption(sentences.beyond(a, room))
with right:
    st.markdown("**The same as a curve: the chance of more than each sum**")
    st.altair_chart(
        drawing.inked(charts.exceedance(frames.exceedance(a), currency=a.currency, room=room)),
        alt=sentences.exceedance_alt(a, left_over),
    )
st.markdown(f"**{words.CAUTION}**")

st.header("Found, and not seen yet", anchor=False)
st.markdown(sentences.found(a))
st.altair_chart(
    drawing.inked(charts.found_and_not(frames.found_and_not(a), currency=a.currency)),
    alt=sentences.found_alt(a),
)
breakdown.show_totals(a)
breakdown.show_suspects(a)

st.header("Where on the car", anchor=False)
drawing.show(a, catalogue.complete_traits(frozenset(case.car.traits)))

st.header("Part by part", anchor=False)
breakdown.show_parts(a)

st.header("When", anchor=False)
st.markdown(sentences.at_once(a))
st.altair_chart(charts.months(frames.months(a), currency=a.currency), alt=sentences.months_alt(a))

st.header("What this rests on", anchor=False)
breakdown.show_basis(a, case)
menu.show_next("cost.py")
