"""A history kept as a table (CSV) put into the case file: work, readings, tests and whatever else its rows say.

The file's text is edited, its comments stay; a row that the case says already is passed over, so that a table that
grew can be read in again.
"""

from __future__ import annotations

import dataclasses
import os
from typing import Any

from estimator.case import Case, edit_case_text, parse_case
from estimator.casefile.lists import history_document
from estimator.casefile.records import LISTS
from estimator.catalogue.load import Catalogue
from estimator.files import Document, InputError, KeyPath, Problem, check_model
from estimator.record import Recorded, as_of_moved, new_doubts, nothing_lost, wrong_currency


def record_papers(
    text: str,
    papers: str | os.PathLike[str],
    *,
    name: str = "case",
    catalogue: Catalogue | None = None,
    currency: str | None = None,
) -> Recorded:
    """The case file's text with the rows of a table of papers added.

    Parameters
    ----------
    text, name : the file's text, and what messages call it.
    papers : CSV with a column `kind` (work where it says nothing, reading, test, lived, coverage, finding, quote,
        spare, odometer_replaced) and the keys of those lists as columns.
    currency : what its sums are in; must be the case's.

    Raises
    ------
    InputError
        Naming the table's line, column, what was found and what is allowed; nothing is added then.
    """
    before = parse_case(text, name, catalogue)
    if problems := wrong_currency(before, currency, name=name):
        raise InputError(problems)
    rows = history_document(papers)
    fresh = _not_said_yet(rows, before)
    entries = [(table, entry) for table, added in fresh.data.items() for entry in added]
    known = sum(map(len, rows.data.values())) - len(entries)
    if not entries and not known:
        raise InputError(Problem(os.fspath(papers), None, "", "there is a head but not a single row"))
    moved, notes = as_of_moved(text, before, entries)
    parse_case(moved, name, catalogue, history=fresh)  # what is wrong with a row is said with its line
    new = edit_case_text(moved, [((table, "+"), entry) for table, entry in entries])
    after = parse_case(new, name, catalogue)
    nothing_lost(text, new, before, after, changed=bool(notes))
    if known:
        said = "row says what the case" if known == 1 else "rows say what the case"
        notes.append(f"{known} {said}, or a row before, says already: passed over")
    notes += new_doubts(before, after)
    return Recorded(new, after, tuple({"table": table, **entry} for table, entry in entries), tuple(notes))


def _not_said_yet(rows: Document, case: Case) -> Document:
    """The rows that neither the case nor a row before them says."""
    data: dict[str, list[dict[str, Any]]] = {}
    lines: dict[KeyPath, int] = {}
    for table, kind in LISTS.items():
        said = list(getattr(case, table))
        for index, entry in enumerate(rows.data.get(table, [])):
            record, _ = check_model(Document("", entry, {}), kind)
            if record is not None and record in said:
                continue
            said.append(record)
            added = data.setdefault(table, [])
            lines[(table, len(added))] = rows.lines[(table, index)]
            added.append(entry)
    return dataclasses.replace(rows, data=data, lines=lines)
