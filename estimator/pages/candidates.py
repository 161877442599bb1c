"""Candidates: kept cars side by side, what each costs with its first year, and which to choose."""

import streamlit as st

from estimator.case import Case, parse_case
from estimator.catalogue.load import Catalogue
from estimator.decide.compare import Comparison, compare
from estimator.files import InputError
from estimator.pages import common, estimate, menu, session
from estimator.views import choosing, decision_charts, words

MOST = 8


@st.cache_data(max_entries=20, show_spinner=False)
def comparison(cases: tuple[Case, ...], stamp: int, draws: int, _catalogue: Catalogue) -> Comparison:
    """The comparison of these cars, kept for those last looked at."""
    return compare(cases, _catalogue, draws=draws)


def kept(case_id: str) -> Case | InputError:
    """A car of the store as it was last."""
    store = session.store()
    assert store is not None
    try:
        return parse_case(store.text(case_id), "kept car", catalogue)
    except InputError as error:
        return error


def alike(own: str | None, currency: str) -> list[str]:
    """Other kept cars priced in the same currency: only those can stand beside it."""
    others = ((one, kept(one)) for one in names if one != own)
    return [one for one, case in others if isinstance(case, Case) and case.money.currency == currency]


def open_it(case_id: str) -> None:
    """Make a kept car the open one; what stands in the way is said on the next run."""
    error = session.open_kept(case_id)
    session.remember("candidate_problem", None if error is None else str(error))


catalogue = session.catalogue()
st.title("Candidates")
entries = session.kept_cars()[:40]
names = {entry.case_id: entry.name for entry in entries}
if len(entries) < 2:
    there = f"So far there is {words.plural(len(entries), 'car')}." if entries else "There is none yet."
    st.info(f"Two cars or more can stand side by side here. {there} Start a car, or open one, on the first page.",
            icon=":material/directions_car:")  # fmt: skip
    st.page_link(menu.page("the_car.py"), label="The car", icon=":material/arrow_back:")
    st.stop()

own = session.case_id()
first: list[str] = [own] if own is not None and own in names else []
open_case = session.case()
if open_case is not None and own is not None and own in names and not session.note("candidates_first"):
    first = [own, *alike(own, open_case.money.currency)][:2]
first += [one for one in names if one not in first][: 2 - len(first)]
session.remember("candidates_first", first)
chosen = st.multiselect(
    "Cars to compare", list(names), format_func=lambda one: words.plain(names[one]),
    key=session.start("candidates", first), max_selections=MOST, persist_state="session",
)  # fmt: skip
cases = []
for one in chosen:
    found_case = kept(one)
    if isinstance(found_case, InputError):
        st.error(f"{words.plain(names.get(one, one))} cannot be read.\n\n{common.lines(str(found_case))}")
    else:
        cases.append(found_case)
if len(cases) < 2:
    st.info("Choose at least two.", icon=":material/compare_arrows:")
    st.stop()
found = common.worked(
    f"Working out {len(cases)} cars with the same luck for all …",
    lambda: comparison(tuple(cases), id(catalogue), estimate.DRAWS, catalogue),
)

failed = choosing.failed(found)
if failed:
    with st.container(key="stops"):
        st.subheader("Stop" if len(failed) == 1 else "Stops", anchor=False)
        for car, check, text in failed:
            st.markdown(
                f"**{words.plain(car)}: {words.plain(catalogue.checks[check].name)}.** {words.plain(text)}"
            )
        st.caption("Settle this before any sum below means anything.")
common.show_open(choosing.still_open(found), "Not looked at yet: any of these can end a deal")
with st.container(key="headline"):
    st.header(words.plain(choosing.headline(found)), anchor=False)
st.markdown("**Price and first year together**")
st.caption(
    f"Hollow: the price. The bar holds in four cases of five, the mark is the middle. {choosing.UNLISTED}"
)
st.altair_chart(
    decision_charts.side_by_side(choosing.costs(found), currency=found.currency, title="Price and first year",
                                 with_price=True),
    alt=choosing.costs_alt(found),
)  # fmt: skip
gains = choosing.gains(found)
if not gains.empty:
    st.markdown("**What is gained: value, less price, less what it costs beyond the usual**")
    st.altair_chart(
        decision_charts.side_by_side(gains, currency=found.currency, title="Gained (below zero: lost)",
                                     with_price=False),
        alt=choosing.gains_alt(found),
    )  # fmt: skip

st.header("How sure that is", anchor=False)
for lines in (choosing.pairs(found), choosing.dominance(found), choosing.each(found)):
    st.markdown("\n".join(f"- {words.plain(line)}." for line in lines))
st.caption(words.plain(choosing.shared(found)))

st.header("Open one of them", anchor=False)
if session.note("candidate_problem"):
    st.error(common.lines(session.note("candidate_problem")))
with st.container(horizontal=True):
    for one in chosen:
        st.button(words.plain(names[one]), key=f"candidate_{one}", on_click=open_it, args=(one,),
                  disabled=one == own)  # fmt: skip
st.markdown(f"**{words.CAUTION}**")
common.show_taken(found.warnings)
menu.show_next("candidates.py")
