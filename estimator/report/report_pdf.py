"""The report as PDF, tagged and with the picture in words (PDF/UA-1)."""

from __future__ import annotations

from dataclasses import asdict

from estimator.report.report_content import Report
from estimator.report.typesetting import pdf_of


def report_pdf(report: Report, dots: str) -> bytes:
    """The report with its picture of dots (SVG)."""
    return pdf_of("report.typ", asdict(report), {"dots.svg": dots})
