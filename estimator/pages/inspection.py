"""Inspection: the checks that fit this car, station by station in walking order, answered with one thumb."""

import streamlit as st

from estimator import viewing
from estimator.pages import menu, one_check, opening, session, take_along
from estimator.views import sentences, words

case = session.case()
if case is None:
    opening.show_way_back("Inspection")
    st.stop()
catalogue = session.catalogue()

st.title("Inspection")
stops = viewing.stations(case, catalogue)
every = [check for stop in stops for check in stop.checks]
within = [check for check in every if viewing.out_of_reach(check, case) is None]
done = viewing.looked_at(case, every)
st.progress(done / max(len(every), 1), text=sentences.progress(done, len(every)))

day = one_check.answers_of(case)
if day is not None:
    st.caption(f"The car is yours: answers are of {words.day(day)}, and what was seen at the viewing stays.")

names = [stop.station for stop in stops]
station = st.selectbox(
    "Station",
    names,
    format_func=lambda one: words.STATIONS[one],  # no counts: Streamlit knows an option by its label
    **session.steady("inspection_station", names[0], names),
)
sought = st.text_input(
    "Find a check in all stations",
    key=session.start("inspection_sought", ""),
    placeholder="clutch, sill, fuel smell …",
)
with st.expander("How you look, and what is listed", key="inspection_how"):
    how = st.pills(
        "New entries are made",
        list(words.CHOICES["how"]),
        format_func=lambda one: words.CHOICES["how"][one],
        wrap=True,
        **session.steady("inspection_how_made", "in-person"),
    )
    badly = st.toggle(
        "In the dark, in the wet, in a hurry",
        help="What is looked at badly proves less.",
        **session.steady("inspection_badly", False),
    )
    show = st.pills(
        "Listed are",
        ["all", "not looked at yet", "looked at"],
        **session.steady("inspection_listed", "all"),
    )
manner = one_check.Manner(how or "in-person", badly)

made = {finding.check for finding in case.finding}
if sought.strip():
    listed = one_check.matching(every, sought)
    st.caption(f"{words.sentence(words.plural(len(listed), 'check'))} in all stations with these words.")
else:
    listed = [check for stop in stops if stop.station == station for check in stop.checks]
    st.header(words.STATIONS[station], anchor=False)
    st.caption(sentences.progress(viewing.looked_at(case, listed), len(listed)) + " at this station.")
listed = one_check.wanted(listed, made, show or "all")

told: set[str] = set()
beyond = []
for check in listed:
    reason = viewing.out_of_reach(check, case)
    if reason is not None and check.id not in made:
        beyond.append((check, reason))
        continue
    one_check.show(check, case, catalogue, manner, told=told, with_station=bool(sought.strip()))
if not listed:
    st.caption("Nothing here.")
if beyond:
    with st.expander(f"Not possible on this car as it stands ({len(beyond)})", key="inspection_beyond"):
        for check, reason in beyond:
            st.markdown(f"- {words.plain(check.name)}: {reason}")

if not sought.strip() and station in names[:-1]:
    following = names[names.index(station) + 1]
    st.button(
        f"Next station: {words.STATIONS[following]}",
        key="inspection_onward",
        icon=":material/arrow_forward:",
        on_click=one_check.go_to,
        args=(following,),
        width="stretch",
    )
take_along.show(case, catalogue)
menu.scroll_up()
menu.show_next("inspection.py")
