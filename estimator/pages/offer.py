"""The offer: what to open with, aim for and walk away at, for the buyer alone; and a sheet for the table."""

import streamlit as st

from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.decide.offer import Offer
from estimator.decide.offer import offer as price_of_case
from estimator.decide.stakes import need
from estimator.pages import common, estimate, menu, session
from estimator.report.table_sheet import file_stem, table_html, table_sheet, table_text
from estimator.views import decision_charts, offering, sentences, words

EXPLAINED = ("owned", "highest_bid", "opening", "target", "fair", "walk_away", "warranty")


@st.cache_data(max_entries=40, show_spinner=False)
def offer_for(case: Case, stamp: int, draws: int, _catalogue: Catalogue) -> Offer:
    """The prices, kept for the cases last looked at."""
    need(case)
    return price_of_case(case, _catalogue, result=estimate.fully(case, _catalogue))


case, catalogue = common.begin("The offer")
currency = case.money.currency
found = common.worked(
    "Weighing what it is worth to you …", lambda: offer_for(case, id(catalogue), estimate.DRAWS, catalogue)
)
common.show_stops(found.failed_stops, catalogue)
if found.open_stops:
    st.markdown(f"**{words.plain(offering.open_stops(found))}**")
    st.page_link(menu.page("next_look.py"), label="What to look at next", icon=":material/arrow_back:")
with st.container(key="headline"):
    st.header(words.plain(offering.headline(found)), anchor=False)
if not found.owned:
    st.caption("For you alone. What the seller may read is the sheet at the foot of this page.")
st.altair_chart(
    decision_charts.prices(offering.prices(found), currency=currency), alt=offering.prices_alt(found)
)
said = [found.sentences[name] for name in EXPLAINED if found.sentences.get(name)]
st.markdown("\n".join(f"- {words.plain(sentences.in_money(one, currency))}" for one in dict.fromkeys(said)))
st.header("What it is worth" if found.owned else "How the fair price comes about", anchor=False)
st.markdown(words.plain(offering.steps(found)))

if found.chance_budget_holds:
    st.header("Whether the budget holds", anchor=False)
    if found.sentences.get("budget"):
        st.markdown(words.plain(sentences.in_money(found.sentences["budget"], currency)))
    if not found.owned:
        st.altair_chart(
            decision_charts.budget_holds(offering.curve(found), offering.marks(found), currency=currency),
            alt=offering.curve_alt(found),
        )
if found.owned:
    st.markdown(f"**{words.CAUTION}**")
    common.show_taken(found.warnings)
    menu.show_next("offer.py")
    st.stop()
price = st.number_input(
    f"Try a price ({currency})", min_value=0.0, value=None, step=100.0, format="%.0f",
    key=session.start(f"offer_try_{session.serial()}", None), placeholder="what the seller says they would take",
    persist_state="session",
)  # fmt: skip
if price is not None:
    st.markdown(words.plain(offering.at_price(found, price)))

if found.highest_bid is None:
    st.header("What a concession is worth", anchor=False)
    if len(found.concessions) > 1 and found.sentences.get("fixed_first"):
        st.markdown(words.plain(sentences.in_money(found.sentences["fixed_first"], currency)))
    gives = offering.concessions(found)
    if gives.empty:
        st.caption(
            "Nothing has been found that could be put right, and nothing is asked that could come down."
        )
    else:
        st.altair_chart(
            decision_charts.concessions(gives, currency=currency), alt=offering.concessions_alt(found)
        )

st.header("The sheet for the table", anchor=False)
st.markdown(
    "What is good, what was found and what putting it right costs, what was not looked at. It holds nothing of yours: "
    "no budget, no limit, no price, not even the name you gave the car. Lay it between you."
)
sheet = table_sheet(estimate.fully(case, catalogue))
with st.container(horizontal=True):
    st.download_button("To print (one page)", table_html(sheet), f"{file_stem(sheet)}.html", "text/html",
                       key="table_html", icon=":material/print:", on_click="ignore")  # fmt: skip
    st.download_button("As text", table_text(sheet), f"{file_stem(sheet)}.txt", "text/plain",
                       key="table_text", icon=":material/chat:", on_click="ignore")  # fmt: skip
with st.expander("What it says", key="table_sheet"):
    st.code(table_text(sheet), language=None, wrap_lines=True)
st.markdown(f"**{words.CAUTION}**")
common.show_taken(found.warnings)
menu.show_next("offer.py")
