"""What was really done and paid, what a strip-down showed, what somebody quotes: written into the case at once."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.decide.order_lines import WAYS
from estimator.decide.plan_records import Plan
from estimator.files import InputError
from estimator.look_back import LookBack, look_back
from estimator.pages import common, session
from estimator.pages.fields import read_day
from estimator.record import Entry, one_bill
from estimator.views import looking_back, words
from estimator.views.field_words import doubt_in_words, spoken

COVERS = {"parts": "the part alone", "job": "the whole job"}


def show(case: Case, catalogue: Catalogue, plan: Plan) -> None:
    """The purchase first, then work done, then quotes."""
    if session.note("done_told"):
        st.info(words.plain(session.note("done_told")), icon=":material/done:")
    if session.note("done_problem"):
        st.error(
            f"Not written down yet; what you entered stays here.\n\n{common.lines(session.note('done_problem'))}"
        )
    if case.bought is None and case.car.sale != "owned":
        with st.expander("I have bought it", key="done_bought"):
            _bought(case)
    with st.expander("Work done, or what came to light", key="done_work"):
        _work(case, catalogue, plan)
    with st.expander("A price somebody quotes", key="done_quote"):
        _quote(case, catalogue, plan)
    if case.bought is not None:
        with st.expander("How good the estimates were", key="done_back", on_change="rerun") as box:
            if box.open:
                _back(case, catalogue)


@st.cache_data(max_entries=10, show_spinner=False)
def _looked_back(case: Case, stamp: int, _catalogue: Catalogue) -> LookBack:
    return look_back(case, _catalogue)


def _back(case: Case, catalogue: Catalogue) -> None:
    back = common.worked(
        "Going back to the day of purchase …", lambda: _looked_back(case, id(catalogue), catalogue)
    )
    lines = looking_back.lines(back, case.money.currency)
    st.markdown("\n".join(f"- {words.plain(line)}" for line in lines))


def _keep(entries: Sequence[Entry], told: str, *, forget: str, **more: Any) -> None:
    """Into the case by the rules of `estimator record`; what is refused stays in its fields beside the message."""
    before = session.case()
    found = session.add_record(entries, **more)
    if isinstance(found, InputError):
        session.remember("done_problem", spoken(found, session.case()))
        session.remember("done_told", None)
        return
    session.remember("done_problem", None)
    notes = [doubt_in_words(note, found.case) for note in found.notes]
    known = () if before is None else before.not_come_yet(session.today())
    ahead = [spoken(one, found.case) for one in found.case.not_come_yet(session.today()) if one not in known]
    session.remember(
        "done_told", " ".join([told, *(f"{words.sentence(note)}." for note in (*notes, *ahead))])
    )
    session.forget(forget)


def _amount(label: str, key: str, *, step: float, currency: str | None = None) -> None:
    """A field for a reading, or for a sum in a currency; empty at first."""
    rate = (
        None
        if currency is None
        else f"Paid in another currency? Put it into {currency} at the rate you paid."
    )
    st.number_input(
        label if currency is None else f"{label} ({currency})", min_value=0.0, value=None, step=step, format="%.0f",
        key=session.start(key, None), persist_state="session", help=rate,
    )  # fmt: skip


def _choice(label: str, choices: Mapping[str, str], key: str, first: str) -> None:
    """One of a few, as pills."""
    st.pills(
        label, list(choices), format_func=lambda one: choices[one], key=session.start(key, first),
        persist_state="session", wrap=True,
    )  # fmt: skip


def _bought(case: Case) -> None:
    st.caption(
        "From then on dates after the viewing are allowed, and the estimate moves to the latest of them."
    )
    st.text_input(
        "When",
        key=session.start("done_bought_date", ""),
        persist_state="session",
        placeholder=f"e.g. {case.car.viewed.isoformat()}",
    )
    _amount("What was paid", "done_bought_price", step=100.0, currency=case.money.currency)
    st.button("Write it down", key="done_bought_keep", on_click=_keep_bought)


def _keep_bought() -> None:
    day = read_day(session.value("done_bought_date", ""))
    if not isinstance(day, datetime.date):
        session.remember(
            "done_problem", "The day of the purchase is wanted: year, month and day, such as 2026-11-02."
        )
        session.remember("done_told", None)
        return
    paid = session.value("done_bought_price")
    _keep([], "The purchase is written down.", forget="done_bought_", bought=day, paid=paid)


def _parts(case: Case, catalogue: Catalogue, plan: Plan) -> dict[str, str]:
    """Ids and names of parts to choose from, those planned first."""
    planned = [c for job in (*plan.jobs, *plan.left_out) for c in (*job.components, *job.neighbours)]
    own = [part.id for part in plan.prepared.car.parts]
    return {one: words.sentence(catalogue.components[one].name) for one in dict.fromkeys([*planned, *own])}


def _work(case: Case, catalogue: Catalogue, plan: Plan) -> None:
    names = _parts(case, catalogue, plan)
    st.multiselect(
        "Parts",
        list(names),
        format_func=lambda one: names[one],
        key=session.start("done_parts", []),
        persist_state="session",
    )
    st.text_input(
        "When (day, month or year)",
        key=session.start("done_date", ""),
        persist_state="session",
        placeholder=f"e.g. {case.today.isoformat()}",
    )
    for field, label in (
        ("what", "What"),
        ("fitted", "What was fitted"),
        ("by", "By"),
    ):
        choices = words.CHOICES[field]
        _choice(label, choices, f"done_{field}", "renewed" if field == "what" else next(iter(choices)))
    proof = _proof()
    _choice(
        "Proof", words.CHOICES["evidence"], proof, "invoice" if proof == "done_evidence" else "strip-down"
    )
    _amount(f"Odometer then ({case.car.unit})", "done_odometer", step=100.0)
    _amount("The bill, tax included", "done_price", step=10.0, currency=case.money.currency)
    st.text_input("Note", key=session.start("done_note", ""), persist_state="session")
    if case.bought is not None:
        st.toggle(
            "A paper of the time before I bought it",
            key=session.start("done_history", False),
            persist_state="session",
        )
    st.button("Write it down", key="done_keep", on_click=_keep_work, type="primary")


def _proof() -> str:
    """The field of the proof: of work it is mostly a bill, of what was seen mostly that the part was apart."""
    return "done_seen_evidence" if str(session.value("done_what")).startswith("seen-") else "done_evidence"


def _keep_work() -> None:
    chosen = list(session.value("done_parts") or [])
    if not chosen:
        session.remember("done_problem", "Choose the part, or the parts, it was done to.")
        session.remember("done_told", None)
        return
    rows = one_bill([("work", _entry(part)) for part in chosen], session.value("done_price"))
    told = f"{words.sentence(words.plural(len(chosen), 'entry', 'entries'))} added to the papers; the estimate follows."
    _keep(rows, told, forget="done_", history=bool(session.value("done_history")))


def _entry(part: str) -> dict[str, Any]:
    """One work entry, without the sum of its bill."""
    row = {
        "date": read_day(session.value("done_date", "")),
        "component": part,
        **{field: session.value(f"done_{field}") for field in ("what", "fitted", "by")},
        "evidence": session.value(_proof()),
        "odometer": session.value("done_odometer"),
        "note": session.value("done_note"),
    }
    return {key: value for key, value in row.items() if value not in (None, "", "unknown")}


def _quote(case: Case, catalogue: Catalogue, plan: Plan) -> None:
    names = _parts(case, catalogue, plan)
    part = st.selectbox(
        "Part",
        list(names),
        format_func=lambda one: names[one],
        index=None,
        key=session.start("quote_part", None),
        persist_state="session",
        placeholder="which part",
    )
    if part is None:
        return
    kinds = list(dict.fromkeys(r.kind for r in catalogue.components[part].remedy))
    ways: dict[str, str] = {kind: WAYS.get(kind, kind.replace("-", " ")) for kind in kinds}
    _choice("Way to put it right", ways, f"quote_remedy_{part}", kinds[0])
    _amount("Price, tax included", "quote_price", step=10.0, currency=case.money.currency)
    _choice("It covers", COVERS, "quote_covers", "parts")
    st.button("Write it down", key="quote_keep", on_click=_keep_quote, args=(part,))


def _keep_quote(part: str) -> None:
    row = {
        "component": part,
        "remedy": session.value(f"quote_remedy_{part}"),
        "price": session.value("quote_price"),
        "covers": session.value("quote_covers"),
    }
    _keep(
        [("quote", {key: value for key, value in row.items() if value is not None})],
        "The quote is written down; the estimate follows.",
        forget="quote_",
    )
