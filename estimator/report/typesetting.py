"""Typst to PDF: a template of ours and plain data. What somebody typed goes in as JSON, so it is never markup."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import Any

import typst

DATA = "data.json"


def pdf_of(template: str, data: dict[str, Any], pictures: dict[str, str] | None = None) -> bytes:
    """A template of this package set with data, as a tagged PDF that passes the checks of PDF/UA-1.

    Parameters
    ----------
    template : its file name here; it reads its data with ``json("data.json")``.
    pictures : SVG text by the file name the template uses.
    """
    return bytes(
        typst.compile(_project(template, data, pictures), pdf_standards=["ua-1"], ignore_system_fonts=True)
    )


def pages_of(template: str, data: dict[str, Any]) -> int:
    """How many pages that would be: the template marks a metadata element <pages> with the count."""
    answer = typst.query(_project(template, data, None), "<pages>", field="value", ignore_system_fonts=True)
    return int(json.loads(answer)[0])


def _project(template: str, data: dict[str, Any], pictures: dict[str, str] | None) -> Any:
    """The files typst sees, by name: nothing else of the machine can be read."""
    made = {"main.typ": _source(template), DATA: json.dumps(data, ensure_ascii=False).encode()}
    return made | {name: svg.encode() for name, svg in (pictures or {}).items()}


@cache
def _source(template: str) -> bytes:
    return files("estimator.report").joinpath(template).read_bytes()
