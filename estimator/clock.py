"""The day on the clock, from one place. Set ESTIMATOR_TODAY=2026-11-25 to have another (in tests, or to try things).

No figure depends on it: everything is worked out as of the day the car was seen, or the latest that was recorded. It
is a first suggestion where a day is asked for, and what a day that has not come yet is told by.
"""

from __future__ import annotations

import datetime
import os

VARIABLE = "ESTIMATOR_TODAY"


def today() -> datetime.date:
    """The day on the clock, or the one set in its place; one that cannot be read is passed over."""
    try:
        return datetime.date.fromisoformat(os.environ.get(VARIABLE, ""))
    except ValueError:
        return datetime.date.today()
