"""How figures and the words of the files are said to people: one table of screen words, chances, money."""

from __future__ import annotations

import math

NEED_WORDS = {
    "safety": "safety or law",
    "to-drive": "to drive",
    "protects": "protects dearer parts",
    "comfort": "comfort and looks",
}
CONDITION_WORDS = {"sound": "good", "worn": "tired", "spent": "needs doing"}

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


def system(identifier: str) -> str:
    """ "clutch-and-gearbox" -> "clutch and gearbox"; stations too."""
    return identifier.replace("-", " ")


def rounded(amount: float) -> float:
    """An amount to three figures, and never finer than a whole unit: what an estimate can bear."""
    if amount == 0:
        return 0.0
    digits = 2 - math.floor(math.log10(abs(amount)))
    return float(round(amount, min(digits, 0)))


def amount(value: float) -> str:
    """12345.6 -> "12,300"."""
    return f"{rounded(value):,.0f}"


def money(value: float, currency: str) -> str:
    """12345.6 -> "GBP 12,300"."""
    return f"{currency} {amount(value)}"


def clean(text: str) -> str:
    """Text that somebody typed, safe to print: what cannot be seen (control characters) is left out."""
    return "".join(c if c.isprintable() else " " for c in text).strip()
