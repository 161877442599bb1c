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


def _put(data: dict[str, Any], path: KeyPath, value: Any) -> None:
    around: Any = data
    for part in path[:-1]:
        around = around[part] if isinstance(part, int) else around.setdefault(part, {})
    last = path[-1]
    if value is None and isinstance(around, dict):
        around.pop(last, None)
    else:
        around[last] = value
