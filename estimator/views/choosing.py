"""Cars side by side, in frames and sentences."""

from __future__ import annotations

import pandas as pd

from estimator.decide.compare import Comparison
from estimator.views import words

UNLISTED = "The first year has unlisted work in it, which the cost page shows apart."


def headline(found: Comparison) -> str:
    """Which car, and how sure that is."""
    if found.first is None:
        return "Every one of these cars has a stop: choose none before it is settled."
    first = found.cases[found.first]
    free = [car for car in found.cases if not car.failed_stops]
    if found.worth_it is False:
        near = "comes nearest" if len(free) > 1 else "is the only one without a stop"
        return f"None is worth its price and its first year; {first.case} {near}."
    if len(free) == 1:
        return f"{first.case}, the only one without a stop."
    if found.by == "cost":
        return f"{first.case} costs least, price and first year together."
    return f"{first.case}: worth most for its price and first year, {words.chance(first.p_best)} the right choice."


def failed(found: Comparison) -> list[tuple[str, str, str]]:
    """Stops that came out badly: (car, id of the check, what follows), in the order of the cars."""
    return [(car.case, check, text) for car in found.cases for check, text in car.failed_stops]


def still_open(found: Comparison, *, most: int = 3) -> list[str]:
    """For every car with stops not looked at yet, which they are."""
    lines = []
    for car in found.cases:
        names = [name for _, name in car.open_stops]
        if names:
            more = f" and {len(names) - most} more" if len(names) > most else ""
            lines.append(f"{car.case}: {'; '.join(names[:most])}{more}")
    return lines


def costs(found: Comparison) -> pd.DataFrame:
    """Price and first year, cheapest on average first: case, place, price, low, middle, high, label, facts."""
    order = sorted(range(len(found.cases)), key=lambda i: found.cases[i].total.mean)
    rows = []
    for place, i in enumerate(order):
        one = found.cases[i]
        facts = (
            f"price in all {words.about(one.price, found.currency)}, then "
            f"{words.span(one.outlay.p10, one.outlay.p90, found.currency)}"
        )
        rows.append(
            {
                "case": one.case,
                "place": place,
                "price": one.price,
                "low": one.total.p10,
                "middle": one.total.p50,
                "high": one.total.p90,
                "label": one.case,
                "facts": facts,
            }
        )
    return pd.DataFrame(rows)


def costs_alt(found: Comparison) -> str:
    """The ranges in words."""
    return (
        "Price and first year, four cases of five: "
        + "; ".join(
            f"{r['case']} {words.span(r['low'], r['high'], found.currency)}"
            for r in costs(found).to_dict("records")
        )
        + "."
    )


def gains(found: Comparison) -> pd.DataFrame:
    """Value less price less first year beyond the usual, best first: as `costs`; empty where values are missing."""
    rows = []
    order = sorted(range(len(found.cases)), key=lambda i: -found.cases[i].score)
    for place, i in enumerate(order):
        one = found.cases[i]
        if one.gain is None:
            return pd.DataFrame(columns=["case", "place", "price", "low", "middle", "high", "label", "facts"])
        rows.append(
            {
                "case": one.case,
                "place": place,
                "price": 0.0,
                "low": one.gain.p10,
                "middle": one.gain.p50,
                "high": one.gain.p90,
                "label": one.case,
                "facts": f"on average {words.about(one.gain.mean, found.currency)}",
            }
        )
    return pd.DataFrame(rows)


def gains_alt(found: Comparison) -> str:
    """The gains in words."""
    return (
        "Value less price less the first year beyond the usual, four cases of five: "
        + "; ".join(
            f"{r['case']} {words.span(r['low'], r['high'], found.currency)}"
            for r in gains(found).to_dict("records")
        )
        + "."
    )


def pairs(found: Comparison) -> list[str]:
    """For every pair, how often the first costs less."""
    lines = []
    for i, one in enumerate(found.cases):
        for j in range(i + 1, len(found.cases)):
            p = found.p_cheaper[i][j]
            first, second = (one.case, found.cases[j].case)
            if p < 0.5:
                first, second, p = second, first, 1 - p
            lines.append(f"{first} costs less than {second}: {words.chance(p)}")
    return lines


def dominance(found: Comparison) -> list[str]:
    """Where no taste can prefer the other."""
    how = {1: "whatever one's taste", 2: "for everybody who minds risk"}
    return [
        f"{found.cases[i].case} is at least as good as {found.cases[j].case} {how[order]}"
        for i, j, order in found.dominates
    ]


def each(found: Comparison) -> list[str]:
    """Regret and the price at which each would be as good as the best other."""
    lines = []
    for number, one in enumerate(found.cases):
        regret = words.about(one.regret, found.currency)
        at = words.about(one.switching_price, found.currency)
        if one.failed_stops:
            lines.append(f"{one.case}: not to be chosen before its stop is settled")
            continue
        if one.switching_price <= 0:
            turn = "no price would make it the first choice"
        elif number == found.first:
            turn = f"it stays the first choice up to {at} in all"
        else:
            turn = f"it would be the first choice below {at} in all"
        lines.append(
            f"{one.case}: {words.chance(one.p_best)} the best in hindsight; choosing it costs {regret} on average "
            f"against knowing beforehand; {turn}"
        )
    return lines


def shared(found: Comparison) -> str:
    """Which chance is common to all and which is each car's own."""
    return (
        f"Luck that strikes all alike is the same for all here ({words.listed(list(found.common))}); each has its own "
        f"in {words.listed(list(found.own))}."
    )
