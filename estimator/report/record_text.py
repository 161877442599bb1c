"""What was recorded and how the forecast moved, as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from estimator.distribution import Distribution
from estimator.look_back import ENOUGH, LookBack, Tally
from estimator.record import Recorded
from estimator.report.blocks import bullets, joined, wrapped
from estimator.report.plain_words import money
from estimator.views.looking_back import not_counted
from estimator.views.words import percent, plural


def record_text(
    found: Recorded, *, before: Distribution | None, after: Distribution | None, back: LookBack | None
) -> str:
    """What `estimator record` prints: entries, notes, the forecast before and after, looking back."""
    currency = found.case.money.currency
    count = len(found.added)
    said_count = "nothing new" if count == 0 else "1 entry" if count == 1 else f"{count} entries"
    rows = wrapped(f"Recorded in {found.case.name}: {said_count}", rest="    ")
    rows += bullets([*(said(entry) for entry in found.added), *found.notes])
    forecast: list[str] = []
    if before is not None and after is not None:
        forecast = wrapped(
            f"Twelve months ahead: likely {money(before.p50, currency)} before, {money(after.p50, currency)} now; one "
            f"time in five more than {money(after.p80, currency)}.",
            rest="    ",
        )
    told = (
        []
        if back is None
        else [row for line in look_back_rows(back, currency) for row in wrapped(line, rest="    ")]
    )
    return joined([rows, forecast, told])


def said(entry: dict[str, Any]) -> str:
    """One entry in a line."""
    parts = [f"{key} {value}" for key, value in entry.items() if key != "table"]
    return f"{entry['table']}: " + ", ".join(parts)


def look_back_rows(back: LookBack, currency: str) -> Sequence[str]:
    """What happened since the purchase against what was expected on the day of it, a line each."""
    return (
        f"Since {back.since}: {money(back.spent, currency)} in {plural(back.bills_recorded, 'bill')}; on that day the "
        f"whole first year, of which {percent(back.share_of_year)} has gone by, was expected at "
        f"{money(back.expected['p10'], currency)} to {money(back.expected['p90'], currency)} (eight times in ten).",
        "Bills inside the range of eight in ten of their parts: " + _tally(back.bills),
        "Parts seen apart that were spent: " + _tally(back.conditions),
        *not_counted(back),
    )


def _tally(t: Tally) -> str:
    if t.n == 0:
        return "none yet."
    low, high = t.interval
    text = (
        f"{t.k} of {t.n} ({t.expected:.1f} expected; true share {100 * low:.0f} to {100 * high:.0f} in 100): "
    )
    return text + (t.verdict + "." if t.verdict else f"too few to say anything, {ENOUGH} are needed.")
