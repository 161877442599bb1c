"""What to look at next, in frames and sentences."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from estimator.decide.next_records import BundleValue, CheckValue, NextChecks
from estimator.views import words

LEAST = 0.5  # a value below this is none


def by_value(found: NextChecks) -> bool:
    """Whether single answers are worth money; else checks are shown by how far they move the limit."""
    return any(check.value >= LEAST for check in found.checks)


def bars(found: NextChecks, *, most: int = 12) -> pd.DataFrame:
    """The checks proposed (or, when none is, the first ones) in the order to make them: place, amount, label."""
    worth = by_value(found)
    chosen = found.checks[: found.stop_after] or found.checks
    rows = []
    for place, check in enumerate(chosen[:most]):
        amount = check.value if worth else check.moves
        facts = " · ".join([_says(check, amount, worth, found.currency), *takes(check, found.currency)])
        rows.append(
            {
                "id": check.id,
                "place": place,
                "amount": amount,
                "check": check.name,
                "label": f"{place + 1}. {words.sentence(check.name)}",
                "facts": facts,
            }
        )
    return pd.DataFrame(rows, columns=["id", "place", "amount", "check", "label", "facts"])


def _says(check: CheckValue, amount: float, worth: bool, currency: str) -> str:
    """What the bar of a check stands for, in words: a sum, or why it is looked at all the same."""
    if check.stop:
        return "can end the deal"
    if amount < LEAST:
        return "worth little by itself" if worth else "hardly moves your limit"
    return f"{'worth' if worth else 'moves your limit by'} {words.about(amount, currency)}"


def bars_title(found: NextChecks) -> str:
    """What the bars measure."""
    if by_value(found):
        return "What its answer is worth to you by itself"
    return "How far its answer moves your limit, on average"


def bars_alt(found: NextChecks) -> str:
    """The bars in words."""
    frame = bars(found)
    if frame.empty:
        return "No check can be made."
    top = frame.sort_values("amount", ascending=False).iloc[0]
    return (
        f"{bars_title(found)}: {len(frame)} checks in the order to make them; most, "
        f"{words.about(float(top['amount']), found.currency)}: {top['check']}."
    )


def takes(check: CheckValue | BundleValue, currency: str) -> list[str]:
    """What a check takes: minutes, and what it costs if anything."""
    price = [] if check.price < LEAST else [f"costs {words.about(check.price, currency)}"]
    return [f"{check.minutes:g} min", *price]


def worth_line(check: CheckValue, currency: str) -> str:
    """What one check is worth, under it."""
    if check.stop:
        return "First, whatever it is worth: alone it can end the deal."
    if check.rare:
        return "One of its answers is too rare among the draws to put a value to it."
    if check.value >= LEAST:
        return f"Its answer is worth about {words.about(check.value, currency)} to you."
    return "By itself its answer changes nothing you would do; together with the others it may."


def result_lines(checks: Sequence[CheckValue], currency: str) -> list[str]:
    """For every check, what each answer would make of the limit."""
    made = []
    for check in checks:
        answers = [
            f"{r.text} ({words.odds(r.probability)}): "
            + ("stop" if check.stop and r is check.results[0] else words.about(r.walk_away, currency))
            for r in check.results
        ]
        made.append(f"{words.sentence(check.name)} → {'; '.join(answers)}")
    return made


def limit_line(found: NextChecks) -> str:
    """The limit as it stands, and the one by worth alone where the budget is lower."""
    if found.owned:
        return f"As it stands it is worth {words.about(found.by_value, found.currency)} to you."
    do = "bid" if found.short_list else "pay"
    line = f"As it stands the most to {do} is {words.about(found.walk_away, found.currency)}."
    if found.by_value - found.walk_away < 5:
        return line
    return (
        f"{line} The budget sets it: by what the car is worth to you it would be "
        f"{words.about(found.by_value, found.currency)}."
    )


def open_stops(found: NextChecks) -> list[str]:
    """Stops not looked at yet, and why one cannot be now."""
    return [
        words.sentence(one.name) + (f" (not possible now: {one.why_not})" if one.why_not else "")
        for one in found.open_stops
    ]


def refusal(found: NextChecks) -> str:
    """What the seller refused and what that says; empty where nothing was refused."""
    if found.refusal is None:
        return ""
    lowers, closes = found.refusal.lowers, found.refusal.closes
    about = words.about(abs(lowers), found.currency)
    moved = (
        f"by itself it {'lowers' if lowers > 0 else 'raises'} what the car is worth to you by about {about}"
    )
    if abs(lowers) < 5:
        moved = "by itself it hardly moves what the car is worth to you"
    left_out = f" {words.plural(closes, 'check')} left out for it." if closes else ""
    names = "; ".join(name.rstrip("?.") for name in found.refusal.checks)
    evidence = f"A refusal is evidence too, seldom proof: {moved}, which is in every figure here."
    return f"Refused: {names}.{left_out} {evidence}"


def when_to_stop(found: NextChecks) -> str:
    """Where the list ends and why."""
    everything = words.about(found.perfect_information, found.currency)
    if found.stop_after == 0:
        return f"Knowing everything there is to know about the car would be worth {everything} to you."
    spent = f"{found.minutes:g} minutes" + (
        f" and {words.about(found.price, found.currency)}" if found.price >= LEAST else ""
    )
    worth = (
        f"together they are worth about {words.about(found.together.value, found.currency)}"
        if found.together.value >= LEAST
        else "they are there to rule out what would end the deal"
    )
    return (
        f"{words.sentence(words.plural(found.stop_after, 'check'))}, {spent}: {worth}. After them stop: no further set "
        f"that fits is worth its cost. Knowing everything would be worth {everything}."
    )


def bundle_lines(found: NextChecks, names: dict[str, str], *, most: int = 8) -> list[str]:
    """Tours and paid visits taken whole, those worth most first."""
    made = []
    for bundle in found.bundles[:most]:
        name = words.STATIONS.get(bundle.id) or names.get(bundle.id, bundle.id)
        facts = ", ".join([words.plural(len(bundle.checks), "check"), *takes(bundle, found.currency)])
        worth = (
            f"worth about {words.about(bundle.value, found.currency)}"
            if bundle.value >= LEAST
            else "worth nothing at this price"
        )
        verdict = "" if bundle.price < LEAST else f", {'more' if bundle.net > 0 else 'less'} than it costs"
        made.append(f"{name} ({facts}): {worth}{verdict}")
    return made


def table(checks: Sequence[CheckValue]) -> pd.DataFrame:
    """Checks as a table: check, station, minutes, price, value, adds, moves."""
    rows = [
        {
            "check": words.sentence(c.name),
            "station": words.STATIONS[c.station],
            "minutes": c.minutes,
            "price": c.price,
            "value": c.value,
            "adds": c.marginal,
            "moves": c.moves,
        }
        for c in checks
    ]
    return pd.DataFrame(rows, columns=["check", "station", "minutes", "price", "value", "adds", "moves"])


def request_text(found: NextChecks, car: str) -> str:
    """What to ask the seller to send, as a message: no figure, no reason."""
    asked = "\n".join(f"- {words.sentence(c.name)}" for c in found.checks[: found.stop_after])
    return f"About the car ({car}): could you send me pictures, or an answer, of these?\n{asked}"
