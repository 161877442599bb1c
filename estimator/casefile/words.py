"""The words a case file may use, and the units it is written in."""

from __future__ import annotations

import datetime
from typing import Any, Literal, get_args

KM_PER_MILE = 1.609344  # exact: 1,760 yards of 0.9144 m (international yard and pound agreement, 1959)
DAYS_PER_YEAR = 365.25

Unit = Literal["miles", "km"]
Viewer = Literal["newcomer", "handy", "mechanic"]
Sale = Literal["private", "trader", "auction", "friend", "unseen", "owned"]
Reason = Literal[
    "unknown", "no-time", "no-space", "needs-money", "replaced", "inherited", "needs-work", "stock"
]
Care = Literal["unknown", "attentive", "ordinary", "neglectful"]
Parts = Literal["common", "scarce", "rare"]
Storage = Literal["unknown", "outdoors", "carport", "damp-garage", "dry-garage", "heated"]
Climate = Literal["unknown", "mild", "wet", "salted-winters", "coastal", "hot-dry"]
Use = Literal["unknown", "daily", "summer", "occasional", "laid-up"]
ValueMeans = Literal["as-sold", "nothing-to-do"]
TestResult = Literal["passed", "passed-with-advice", "refused"]
What = Literal["renewed", "overhauled", "adjusted", "seen-sound", "seen-worn", "seen-spent"]
Fitted = Literal["unknown", "new", "pattern", "used", "old-stock", "rebuilt", "repaired"]
By = Literal["unknown", "workshop", "owner"]
Evidence = Literal["invoice", "receipt", "stamp", "note", "owner-word", "trader-word", "strip-down"]
Side = Literal["both", "left", "right"]
Result = Literal["present", "absent", "could-not-try", "refused"]
How = Literal["in-person", "pictures", "reported"]
RemedyKind = Literal["new", "pattern", "used", "old-stock", "exchange", "rebuilt", "repair", "made"]
Covers = Literal["parts", "job"]
SpareState = Literal["new", "pattern", "used", "old-stock", "rebuilt"]

STORAGES: tuple[str, ...] = get_args(Storage)
CLIMATES: tuple[str, ...] = get_args(Climate)
USES: tuple[str, ...] = get_args(Use)
REASONS: tuple[str, ...] = get_args(Reason)


def result_words(result: str, check: Any) -> str:
    """A result in the words of its check ("clonks", "quiet"), where that is known: it has `present` and `absent`."""
    own = {} if check is None else {"present": check.present, "absent": check.absent}
    return str(own.get(result, result.replace("-", " ")))


def km(distance: float, unit: str) -> float:
    """A distance in miles or km as kilometres."""
    return distance * KM_PER_MILE if unit == "miles" else distance


def in_unit(distance_km: float, unit: str) -> float:
    """Kilometres as the distance a person reads, in miles or km."""
    return distance_km / KM_PER_MILE if unit == "miles" else distance_km


def years_between(start: datetime.date, end: datetime.date) -> float:
    """Years from one day to another (negative when `end` is earlier); a year is 365.25 days."""
    return (end - start).days / DAYS_PER_YEAR


def day_after_years(start: datetime.date, years: float) -> datetime.date:
    """The day so many years after another, to the nearest day."""
    return start + datetime.timedelta(days=round(years * DAYS_PER_YEAR))
