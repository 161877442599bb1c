"""One job card on the screen, cautions first; all of them to print."""

from __future__ import annotations

import streamlit as st

from estimator.catalogue.load import Catalogue
from estimator.decide.plan_records import Plan
from estimator.pages import session
from estimator.report.job_card_pages import cards_html, sections
from estimator.report.job_cards import job_card, job_cards
from estimator.report.sheet_html import file_stem
from estimator.views import first_year, words

OPEN = ("Who may do it", "Mark before apart", "What comes off, in this order")


def show(plan: Plan, catalogue: Catalogue) -> None:
    """A job to choose, its card, what to do with each part in one's hands, and the cards to print."""
    jobs = [*plan.jobs, *plan.left_out]
    by_id = {job.id: job for job in jobs}
    key = f"card_{session.serial()}"
    if session.value(key) not in by_id:
        session.hold(key, jobs[0].id)
    chosen = st.selectbox(
        "Job", list(by_id), key=key, format_func=lambda one: words.sentence(by_id[one].name),
        persist_state="session",
    )  # fmt: skip
    job = by_id[chosen or jobs[0].id]
    card = job_card(plan, job, catalogue)
    with st.container(key="job_card", border=True):
        st.markdown(f"**{words.plain(card.title)}**")
        st.caption(words.plain(" · ".join(card.head)))
        for caution in card.cautions:
            st.warning(words.plain(caution), icon=":material/front_hand:")
        for head, lines in sections(card):
            with st.expander(head, key=f"card_{head}", expanded=head in OPEN):
                bullet = "" if head.startswith("What comes off") else "- "  # those are numbered already
                st.markdown("\n".join(f"{bullet}{words.plain(line)}" for line in lines))
        neighbours = first_year.apart(plan, catalogue.components, job=job.id)
        if neighbours:
            with st.expander("While it is apart: renew now, or put back", key="card_apart"):
                st.markdown("\n".join(f"- {words.plain(one)}." for one in neighbours))
        ways = first_year.options(plan, catalogue.components, job.id)
        if ways:
            with st.expander("With each part in your hands: what it comes to", key="card_options"):
                st.caption(
                    f"Now and over {plan.horizon_years:g} years, the cheapest first; strip-down is paid either way."
                )
                st.markdown("\n".join(f"- {one}" for one in ways))
    st.download_button(
        f"All {len(jobs)} cards to print", cards_html(job_cards(plan, catalogue), title=plan.case),
        f"{file_stem(plan.case)}-job-cards.html", "text/html", key="cards_html", icon=":material/print:",
        on_click="ignore",
    )  # fmt: skip
