"""The sums of an assessment that are never mixed, each by its name: the one list of them."""

from __future__ import annotations

from dataclasses import dataclass

from estimator.assess import Assessment
from estimator.distribution import Distribution

NOW, FIRST_YEAR = "now", "first_year"  # the first year has what is needed now in it


@dataclass(frozen=True)
class Sum:
    """One sum. found and not_seen_yet make up total, safety_and_drive is a part of it; comfort and unlisted are apart.

    when : "now" or "first_year". figures : money in the case's currency, tax included.
    """

    name: str
    when: str
    figures: Distribution


def sums_of(a: Assessment) -> tuple[Sum, ...]:
    """All sums: found, not seen yet and total at once, then the same over the first year, then the others."""
    return (
        Sum("found", NOW, a.known.now),
        Sum("not_seen_yet", NOW, a.hidden.now),
        Sum("total", NOW, a.total.now),
        Sum("found", FIRST_YEAR, a.known.plan_year),
        Sum("not_seen_yet", FIRST_YEAR, a.hidden.plan_year),
        Sum("total", FIRST_YEAR, a.total.plan_year),
        Sum("safety_and_drive", NOW, a.needed.now),
        Sum("safety_and_drive", FIRST_YEAR, a.needed.plan_year),
        Sum("comfort", FIRST_YEAR, a.comfort),
        Sum("unlisted", FIRST_YEAR, a.unlisted),
    )
