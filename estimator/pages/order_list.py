"""The order list with boxes to tick. Ticks are kept beside the store, so that a reload or another day finds them."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Mapping
from pathlib import Path

import streamlit as st

from estimator.decide.plan_records import OrderLine, Plan
from estimator.pages import session
from estimator.report.orders import by_supplier, orders_csv, orders_workbook
from estimator.report.sheet_html import file_stem
from estimator.store import data_folder
from estimator.views import first_year, words

NOTE = "order_ticks"
SPREADSHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def show(plan: Plan) -> None:
    """The list by kind of supplier; each kind a box that opens."""
    if not plan.orders:
        st.caption("Nothing is planned that would have to be ordered.")
        return
    ticked = ticks()
    months = {m.number: f"{m.start:%B %Y}" for m in plan.months}
    for supplier, lines in by_supplier(plan.orders).items():
        have = sum(line_id(line) in ticked for line in lines)
        total = words.about(float(sum(line.amount for line in lines)), plan.currency)
        label = f"{words.sentence(supplier)}: {have} of {len(lines)} ordered, about {total} in all"
        with st.expander(words.plain(label), key=f"orders_{supplier}", on_change="rerun") as box:
            if box.open:
                _lines(lines, plan, ticked, months)
    stem = file_stem(plan.case)
    with st.container(horizontal=True):
        st.download_button("As a table (CSV)", orders_csv(plan), f"{stem}-orders.csv", "text/csv", key="orders_csv",
                           on_click="ignore")  # fmt: skip
        st.download_button("As a workbook (XLSX)", orders_workbook(plan), f"{stem}-orders.xlsx", SPREADSHEET,
                           key="orders_xlsx", on_click="ignore")  # fmt: skip


def _lines(lines: tuple[OrderLine, ...], plan: Plan, ticked: set[str], months: Mapping[int, str]) -> None:
    job = ""
    names = {j.id: j.name for j in plan.jobs}
    for number, line in enumerate(lines):
        if line.job != job:
            job = line.job
            st.markdown(f"**{words.plain(words.sentence(names.get(job, job)))}**")
        this = line_id(line)
        key = session.hold(f"tick_{session.serial()}_{number}_{this}", this in ticked)
        st.checkbox(words.plain(first_year.order_label(line, plan.currency)), key=key, on_change=_tick,
                    args=(this, key))  # fmt: skip
        st.caption(words.plain(first_year.order_more(line, months)))


def line_id(line: OrderLine) -> str:
    """What stays the same of a line when the plan is made again."""
    return f"{line.job}|{line.component}|{line.kind}|{line.item}"


def _tick(this: str, key: str) -> None:
    ticked = ticks()
    if session.value(key):
        ticked.add(this)
    else:
        ticked.discard(this)
    session.remember(_note(), ticked)
    _keep(ticked)


def ticks() -> set[str]:
    """Lines of the open car that are ordered."""
    found = session.note(_note())
    if found is None:
        found = _kept()
        session.remember(_note(), found)
    return set(found)


def _note() -> str:
    return f"{NOTE}_{session.case_id() or session.serial()}"


def _file() -> Path | None:
    case_id = session.case_id()
    return None if case_id is None else data_folder() / f"ordered-{case_id}.json"


def _kept() -> set[str]:
    file = _file()
    if file is None or not file.is_file():
        return set()
    with contextlib.suppress(OSError, ValueError):
        found = json.loads(file.read_text("utf-8"))
        return {str(one) for one in found} if isinstance(found, list) else set()
    return set()


def _keep(ticked: set[str]) -> None:
    """Written whole or not at all; where that fails they still hold for this visit."""
    file = _file()
    if file is None:
        return
    part = file.with_suffix(".part")
    with contextlib.suppress(OSError):
        file.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(json.dumps(sorted(ticked)), "utf-8")
        os.replace(part, file)
