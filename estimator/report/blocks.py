"""Blocks of text for a terminal: 80 columns, plain characters. What several verbs print alike stands here once."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from estimator.catalogue.load import Catalogue
from estimator.report.plain_words import clean

WIDTH = 80


def wrapped(text: str, *, first: str = "", rest: str = "") -> list[str]:
    """The rows of a paragraph; first and rest : what its first row and those after it begin with."""
    return textwrap.wrap(
        clean(text), WIDTH - 1, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    ) or [first]


def bullets(texts: Iterable[str]) -> list[str]:
    """Rows of a list, each text with a star before it."""
    return [row for text in texts for row in wrapped(text, first="  * ", rest="    ")]


def failed_rows(texts: Iterable[str]) -> list[str]:
    """Stops that came out badly, under what they mean; nothing where there are none."""
    rows = bullets(texts)
    return ["STOP: settle this before any sum below counts", *rows] if rows else []


def open_rows(texts: Iterable[str], *, ends: str = "the matter", more: str = "") -> list[str]:
    """Stops nobody has looked at, under what they would end and what more is to be said of that."""
    rows = bullets(texts)
    return [f"NOT LOOKED AT YET: any of these can end {ends}{more}", *rows] if rows else []


def stop_rows(
    stops: Iterable[tuple[str, str]],
    open_stops: Iterable[str],
    catalogue: Catalogue,
    *,
    sums: str,
    ends: str = "the matter",
) -> list[str]:
    """What can end the matter: stops that came out badly, and those nobody has looked at. sums : what they outweigh,
    in the words of the verb ("the plan says"); ends : what they would end.
    """
    unseen = (catalogue.checks[check].name for check in open_stops)
    return failed_rows(text for _, text in stops) + open_rows(unseen, ends=ends, more=f", whatever {sums}")


def joined(sections: Iterable[list[str]]) -> str:
    """Sections with an empty row between them; those without rows left out."""
    return "\n\n".join("\n".join(rows) for rows in sections if rows)
