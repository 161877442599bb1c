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
from estimator.distribution import KEYS
from estimator.report.plain_words import clean
from estimator.report.report_content import Report
from estimator.result_tables import Tables, tables
from estimator.views import words

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
    sheets, found = _Sheets(book), tables(a)
    sheets.add("Read first", ("what", "said"), _first(report), {})
    money = {1: "money"}
    sheets.add(
        "Sums", ("what", "when", *_HEADS), _sums(found), dict.fromkeys(range(2, 2 + len(_HEADS)), "money")
    )
    sheets.add("Parts", _PART_HEADS, _parts(found), _PART_FORMATS)
    sheets.add("Why", ("part", "step", "reason", "points of 100"), _why(found), {3: "points"})
    sheets.add(
        "Months", ("month after purchase", f"falls due on average, {a.currency}"), _months(found), money
    )
    outcomes = found["outcomes"].itertuples(index=False)
    sheets.add("Twenty outcomes", ("place", f"first year, {a.currency}"), outcomes, money)
    more = found["exceedance"].itertuples(index=False)
    heads = (f"amount, {a.currency}", "chance of more")
    sheets.add("Chance of more", heads, more, {0: "money", 1: "share"})
    sheets.add("One of these", ("sign", "part", "needs doing now"), _suspects(found), {2: "share"})
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
                elif value == value and value is not None:  # a frame's gaps are not-a-number
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


def _sums(found: Tables) -> list[Row]:
    return [
        (words.SUMS[row["name"]].lower(), words.WHEN[row["when"]], *(row[key] for key in KEYS))
        for row in found["totals"].to_dict("records")
    ]


def _parts(found: Tables) -> list[Row]:
    return [
        (
            row["id"], clean(row["name"]), words.SYSTEMS.get(row["system"], row["system"]), words.NEEDS[row["need"]],
            clean(row["failure"]), "found" if row["found"] else "not seen yet", row["p_spent"], row["p_worn"],
            row["p_due"], min(1.0, row["p_spent"] + row["p_due"]), row["cost_p10"], row["cost_p50"], row["cost_p90"],
            row["mean_cost"], row["share_mean"], row["share_tail"], row["age_years"],
        )
        for row in found["parts"].to_dict("records")
    ]  # fmt: skip


def _why(found: Tables) -> list[Row]:
    rows = found["reasons"].to_dict("records")
    return [(clean(row["name"]), row["step"], clean(row["label"]), 100 * row["points"]) for row in rows]


def _months(found: Tables) -> list[Row]:
    rows = found["months"].itertuples(index=False)
    return [("now" if month == 0 else str(month), mean) for month, mean in rows]


def _suspects(found: Tables) -> list[Row]:
    rows = found["suspects"].to_dict("records")
    return [(clean(row["sign"]), clean(row["name"]), row["p_spent"]) for row in rows]


def _doubts(a: Assessment, report: Report) -> list[Row]:
    rows: list[Row] = [("doubt or default", one) for one in report.warnings]
    rows += [("rests on", one) for one in report.rests_on]
    rows += [("sources", one) for one in report.sources]
    return [*rows, ("method", report.method)]
