"""The cost page's details: totals, parts with their ranges, why, and what it all rests on."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from estimator.assess import Assessment, ComponentResult
from estimator.case import Case
from estimator.pages import drawing, menu, session
from estimator.views import charts, frames, sentences, words
from estimator.views.field_words import doubt_in_words

FIRST = 10
SUSPECTS = 3


def show_totals(a: Assessment) -> None:
    """The four totals, never mixed, each by its name."""
    st.markdown(sentences.apart(a))
    with st.expander("All the sums, now and over the first year", key="totals"):
        frame = frames.totals(a)
        rows = [
            f"| {r['name']} | {r['when']} | {words.span(r['low'], r['high'], a.currency)} "
            f"| {words.about(r['mean'], a.currency)} |"
            for r in frame.to_dict("records")
        ]
        st.markdown("| | | four cases of five | average |\n|---|---|---|---|\n" + "\n".join(rows))
        st.caption("Averages add up; ranges do not.")
        needs = [
            f"| {r['need']} | {r['parts']} | {words.about(r['mean'], a.currency)} |"
            for r in frames.by_need(a).to_dict("records")
        ]
        st.markdown("| Why it gets done | parts | average, first year |\n|---|---|---|\n" + "\n".join(needs))


def show_suspects(a: Assessment) -> None:
    """Signs that several parts could cause: the clearest in full, the rest to be opened."""
    lines = sentences.suspects(a, {c.id: c.name for c in a.components})
    if not lines:
        return
    st.markdown("**One of these, perhaps more than one:** signs found, and what each could come from")
    st.markdown("\n".join(f"- {words.plain(line)}" for line in lines[:SUSPECTS]))
    if len(lines) > SUSPECTS:
        with st.expander(f"{len(lines) - SUSPECTS} more signs", key="suspects"):
            st.markdown("\n".join(f"- {words.plain(line)}" for line in lines[SUSPECTS:]))


def show_parts(a: Assessment) -> None:
    """Parts by expected cost with ranges; one of them with its reasons."""
    everything = frames.parts(a)
    if everything.empty:
        st.markdown("No part is expected to need anything.")
        return
    st.caption(
        "What each costs if it needs doing: the line holds in four cases of five, the mark is the middle. The thicker "
        "the line, the likelier it needs doing in the first year. Strip-down that parts share is split among them."
    )
    most = session.note("parts_shown", FIRST)
    frame = everything.head(most)
    with st.container(key="parts"):
        st.altair_chart(drawing.inked(charts.parts(frame, currency=a.currency)), alt=_parts_alt(frame))
    if len(everything) > most:
        with st.container(horizontal=True):
            st.button(f"Show {min(FIRST, len(everything) - most)} more", key="parts_more",
                      on_click=session.remember, args=("parts_shown", most + FIRST))  # fmt: skip
    _why(a)
    with st.expander(
        f"All {len(a.components)} parts as a table", key="parts_table", on_change="rerun"
    ) as table:
        if table.open:
            _table(a)


def _parts_alt(frame: pd.DataFrame) -> str:
    first = frame.iloc[0]
    return f"Cost ranges of the {len(frame)} parts expected to cost most, first: {first['label']}."


def _why(a: Assessment) -> None:
    by_id = {c.id: c for c in a.components}
    order = [c.id for c in sorted(a.components, key=lambda c: c.need == "comfort")]
    st.subheader("Why", anchor=False)
    chosen = st.selectbox(
        "Why a part is on the list",
        order,
        format_func=lambda one: words.sentence(by_id[one].name),
        **session.steady("why_part", order[0], order),
    )
    show_why(by_id[chosen or order[0]], a)


def show_why(c: ComponentResult, a: Assessment) -> None:
    """One part: its condition, its cost, and the steps that add up to the chance that it needs doing now."""
    st.markdown(
        f"{sentences.condition_line(c)} {words.sentence(sentences.part_line(c, a.currency))} Done for: "
        f"{words.NEEDS[c.need]}. The part fitted is thought to be about {c.age_years:.0f} years old."
    )
    frame = frames.why(c)
    st.altair_chart(drawing.inked(charts.why(frame)), alt=sentences.why_alt(c))
    total = f"{c.p_spent * 100:.1f}"
    st.caption(f"Percentage points; they add up to {total}{words.NBSP}% that it needs doing now.")


def _table(a: Assessment) -> None:
    frame = pd.concat([frames.parts(a), frames.parts(a, comfort=True)])
    shown = frame[["part", "system", "need", "found", "chance_now", "chance_year", "low", "high", "mean"]]
    st.dataframe(
        shown,
        hide_index=True,
        column_config={
            "part": "Part",
            "system": "System",
            "need": "Done for",
            "found": "Seen",
            "chance_now": st.column_config.NumberColumn("Needs doing now", format="percent"),
            "chance_year": st.column_config.NumberColumn("in the first year", format="percent"),
            "low": st.column_config.NumberColumn("If so, from", format="%.0f"),
            "high": st.column_config.NumberColumn("to", format="%.0f"),
            "mean": st.column_config.NumberColumn("Average of all outcomes", format="%.0f"),
        },
        alt="Every part with its chance, its cost range and its average cost",
    )


def show_basis(a: Assessment, case: Case) -> None:
    """What the estimate takes for granted, what was not said, how it was drawn."""
    st.markdown("\n".join(f"- {words.plain(line)}" for line in sentences.rests_on(a, case)))
    if a.warnings:
        with st.expander(f"Not said, or doubtful ({len(a.warnings)}): what was taken instead", key="taken"):
            st.markdown(
                "\n".join(f"- {words.plain(doubt_in_words(warning, case))}" for warning in a.warnings)
            )
            st.page_link(menu.page("the_car.py"), label="The car", icon=":material/arrow_back:")
    st.caption(words.plain(sentences.method(a)))
