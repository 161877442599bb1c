"""The order list: by supplier and by job, as rows, CSV and a workbook. Text stays text, never a formula."""

from __future__ import annotations

import csv
import datetime
import io
from collections.abc import Sequence

import xlsxwriter

from estimator.decide.plan_records import OrderLine, Plan
from estimator.report.plain_words import clean

HEADS = (
    "done", "month", "job", "kind of supplier", "what", "item", "quantity", "expected cost", "price from",
    "price likely", "price to", "wait from, weeks", "wait likely", "wait to", "quote when ordering",
    "if it cannot be had", "note", "part id",
)  # fmt: skip
_TEXT = (0, 2, 3, 4, 5, 14, 15, 16, 17)
_PLAIN = {
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "in_memory": True,
}
_RISKY = ("=", "+", "-", "@", "\t", "\r")
Cell = str | int | float | None


def guarded(text: str) -> str:
    """Text for a CSV cell: an apostrophe before what a spreadsheet would take for a formula."""
    return f"'{text}" if text.startswith(_RISKY) else text


def by_supplier(lines: Sequence[OrderLine]) -> dict[str, tuple[OrderLine, ...]]:
    """Lines grouped by kind of supplier; within one, by month and job."""
    out: dict[str, list[OrderLine]] = {}
    for line in sorted(lines, key=lambda x: (x.month, x.job)):
        out.setdefault(line.supplier, []).append(line)
    return {supplier: tuple(found) for supplier, found in sorted(out.items())}


def by_job(lines: Sequence[OrderLine]) -> dict[str, tuple[OrderLine, ...]]:
    """Lines grouped by job, in the order of the plan."""
    out: dict[str, list[OrderLine]] = {}
    for line in sorted(lines, key=lambda x: x.month):
        out.setdefault(line.job, []).append(line)
    return {job: tuple(found) for job, found in out.items()}


def order_rows(plan: Plan) -> list[tuple[Cell, ...]]:
    """One row a line, in the order of `HEADS`: earliest month first, then by supplier."""
    names = {j.id: j.name for j in plan.jobs}
    ordered = sorted(plan.orders, key=lambda x: (x.month, x.supplier, x.job))
    return [_row(line, names.get(line.job, line.job)) for line in ordered]


def _row(line: OrderLine, job: str) -> tuple[Cell, ...]:
    price: tuple[Cell, ...] = (None,) * 3 if line.price is None else tuple(round(p, 2) for p in line.price)
    wait: tuple[Cell, ...] = (None,) * 3 if line.wait_weeks is None else line.wait_weeks
    return (
        "", line.month, clean(job), line.supplier, line.kind, clean(line.item), line.quantity,
        round(line.amount, 2), *price, *wait, clean("; ".join(line.quote)), clean("; ".join(line.substitutes)),
        clean(line.note), line.component,
    )  # fmt: skip


def orders_csv(plan: Plan) -> str:
    """The order list as CSV (UTF-8, comma, point), safe to open in a spreadsheet."""
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\r\n")
    writer.writerow((*HEADS[:7], f"expected cost, {plan.currency}", *HEADS[8:]))
    for row in order_rows(plan):
        writer.writerow([guarded(c) if isinstance(c, str) else "" if c is None else c for c in row])
    return held.getvalue()


def orders_workbook(plan: Plan) -> bytes:
    """The order list as XLSX: everything, then a sheet a supplier, then sums by job with labour."""
    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, _PLAIN)
    start = plan.months[0].start if plan.months else datetime.date(2000, 1, 1)
    book.set_properties(
        {
            "title": f"{clean(plan.case)}: what to order",
            "created": datetime.datetime(start.year, start.month, start.day),
        }
    )
    head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
    wrap = book.add_format({"text_wrap": True, "valign": "top"})
    money = book.add_format({"num_format": "#,##0.00", "valign": "top"})
    rows = order_rows(plan)
    sheets = [("All orders", rows)]
    for supplier in sorted({str(r[3]) for r in rows}):
        sheets.append((supplier[:31], [r for r in rows if r[3] == supplier]))
    for name, some in sheets:
        sheet = book.add_worksheet(name)
        for column, text in enumerate(HEADS):
            sheet.write_string(0, column, text, head)
            sheet.set_column(column, column, 34 if column in (2, 5, 14, 15) else 12)
        for r, row in enumerate(some, start=1):
            for column, cell in enumerate(row):
                if cell is None:
                    continue
                if column in _TEXT:
                    sheet.write_string(r, column, str(cell), wrap)
                else:
                    sheet.write_number(r, column, float(cell), money if 7 <= column <= 10 else wrap)
        sheet.freeze_panes(1, 0)
        sheet.autofilter(0, 0, max(len(some), 1), len(HEADS) - 1)
    _sums(book.add_worksheet("Sums by job"), plan, head, wrap, money)
    book.close()
    return held.getvalue()


def job_sums(plan: Plan) -> list[tuple[str, float, float, float]]:
    """(job, orders, labour, together): together is the job's mean in the simulation."""
    ordered = {job: sum(x.amount for x in lines) for job, lines in by_job(plan.orders).items()}
    return [
        (j.id, ordered.get(j.id, 0.0), plan.labour[j.id], ordered.get(j.id, 0.0) + plan.labour[j.id])
        for j in plan.jobs
    ]


def _sums(
    sheet: xlsxwriter.worksheet.Worksheet, plan: Plan, head: object, wrap: object, money: object
) -> None:
    names = {j.id: j.name for j in plan.jobs}
    for column, text in enumerate(("job", "month", "to order", "labour", "together (mean)")):
        sheet.write_string(0, column, text, head)
    sheet.set_column(0, 0, 50)
    total = [0.0, 0.0, 0.0]
    rows = job_sums(plan)
    for r, (job, ordered, labour, both) in enumerate(rows, start=1):
        sheet.write_string(r, 0, clean(names[job]), wrap)
        sheet.write_number(r, 1, plan.job(job).month, wrap)
        for column, value in enumerate((ordered, labour, both)):
            sheet.write_number(r, 2 + column, round(value, 2), money)
            total[column] += value
    sheet.write_string(len(rows) + 1, 0, "all jobs", head)
    for column, value in enumerate(total):
        sheet.write_number(len(rows) + 1, 2 + column, round(value, 2), money)
