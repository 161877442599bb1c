"""What happened since the purchase against what was expected on the day of it, in sentences."""

from __future__ import annotations

from estimator.look_back import ENOUGH, LookBack, Tally
from estimator.views import words


def lines(back: LookBack, currency: str) -> list[str]:
    """Money spent, bills inside their ranges, parts seen spent: each with its count and interval."""
    low, high = back.expected["p10"], back.expected["p90"]
    return [
        f"Since {words.day(back.since)}: {words.money(back.spent, currency)} in "
        f"{words.plural(back.bills_recorded, 'bill')}. Expected then for the whole first year, of which "
        f"{words.percent(back.share_of_year)} has gone by: {words.span(low, high, currency)}, four times in five.",
        f"Bills inside the range of four in five of their parts: {tally(back.bills)}",
        f"Parts seen apart that needed doing: {tally(back.conditions)}",
        *not_counted(back),
    ]


def not_counted(back: LookBack) -> list[str]:
    """Renewals of which the record does not say what the old part was like: a line, or none."""
    if not back.unsaid:
        return []
    was, they = ("was", "it was") if back.unsaid == 1 else ("were", "they were")
    return [
        f"{words.sentence(words.plural(back.unsaid, 'part'))} {was} renewed without a word of what {they} like (put "
        "down as seen sound, worn or spent): not counted."
    ]


def tally(found: Tally) -> str:
    """A count with its exact interval; a verdict only where there are enough."""
    if found.n == 0:
        return "none yet."
    low, high = found.interval
    text = (
        f"{found.k} of {found.n}, {found.expected:.1f} expected (true share {words.percent(low)} to "
        f"{words.percent(high)}): "
    )
    return text + (f"{found.verdict}." if found.verdict else f"too few to say anything, {ENOUGH} are needed.")
