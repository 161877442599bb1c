"""Chances and sums in words and plain characters, for a terminal. Rounded as on the screen."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable

from estimator.views.words import rounded

# A chance is said as the nearest of these, by odds: a person can picture each of them.
_CHANCES = (
    (0.01, "about one in a hundred"),
    (0.02, "about one in fifty"),
    (0.033, "about one in thirty"),
    (0.05, "about one in twenty"),
    (0.1, "about one in ten"),
    (0.125, "about one in eight"),
    (1 / 6, "about one in six"),
    (0.2, "about one in five"),
    (0.25, "about one in four"),
    (1 / 3, "about one in three"),
    (0.4, "about two in five"),
    (0.5, "about one in two"),
    (0.6, "about three in five"),
    (2 / 3, "about two in three"),
    (0.75, "about three in four"),
    (0.8, "about four in five"),
    (0.9, "about nine in ten"),
    (0.95, "about nineteen in twenty"),
)
RARE, SURE = 0.007, 0.975


def chance(probability: float) -> str:
    """A probability as a frequency people know: "about one in three".

    Raises
    ------
    ValueError
        If it is not a probability.
    """
    if not 0 <= probability <= 1:
        raise ValueError(f"probability must be 0 to 1, got {probability!r}")
    if probability < RARE:
        return "hardly ever"
    if probability > SURE:
        return "almost certain"
    odds = math.log(probability / (1 - probability))
    return min(_CHANCES, key=lambda one: abs(math.log(one[0] / (1 - one[0])) - odds))[1]


def amount(value: float, *, step: float | None = None) -> str:
    """12345.6 -> "12,000": as finely as an estimate bears, or to the step given."""
    figure = rounded(value) if step is None else round(value / step) * step
    return f"{figure:,.0f}"


def money(value: float, currency: str) -> str:
    """12345.6 -> "GBP 12,000"."""
    return f"{currency} {amount(value)}"


def table_step(largest: float) -> float:
    """One step for all sums of a table, so that its means can be added up: three figures of the largest."""
    return 10.0 ** max(math.floor(math.log10(max(largest, 1.0))) - 2, 0)


def clean(text: str) -> str:
    """Text that somebody typed, safe to print: what cannot be seen (control characters) is left out."""
    return "".join(c if c.isprintable() else " " for c in text).strip()


def first_sentence(text: str) -> str:
    """ "Never run it. Not ever." -> "Never run it." """
    head, stop, _ = text.partition(". ")
    return head + stop.rstrip()


def commonest_first(names: Iterable[str]) -> list[str]:
    """Each name once, those named most often first; among equals as they come."""
    return [name for name, _ in Counter(names).most_common()]
