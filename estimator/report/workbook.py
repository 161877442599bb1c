"""An assessment as a workbook (XLSX): sums, every part, why, months, doubts. Text is text, never a formula."""

from __future__ import annotations

import datetime
import io
from collections.abc import Iterable, Sequence
from typing import Any

import xlsxwriter

from estimator.assess import Assessment
from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.distribution import KEYS, Distribution
from estimator.report.plain_words import clean
from estimator.report.report_content import Report
from estimator.views import frames, words

# What somebody typed stays what was typed: no formula, no link, whatever it begins with.
PLAIN = {
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "in_memory": True,
}
MOST_WIDE = 60
Row = Sequence[Any]


def workbook(a: Assessment, case: Case, catalogue: Catalogue, report: Report) -> bytes:
    """The whole workbook. Chances are 0 to 1, shown as percentages; sums are in the case's currency with tax."""
    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, PLAIN)
    book.set_properties({"title": f"{clean(a.case)}: what it will cost", "created": _day(case)})
    sheets = _Sheets(book)
    sheets.add("Read first", ("what", "said"), _first(report), {})
    sheets.add("Sums", ("what", "when", *_HEADS), _sums(a), dict.fromkeys(range(2, 2 + len(_HEADS)), "money"))
    sheets.add("Parts", _PART_HEADS, _parts(a), _PART_FORMATS)
    sheets.add("Why", ("part", "step", "reason", "points of 100"), _why(a), {3: "points"})
    sheets.add(
        "Months", ("month after purchase", f"falls due on average, {a.currency}"), _months(a), {1: "money"}
    )
    sheets.add(
        "Twenty outcomes", ("place", f"first year, {a.currency}"), list(enumerate(a.dots, 1)), {1: "money"}
    )
    sheets.add(
        "Chance of more", (f"amount, {a.currency}", "chance of more"), a.exceedance, {0: "money", 1: "share"}
    )
    sheets.add("One of these", ("sign", "part", "needs doing now"), _suspects(a), {2: "share"})
    sheets.add("Doubts and sources", ("kind", "text"), _doubts(a, report), {})
    book.close()
    return held.getvalue()


_HEADS = ("mean", "spread (sd)", "p10", "p50", "p80", "p90", "p95", "worst fifth")
_PART_HEADS = (
    "id", "part", "system", "why it gets done", "fails by", "found", "needs doing now", "tired now",
    "falls due in the year", "now or in the year", "if so from (p10)", "if so middle (p50)", "if so to (p90)",
    "mean cost", "share of the mean", "share of the worst fifth", "age of the part fitted, years",
)  # fmt: skip
_PART_FORMATS = {
    **dict.fromkeys((6, 7, 8, 9, 14, 15), "share"), **dict.fromkeys((10, 11, 12, 13), "money"), 16: "years"
}  # fmt: skip


class _Sheets:
    """Adds sheets with a head, a filter, frozen panes and columns as wide as what stands in them."""

    def __init__(self, book: Any) -> None:
        self._book = book
        self._head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
        self._forms = {
            "money": book.add_format({"num_format": "#,##0"}),
            "share": book.add_format({"num_format": "0.0%"}),
            "points": book.add_format({"num_format": "+0.0;-0.0;0.0"}),
            "years": book.add_format({"num_format": "0.0"}),
            "": book.add_format({"text_wrap": True, "valign": "top"}),
        }

    def add(self, name: str, heads: Sequence[str], rows: Iterable[Row], forms: dict[int, str]) -> None:
        sheet = self._book.add_worksheet(name)
        every = [list(row) for row in rows]
        for column, head in enumerate(heads):
            sheet.write_string(0, column, head, self._head)
            form = self._forms[forms.get(column, "")]
            texts = [len(str(row[column])) for row in every if isinstance(row[column], str)]
            wide = max([*texts, 10 if column in forms else 0, min(len(head), 18)], default=10)
            sheet.set_column(column, column, min(wide + 2, MOST_WIDE), form)
        for place, row in enumerate(every, start=1):
            for column, value in enumerate(row):
                form = self._forms[forms.get(column, "")]
                if isinstance(value, str):
                    sheet.write_string(place, column, value, form)
                elif value is not None:
                    sheet.write_number(place, column, float(value), form)
        sheet.freeze_panes(1, 0)
        if every:
            sheet.autofilter(0, 0, len(every), len(heads) - 1)
        sheet.set_landscape()
        sheet.set_paper(9)  # A4
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(0)


def _day(case: Case) -> datetime.datetime:
    return datetime.datetime.combine(case.today, datetime.time())


def _first(report: Report) -> list[Row]:
    rows: list[Row] = [("Stop", one) for one in report.stops]
    rows += [("Not looked at yet, can end the deal", one) for one in report.open_stops]
    rows += [("In one sentence", report.headline), *(("", one) for one in report.more)]
    rows += [("Found", report.found), ("Apart", report.apart), *report.facts]
    rows += [("Caution", report.once), *(("Caution", one) for one in report.cautions)]
    return rows


def _sums(a: Assessment) -> list[Row]:
    named: tuple[tuple[str, str, Distribution], ...] = (
        ("found", "now", a.known.now),
        ("not seen yet", "now", a.hidden.now),
        ("together", "now", a.total.now),
        ("found", "first year", a.known.plan_year),
        ("not seen yet", "first year", a.hidden.plan_year),
        ("together", "first year", a.total.plan_year),
        ("of that: safety, law and to drive", "now", a.needed.now),
        ("of that: safety, law and to drive", "first year", a.needed.plan_year),
        ("apart: comfort and looks", "first year", a.comfort),
        ("apart: work no list can name beforehand", "first year", a.unlisted),
    )
    return [(name, when, *(getattr(d, key) for key in KEYS)) for name, when, d in named]


def _parts(a: Assessment) -> list[Row]:
    rows: list[Row] = []
    for c in a.components:
        cost = c.cost or {}
        rows.append((
            c.id, clean(c.name), words.SYSTEMS.get(c.system, c.system), words.NEEDS[c.need], clean(c.failure),
            "found" if c.found else "not seen yet", c.p_spent, c.p_worn, c.p_due, frames.year_chance(c),
            cost.get("p10"), cost.get("p50"), cost.get("p90"), c.mean_cost, c.share_mean, c.share_tail, c.age_years,
        ))  # fmt: skip
    return rows


def _why(a: Assessment) -> list[Row]:
    return [(clean(c.name), r.step, clean(r.label), 100 * r.points) for c in a.components for r in c.why]


def _months(a: Assessment) -> list[Row]:
    return [("now" if month == 0 else str(month), mean) for month, mean in enumerate(a.by_month)]


def _suspects(a: Assessment) -> list[Row]:
    names = {c.id: c.name for c in a.components}
    return [(clean(g.name), clean(names.get(part, part)), p) for g in a.suspects for part, p in g.parts]


def _doubts(a: Assessment, report: Report) -> list[Row]:
    rows: list[Row] = [("doubt or default", one) for one in report.warnings]
    rows += [("rests on", one) for one in report.rests_on]
    rows += [("sources", one) for one in report.sources]
    return [*rows, ("method", report.method)]
