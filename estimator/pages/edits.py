"""Values by key path put into a case: a new case, every rule applied again. No screen, no session."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from typing import Any

from estimator.case import Case, case_data, case_from_data
from estimator.catalogue.load import Catalogue
from estimator.files import KeyPath


def with_edits(case: Case, edits: Mapping[KeyPath, Any], catalogue: Catalogue) -> Case:
    """The case with values put in by key path; None takes a key out. Raises InputError."""
    data = copy.deepcopy(case_data(case))
    for path, value in edits.items():
        _put(data, path, value)
    return case_from_data(data, case.name, catalogue)


def differences(here: Case, there: Case) -> list[tuple[KeyPath, Any, Any]]:
    """Where two states of a car differ: (key, what it says here, what it says there), None where it says nothing. Of
    a list only how many of its entries the other does not have.
    """
    one, other = case_data(here), case_data(there)
    found: list[tuple[KeyPath, Any, Any]] = []
    for table in dict.fromkeys([*one, *other]):
        mine, theirs = one.get(table), other.get(table)
        if mine == theirs:
            continue
        if isinstance(mine, list) or isinstance(theirs, list):
            own, its = mine or [], theirs or []
            found.append(((table,), sum(e not in its for e in own), sum(e not in own for e in its)))
        else:
            own, its = mine or {}, theirs or {}
            keys = dict.fromkeys([*own, *its])
            found += [((table, k), own.get(k), its.get(k)) for k in keys if own.get(k) != its.get(k)]
    return found


def _put(data: dict[str, Any], path: KeyPath, value: Any) -> None:
    around: Any = data
    for part in path[:-1]:
        around = around[part] if isinstance(part, int) else around.setdefault(part, {})
    last = path[-1]
    if value is None and isinstance(around, dict):
        around.pop(last, None)
    else:
        around[last] = value
