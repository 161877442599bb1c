"""The estimate to print and to keep: report as PDF and as a page, workbook. For the buyer: the budget is in it."""

from __future__ import annotations

import streamlit as st

from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.pages import common, estimate
from estimator.report.dots_svg import NARROW, dots_svg
from estimator.report.report_content import report_of
from estimator.report.report_html import report_html
from estimator.report.report_pdf import report_pdf
from estimator.report.sheet_html import file_stem
from estimator.report.workbook import workbook

SPREADSHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@st.cache_data(max_entries=6, show_spinner=False)
def _files(case: Case, stamp: int, draws: int, _catalogue: Catalogue) -> tuple[bytes, str, bytes]:
    a = estimate.of(case, _catalogue)
    left = estimate.budget(case, _catalogue)
    report, room = report_of(a, case, _catalogue, room=left), None if left is None else left.reach
    page = report_html(report, dots_svg(a, room=room, font="inherit", width=NARROW))
    return report_pdf(report, dots_svg(a, room=room)), page, workbook(a, case, _catalogue, report)


def show(case: Case, catalogue: Catalogue) -> None:
    """The files, made when their box is opened."""
    with st.expander("The whole estimate to print or to keep", key="printed", on_change="rerun") as box:
        if not box.open:
            return
        paper, page, book = common.worked(
            "Setting the pages …", lambda: _files(case, id(catalogue), estimate.DRAWS, catalogue)
        )
        st.caption(
            "For you: the budget and every doubt are in it. What the seller may read is under The offer."
        )
        stem = file_stem(case.name)
        with st.container(horizontal=True):
            st.download_button("Report (PDF)", paper, f"{stem}-report.pdf", "application/pdf", key="report_pdf",
                               on_click="ignore")  # fmt: skip
            st.download_button("Report (a page)", page, f"{stem}-report.html", "text/html", key="report_html",
                               on_click="ignore")  # fmt: skip
            st.download_button("Workbook (XLSX)", book, f"{stem}-report.xlsx", SPREADSHEET, key="report_xlsx",
                               on_click="ignore")  # fmt: skip
