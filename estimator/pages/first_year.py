"""The first year: what comes in which month and what it takes; orders, job cards, and what was really done."""

import streamlit as st

from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.decide.plan import Plan, plan_year
from estimator.pages import common, estimate, job_card, menu, order_list, really_done
from estimator.views import first_year, words, year_charts


@st.cache_resource(max_entries=6, show_spinner=False)
def plan_for(case: Case, stamp: int, draws: int, _catalogue: Catalogue) -> Plan:
    """The plan, kept for the cases last looked at."""
    return plan_year(case, _catalogue, result=estimate.fully(case, _catalogue))


case, catalogue = common.begin("The first year")
plan = common.worked(
    "Putting jobs into months and drawing what they cost …",
    lambda: plan_for(case, id(catalogue), estimate.DRAWS, catalogue),
)
common.show_stops(plan.stops, catalogue)
common.show_open(
    (catalogue.checks[check].name for check in plan.open_stops),
    "Not looked at yet: any of these can end the matter, whatever the plan says",
)
with st.container(key="headline"):
    st.header(words.plain(first_year.headline(plan)), anchor=False)
st.markdown(words.plain(f"{first_year.status(plan)} {first_year.money(plan)}"))
st.caption(words.plain(first_year.against_estimate(plan, lambda x: words.money(x, plan.currency))))
if case.bought is None and case.car.sale != "owned":
    st.caption("This is what buying it would start.")
frame, paid = first_year.band(plan), first_year.spent(case, plan)
st.altair_chart(year_charts.cash_band(frame, paid, currency=plan.currency), alt=first_year.band_alt(plan))
st.caption(
    "The band holds in four cases of five, the line is the middle."
    + (" Dashed: the money there by then." if frame["money"].notna().any() else "")
    + (" Rings: what was really paid." if not paid.empty else "")
)
st.caption(words.plain(first_year.limits(case)))
st.page_link(menu.page("the_car.py"), label="Change the limits", icon=":material/arrow_back:")

st.header("Month by month", anchor=False)
st.altair_chart(
    year_charts.months(first_year.months(plan), currency=plan.currency), alt=first_year.months_alt(plan)
)
for month, jobs in first_year.calendar(plan):
    with st.container(border=True):
        st.markdown(f"**{words.plain(month)}**")
        st.markdown("\n".join(f"- {words.plain(one)}" for one in jobs))
if plan.notes:
    with st.expander("What the plan says besides", key="plan_notes", expanded=not plan.jobs):
        st.markdown("\n".join(f"- {words.plain(one)}" for one in plan.notes))
if plan.left_out:
    st.subheader("What does not fit", anchor=False)
    st.markdown("\n".join(f"- {words.plain(first_year.why_left(job))}" for job in plan.left_out))
    st.markdown("What keeps it out, and what would free it:")
    st.markdown("\n".join(f"- **{words.plain(b.limit)}:** {words.plain(b.text)}" for b in plan.binds))

if plan.jobs or plan.left_out:
    st.header("Job cards", anchor=False)
    job_card.show(plan, catalogue)
st.header("What to order", anchor=False)
order_list.show(plan)
st.header("What was really done", anchor=False)
really_done.show(case, catalogue, plan)
st.markdown(f"**{words.CAUTION}**")
common.show_taken(plan.warnings)
menu.show_next("first_year.py")
