"""What to look at next: three checks at hand, answered here; what each is worth, and when to stop."""

import streamlit as st

from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import STATIONS
from estimator.decide.next_checks import next_checks
from estimator.decide.next_records import NextChecks
from estimator.decide.stakes import need
from estimator.pages import common, estimate, menu, one_check, session, take_along
from estimator.views import decision_charts, look_next, words

AT_HAND = 3
LACKING = ("helper", "lift", "jack", "daylight", "permission", "legal-to-drive", "battery", "papers", "seller",
           "workshop", "laboratory")  # fmt: skip


@st.cache_data(max_entries=60, show_spinner=False)
def ranking(
    case: Case,
    stamp: int,
    draws: int,
    limits: tuple[float | None, float | None],
    stations: tuple[str, ...],
    without: tuple[str, ...],
    _catalogue: Catalogue,
) -> NextChecks:
    """The checks in order, kept for the cases and limits last looked at."""
    need(case)
    return next_checks(
        case,
        _catalogue,
        minutes=limits[0],
        money=limits[1],
        stations=stations,
        without=without,
        result=estimate.fully(case, _catalogue),
    )


case, catalogue = common.begin("What to look at next")
currency = case.money.currency
left, right = st.columns(2, wrap=False)
minutes = left.number_input("Minutes there are", value=None, min_value=0.0, step=5.0, format="%.0f",
                            key=session.start("next_minutes", 45.0), placeholder="any number",
                            persist_state="session")  # fmt: skip
money = right.number_input(f"Money for checks ({currency})", value=None, min_value=0.0, step=10.0, format="%.0f",
                           key=session.start("next_money", None), placeholder="no limit",
                           persist_state="session")  # fmt: skip
with st.expander("What is not there today, and where you are", key="next_scene"):
    without = st.pills("Not there today", LACKING, selection_mode="multi", wrap=True, persist_state="session",
                       format_func=lambda one: words.CHECK_NEEDS[one],
                       key=session.start("next_without", []))  # fmt: skip
    stations = st.pills("Only at", STATIONS, selection_mode="multi", wrap=True, persist_state="session",
                        format_func=lambda one: words.STATIONS[one],
                        key=session.start("next_stations", []))  # fmt: skip

found = common.worked(
    "Weighing every check that can be made now …",
    lambda: ranking(case, id(catalogue), estimate.DRAWS, (minutes, money), tuple(stations), tuple(without),
                    catalogue),
)  # fmt: skip
common.show_stops(found.failed_stops, catalogue)
common.show_open(
    look_next.open_stops(found), "Not looked at yet, so look at these first: any of them can end the deal"
)
with st.container(key="headline"):
    st.header(words.plain(found.advice), anchor=False)
refused = look_next.refusal(found)
if refused:
    st.markdown(words.plain(refused))
if found.short_list:
    st.caption("At an auction there is time for a short list only.")

proposed = found.checks[: found.stop_after]
told: set[str] = set()
for check in proposed[:AT_HAND]:
    manner = one_check.Manner("pictures" if check.how == "pictures" else "in-person", False)
    one_check.show(catalogue.checks[check.id], case, catalogue, manner, told=told, with_station=True)
    st.caption(words.plain(look_next.worth_line(check, currency)))
if proposed:
    st.caption("Answer, and the list is put in order again. All other checks are under Inspection.")
    st.page_link(menu.page("inspection.py"), label="Inspection", icon=":material/arrow_forward:")
if found.requests and proposed:
    st.markdown("**To send to the seller**")
    st.code(look_next.request_text(found, str(case.car.built.year)), language=None, wrap_lines=True)

st.header("What they are worth, and when to stop", anchor=False)
st.markdown(words.plain(look_next.when_to_stop(found)))
bars = look_next.bars(found)
if not bars.empty:
    st.altair_chart(
        decision_charts.check_values(bars, currency=currency, title=look_next.bars_title(found)),
        alt=look_next.bars_alt(found),
    )
    if len(proposed) > len(bars):
        st.caption(f"The first {len(bars)} of {len(proposed)}; all of them stand in the table below.")
shown = proposed or found.checks[:AT_HAND]
with st.expander("What each answer would do to your limit", key="next_limits"):
    st.caption("For you alone: close this before somebody reads over your shoulder.")
    st.markdown(words.plain(look_next.limit_line(found)))
    st.markdown("\n".join(f"- {words.plain(one)}" for one in look_next.result_lines(shown[:12], currency)))

together = look_next.bundle_lines(found, {c.id: words.sentence(c.name) for c in found.checks})
if together:
    with st.expander(
        f"Taken as a whole ({len(together)}): a station, an hour on a lift, a visit", key="next_sets"
    ):
        st.markdown("\n".join(f"- {words.plain(one)}" for one in together))
with st.expander(f"All {len(found.checks)} checks as a table", key="next_table", on_change="rerun") as opened:
    if opened.open:
        st.dataframe(
            look_next.table(found.checks),
            hide_index=True,
            column_config={
                "check": "Check", "station": "Station", "minutes": "Minutes",
                "price": st.column_config.NumberColumn("Price", format="%.0f"),
                "value": st.column_config.NumberColumn("Worth alone", format="%.0f"),
                "adds": st.column_config.NumberColumn("Adds to those before", format="%.0f"),
                "moves": st.column_config.NumberColumn("Moves the limit by", format="%.0f"),
            },
            alt="Every check that can be made now with its minutes, price and worth",
        )  # fmt: skip
if found.closed:
    with st.expander(f"Not possible now ({len(found.closed)})", key="next_closed"):
        st.markdown("\n".join(f"- {words.plain(catalogue.checks[c].name)}: {words.plain(why)}"
                              for c, why in found.closed))  # fmt: skip
take_along.show(case, catalogue)
common.show_taken(found.warnings)
menu.show_next("next_look.py")
