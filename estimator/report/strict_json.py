"""Results as JSON any reader accepts: no NaN, no infinity, no numpy, plain ASCII."""

from __future__ import annotations

import datetime
import json
import math
from collections.abc import Mapping
from pathlib import PurePath
from typing import Any


def plain(value: Any) -> Any:
    """The value in JSON's own types. What JSON cannot say (NaN, infinity) becomes null.

    Raises
    ------
    TypeError
        For anything that is not data.
    """
    if value is None or isinstance(value, (bool, str, int)):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(one) for one in value]
    if isinstance(value, (set, frozenset)):
        return [plain(one) for one in sorted(value)]
    if isinstance(value, (datetime.date, PurePath)):
        return value.isoformat() if isinstance(value, datetime.date) else str(value)
    if hasattr(value, "tolist"):  # numpy scalars and arrays, without importing numpy for it
        return plain(value.tolist())
    raise TypeError(f"cannot be written as JSON: {type(value).__name__}")


def to_json(data: Mapping[str, Any]) -> str:
    """A result as indented JSON text."""
    return json.dumps(plain(data), indent=2, allow_nan=False)
