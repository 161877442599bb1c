"""Keeping it: what the years cost, what it goes on, per year and per distance; selling now against keeping."""

import streamlit as st

from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.decide.keep import Keeping, keep
from estimator.pages import common, estimate, menu, session
from estimator.views import keeping, words, year_charts

YEARS = (3, 5, 8, 12, 20)


@st.cache_data(max_entries=30, show_spinner=False)
def keeping_for(
    case: Case, stamp: int, draws: int, years: int, comfort: bool, _catalogue: Catalogue
) -> Keeping:
    """The cost of keeping, kept for the cases last looked at."""
    return keep(case, _catalogue, years=years, comfort=comfort, result=estimate.fully(case, _catalogue))


case, catalogue = common.begin("Keeping it")
years = st.pills("For how many years", YEARS, key=session.start("keeping_years", 5), persist_state="session")
comfort = st.toggle(
    "Comfort and looks too", key=session.start("keeping_comfort", False), persist_state="session"
)
found = common.worked(
    "Living the years with this car, renewal after renewal …",
    lambda: keeping_for(case, id(catalogue), estimate.DRAWS, years or 5, comfort, catalogue),
)
common.show_stops(found.stops, catalogue)
common.show_open(
    (catalogue.checks[check].name for check in found.open_stops),
    "Not looked at yet: any of these can end the matter, whatever the sums say",
)
with st.container(key="headline"):
    st.header(words.plain(keeping.headline(found)), anchor=False)
st.markdown(words.plain(keeping.spread(found)))
st.altair_chart(
    year_charts.keeping_years(keeping.years(found), keeping.bands(found), currency=found.currency),
    alt=keeping.years_alt(found),
)
st.caption(
    "Bars: the average of each year, money of its day. Lines: the whole year in four cases of five. Below zero: the "
    "car gains in value. Service holds inspections; fixed costs are insurance, tax and storage."
)

st.header("What it goes on", anchor=False)
split = keeping.split(found)
st.altair_chart(year_charts.keeping_split(split, currency=found.currency), alt=keeping.split_alt(found))
with st.expander("As a table", key="keeping_table"):
    rows = [
        f"| {words.sentence(r['name'])} | {words.plain(words.money(r['nominal'], found.currency))} "
        f"| {words.plain(words.money(r['present'], found.currency))} |"
        for r in split.to_dict("records")
    ]
    whole = (f"| **Together** | **{words.plain(words.money(sum(found.parts.values()), found.currency))}** "
             f"| **{words.plain(words.money(sum(found.present_parts.values()), found.currency))}** |")  # fmt: skip
    st.markdown("| | money of the day | today's money |\n|---|---|---|\n" + "\n".join([*rows, whole]))
st.caption(words.plain(keeping.rates(found)))

st.header("Sell now, or keep it", anchor=False)
st.markdown(words.plain(keeping.sell_now(found)))

st.header("What this rests on", anchor=False)
st.markdown("\n".join(f"- {words.plain(one)}" for one in found.notes))
st.markdown(f"**{words.CAUTION}**")
common.show_taken(found.warnings)
menu.show_next("keeping.py")
