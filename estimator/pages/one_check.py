"""One check on the screen: what to do, its cautions, its own words as answers, and how it was made."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import streamlit as st

from estimator import viewing
from estimator.case import Case, Finding
from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import Check
from estimator.pages import session
from estimator.views import words

ANSWERS = ("present", "absent", "could-not-try", "refused")


@dataclass(frozen=True)
class Manner:
    """How entries made from now on are made, until one says otherwise."""

    how: str
    badly: bool


def matching(checks: Iterable[Check], sought: str) -> list[Check]:
    """Checks in which every word sought occurs."""
    pieces = sought.lower().split()
    return [
        check
        for check in checks
        if all(p in f"{check.name} {check.do} {check.present} {check.absent}".lower() for p in pieces)
    ]


def wanted(checks: Iterable[Check], made: set[str], which: str) -> list[Check]:
    """All, those not looked at yet, or those looked at."""
    return [c for c in checks if which == "all" or (c.id in made) == (which == "looked at")]


def go_to(station: str) -> None:
    """Show another station, from its top."""
    session.remember("inspection_station", station)
    session.remember("scroll_up", True)


def show(
    check: Check, case: Case, catalogue: Catalogue, manner: Manner, *, told: set[str], with_station: bool
) -> None:
    """One check. told : cautions already printed in full further up; those of this check are added."""
    entry = viewing.latest(case.finding, check.id)
    finding = entry[1] if entry else None
    with st.container(key=f"check_{check.id}", border=True):
        facts = [words.STATIONS[check.station]] if with_station else []
        facts += [
            f"{check.minutes:g}{words.NBSP}min",
            *(words.CHECK_NEEDS[need] for need in check.needs),
            *check.tools,
        ]
        st.markdown(
            f"**{words.plain(check.name)}** &nbsp;:small[{words.plain(' · '.join(facts))}]\n\n{words.plain(check.do)}"
        )
        _cautions(check, catalogue, told)
        if check.reading is not None:
            _reading(check, case, finding, manner)
        _answer(check, finding, manner)
        message = session.refusal(_path(check))
        if message:
            st.error(
                f"{words.plain(message)}\n\nWhat you entered stays here; the estimate goes on without it."
            )
        if check.stop and finding is not None and finding.result == "present":
            st.markdown(f"**Stop.** {words.plain(check.stop)}")
        if check.entry is not None and finding is not None:
            st.caption("What it says about work done belongs under Papers: then its day counts, too.")
        if finding is not None:
            _details(check, finding)


def _path(check: Check) -> tuple[str, str]:
    return ("finding", check.id)


def _cautions(check: Check, catalogue: Catalogue, told: set[str]) -> None:
    first = [c for c in check.cautions if c in catalogue.cautions and c not in told]
    again = [c for c in check.cautions if c in told]
    for caution in first:
        told.add(caution)
        st.warning(words.plain(catalogue.cautions[caution].text), icon=":material/front_hand:")
    if again:
        names = words.listed([one.replace("-", " ") for one in again])
        st.caption(f":material/front_hand: Caution: {names}, as above.")


def _answer(check: Check, finding: Finding | None, manner: Manner) -> None:
    own = {"present": check.present, "absent": check.absent, **words.CHOICES["answer"]}
    options = ANSWERS if check.reading is None else ANSWERS[2:]
    key = session.key_for(("finding", check.id, "result"))
    shown = finding.result if finding is not None else None
    st.segmented_control(
        f"Answer: {check.name}",
        options,
        format_func=lambda one: own[one],
        key=session.hold(key, shown if shown in options else None),
        label_visibility="collapsed",
        wrap=True,
        on_change=_put_answer,
        args=(check.id, key, manner),
    )


def _reading(check: Check, case: Case, finding: Finding | None, manner: Manner) -> None:
    reading = check.reading
    assert reading is not None
    limit = reading.limit_for(case.car.built)
    key = session.bind(
        ("finding", check.id), None if finding is None else finding.value, to_screen=_typed_value
    )
    st.number_input(
        f"Reading in {reading.unit} ({'at least' if reading.worse == 'below' else 'at most'} {limit:g} is good)",
        value=None,
        step=0.1 if reading.high <= 100 else 1.0,
        format="%.2f" if reading.high <= 20 else "%.1f" if reading.high <= 100 else "%.0f",
        key=key,
        on_change=_put_reading,
        args=(check.id, key, manner),
    )


def _typed_value(draft: Any) -> float | None:
    return draft.get("value") if isinstance(draft, dict) else None


def _put_answer(check_id: str, key: str, manner: Manner) -> None:
    chosen = session.value(key)
    _put(check_id, None if chosen is None else {"result": chosen}, manner)


def _put_reading(check_id: str, key: str, manner: Manner) -> None:
    typed = session.value(key)
    _put(check_id, None if typed is None else {"value": float(typed)}, manner)


def answers_of(case: Case) -> datetime.date | None:
    """The day new answers are of, where it is not that of the viewing: today, once the car is bought."""
    return None if case.bought is None else max(session.today(), case.today)


def _put(check_id: str, outcome: dict[str, Any] | None, manner: Manner | None, **details: Any) -> None:
    """Write the entry of a check: its outcome replaced (None takes the entry out), details added. Once the car is
    bought an answer is an entry of its own day: what was seen at the viewing stays."""
    case = session.case()
    if case is None:
        return
    entry = viewing.latest(case.finding, check_id)
    index = entry[0] if entry else None
    day = answers_of(case)
    earlier = entry is not None and day is not None and entry[1].date != day
    if outcome is None and not details:
        if not earlier:
            session.put_finding(check_id, index, None)
        return
    if outcome is not None and earlier:
        index = None
    made: dict[str, Any] = session.entries("finding")[index] if index is not None else {"check": check_id}
    if outcome is not None:
        for old in ("result", "value"):
            made.pop(old, None)
        made.update(outcome)
        if made.get("result") not in ("present", "absent"):
            made.pop("sure", None)
        if index is None and manner is not None:
            if manner.how != "in-person":
                made["how"] = manner.how
            if manner.badly:
                made["badly"] = True
        if index is None and day is not None:
            made["date"] = day
    for name, value in details.items():
        if value is None:
            made.pop(name, None)
        else:
            made[name] = value
    session.put_finding(check_id, index, made)


def _details(check: Check, finding: Finding) -> None:
    told = [words.CHOICES["how"][finding.how]] if finding.how != "in-person" else []
    told += ["badly made"] if finding.badly else []
    told += [f"{finding.side} side"] if finding.side != "both" else []
    told += [words.SURE.get(finding.sure, f"{finding.sure:.0%} sure")] if finding.sure != 1 else []
    told += [words.plain(finding.note)] if finding.note else []
    label = "How made, side, note" + (f": {', '.join(told)}" if told else "")
    box = st.expander(label, key=f"details_{session.serial()}_{check.id}", on_change="rerun")
    if not box.open:
        return
    with box:
        _detail(check, "how", "Made", words.CHOICES["how"], finding.how, "in-person")
        if finding.result in ("present", "absent"):
            _detail(check, "sure", "How sure you are", words.SURE, finding.sure, 1.0)
        _detail(check, "side", "Side", words.CHOICES["side"], finding.side, "both")
        key = session.hold(session.key_for(("finding", check.id, "badly")), finding.badly)
        st.toggle("In the dark, in the wet, in a hurry", key=key, on_change=_put_detail,
                  args=(check.id, "badly", key, False))  # fmt: skip
        key = session.hold(session.key_for(("finding", check.id, "note")), finding.note)
        st.text_input("Note", key=key, on_change=_put_detail, args=(check.id, "note", key, ""))


def _detail(check: Check, name: str, label: str, options: dict[Any, str], value: Any, default: Any) -> None:
    every = options if value in options else {value: str(value), **options}
    key = session.hold(session.key_for(("finding", check.id, name)), value)
    st.pills(
        label,
        list(every),
        format_func=lambda one: every[one],
        key=key,
        wrap=True,
        on_change=_put_detail,
        args=(check.id, name, key, default),
    )


def _put_detail(check_id: str, name: str, key: str, default: Any) -> None:
    chosen = session.value(key)
    _put(check_id, None, None, **{name: None if chosen in (None, default) else chosen})
