"""The readable rest of a file with faults, so that all that is wrong can be said at once."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Iterable
from typing import Any

from estimator.casefile.records import LISTS, CaseForm
from estimator.files import Document, Problem, check_model


def in_order(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Problems as they stand in the file, from top to bottom; the same one only once."""
    return tuple(sorted(dict.fromkeys(problems), key=lambda one: (one.line or 0, one.key)))


def readable_rest(
    document: Document, faults: Iterable[Problem]
) -> tuple[CaseForm | None, dict[str, tuple[int, ...]]]:
    """(the case without its unreadable keys and entries, where its entries stand in the file).

    None when a key without which nothing can be said is among the faults.
    """
    data: dict[str, Any] = copy.deepcopy(document.data)
    bad_entries: dict[str, set[int]] = {}
    for fault in faults:
        table = str(fault.path[0]) if fault.path else ""
        if table in LISTS and len(fault.path) > 1 and isinstance(fault.path[1], int):
            bad_entries.setdefault(table, set()).add(fault.path[1])
        elif len(fault.path) == 1:
            data.pop(table, None)
        elif isinstance(data.get(table), dict):
            data[table].pop(str(fault.path[1]), None)
    data["format"] = 1
    kept: dict[str, tuple[int, ...]] = {}
    for table, bad in bad_entries.items():
        kept[table] = tuple(index for index in range(len(data[table])) if index not in bad)
        data[table] = [data[table][index] for index in kept[table]]
    form, _ = check_model(dataclasses.replace(document, data=data), CaseForm)
    return form, kept
