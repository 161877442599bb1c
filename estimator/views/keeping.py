"""What keeping the car costs, in frames and sentences."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from estimator.decide.keep import Keeping
from estimator.views import words

# On the years chart some go together: five shades can be told apart, eleven cannot.
GROUPS = {
    "repairs": ("putting_right", "wear", "tyres", "unlisted"),
    "service": ("service", "inspection"),
    "fuel": ("fuel",),
    "fixed costs": ("insurance", "tax", "storage"),
    "change in value": ("value",),
}


def headline(found: Keeping) -> str:
    """What a year and a mile or kilometre cost."""
    unit = {"miles": "mile", "km": "km"}[found.unit]
    return (
        f"On average about {words.about(found.per_year, found.currency)} a year over "
        f"{words.plural(len(found.years), 'year')}, {distance_cost(found)} a {unit}."
    )


def distance_cost(found: Keeping) -> str:
    """The cost per distance, as finely as it is known."""
    cost = found.per_distance
    if cost >= 10:
        return words.money(cost, found.currency)
    return words.money(0, found.currency).removesuffix("0") + f"{cost:.2f}"


def spread(found: Keeping) -> str:
    """How far it may be off, and what it is in today's money."""
    band = found.per_year_band
    return (
        f"In four cases of five between {words.about(band.p10, found.currency)} and "
        f"{words.about(band.p90, found.currency)} a year, at {found.annual_distance:,.0f} {found.unit} a year. As an "
        f"equal sum in today's money: {words.about(found.present_per_year, found.currency)} a year."
    )


def years(found: Keeping) -> pd.DataFrame:
    """Mean cost by year and group: year, group, mean (below zero: a gain)."""
    rows = [
        {"year": y.year, "group": group, "mean": sum(y.parts.get(p, 0.0) for p in parts)}
        for y in found.years
        for group, parts in GROUPS.items()
    ]
    return pd.DataFrame(rows, columns=["year", "group", "mean"])


def bands(found: Keeping) -> pd.DataFrame:
    """Whole cost of each year: year, low, middle, high."""
    rows = [{"year": y.year, "low": y.band.p10, "middle": y.nominal, "high": y.band.p90} for y in found.years]
    return pd.DataFrame(rows, columns=["year", "low", "middle", "high"])


def years_alt(found: Keeping) -> str:
    """The years in words."""
    costs = [f"year {y.year} {words.about(y.nominal, found.currency)}" for y in found.years]
    return f"Cost by year, on average: {', '.join(costs)}."


def split(found: Keeping) -> pd.DataFrame:
    """What it goes on over all the years, most first: part, name, nominal, present, place, label."""
    rows = [
        {"part": p, "name": words.KEEPING_PARTS[p], "nominal": cost, "present": found.present_parts[p]}
        for p, cost in found.parts.items()
    ]
    rows.sort(key=lambda row: -float(str(row["nominal"])))
    for place, row in enumerate(rows):
        row["place"] = place
        row["label"] = (
            f"{words.about(float(str(row['nominal'])), found.currency)} · {words.sentence(str(row['name']))}"
        )
    return pd.DataFrame(rows, columns=["part", "name", "nominal", "present", "place", "label"])


def split_alt(found: Keeping) -> str:
    """The split in words."""
    return "Over all years, on average: " + "; ".join(split(found)["label"]) + "."


BASIS = {
    "paid": "at the price paid",
    "asked": "at the price asked",
    "good-example": "at the value of a good example less what putting it right costs",
}


def sell_now(
    found: Keeping,
    *,
    say: Callable[[float], str] | None = None,
    chance: Callable[[float], str] = words.chance,
) -> str:
    """Selling today against keeping it and selling at the end. say, chance : a sum and a chance in words."""
    sell = found.sell_now
    if sell is None:
        return "Without a price or a value of a good example, selling cannot be set against keeping."
    say = say or (lambda amount: words.about(amount, found.currency))
    likely = sell.dearer.p50
    text = (
        f"Sold now as it stands, {BASIS[sell.basis]}, it is likely to bring about {say(sell.receives.p50)} after the "
        f"cost of selling. Keeping it {words.plural(len(found.years), 'year')} and selling then is likely to "
    )
    if likely >= 0:
        text += (
            f"cost about {say(likely)} more in present value, one time in five more than {say(sell.dearer.p80)}: that "
            f"is the price of having it, {say(sell.per_year)} a year on average."
        )
    else:
        text += f"leave about {say(-likely)} more in present value."
    return f"{text} Chance that keeping it leaves more than selling now: {chance(sell.chance_keeping_pays)}."


def rates(found: Keeping) -> str:
    """The rates behind nominal and present."""
    return (
        f"Inflation {words.percent(found.inflation)}, discounted at {words.percent(found.discount)} above it; prices "
        f"of {found.price_year}; {found.draws:,} draws, seed {found.seed}."
    )
