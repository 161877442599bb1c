"""Next checks, an offer, a comparison as text for a terminal: 80 columns, plain characters, no colour."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from estimator.catalogue.load import Catalogue
from estimator.decide.compare import Comparison
from estimator.decide.next_checks import CheckValue, NextChecks
from estimator.decide.offer import Offer
from estimator.report.plain_words import amount, clean, money

WIDTH = 80
NAME = 40
MOST_REST, MOST_BUNDLES = 6, 4


def _wrap(text: str, *, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        clean(text), WIDTH - 1, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    ) or [first]


def _bullets(texts: Iterable[str]) -> list[str]:
    return [row for text in texts for row in _wrap(text, first="  * ", rest="    ")]


def _joined(sections: Iterable[list[str]]) -> str:
    return "\n\n".join("\n".join(rows) for rows in sections if rows)


def _failed(stops: Iterable[tuple[str, str]]) -> list[str]:
    rows = _bullets(text for _, text in stops)
    return ["STOP: settle this before any sum below counts", *rows] if rows else []


def next_text(found: NextChecks, catalogue: Catalogue, *, everything: bool = False) -> str:
    """What `estimator next` prints: the advice, what to do in order, what else there is, paid visits, cautions."""
    proposed = found.checks[: found.stop_after]
    return _joined(
        (
            _failed(found.failed_stops),
            [clean(found.case)],
            _wrap(found.advice) + _together(found),
            _proposed(proposed, found),
            _rest(found, everything=everything),
            _visits(found, catalogue),
            _bullets(found.warnings),
            _cautions(proposed, catalogue),
        )
    )


def _together(found: NextChecks) -> list[str]:
    spent = f"{found.minutes:.0f} minutes"
    if found.price > 0:
        spent += f" and {money(found.price, found.currency)}"
    text = (
        f"Together they take {spent} and are worth about {money(found.together.value, found.currency)} to you. Knowing "
        f"everything about this car would be worth {money(found.perfect_information, found.currency)}."
    )
    if found.together.value < 0.5:
        text = f"Knowing everything about this car would be worth {money(found.perfect_information, found.currency)}."
    return _wrap(f"{_as_it_stands(found)} {text}")


def _as_it_stands(found: NextChecks) -> str:
    """The most to pay before anything more is looked at, and which rule sets it."""
    worth = money(max(found.by_value, 0.0), found.currency)
    if found.walk_away >= found.by_value - 0.5:
        return f"As it stands you would pay {worth} at most."
    if found.walk_away <= 0:
        return f"As it stands it is worth {worth} to you at most, and your budget allows no price for it."
    most = money(found.walk_away, found.currency)
    return (
        f"As it stands you would pay {most} at most: your budget sets that; it is worth up to {worth} to you."
    )


def _price(price: float) -> str:
    """A price of a check: small ones to the unit."""
    return f"{max(price, 1):.0f}" if price < 100 else amount(price)


def _proposed(checks: Iterable[CheckValue], found: NextChecks) -> list[str]:
    rows, last = [], ""
    for check in checks:
        if check.station != last:
            last = check.station
            rows.append(last.replace("-", " ").capitalize())
        rows += _line(check, found)
    return rows


def _line(check: CheckValue, found: NextChecks) -> list[str]:
    cost = f"{check.minutes:.0f} min" + (f", {_price(check.price)}" if check.price > 0 else "")
    adds = "stop" if check.stop and check.marginal < 0.5 else f"+{amount(check.marginal)}"
    name = textwrap.wrap(clean(check.name), NAME - 2) or [check.id]
    rows = [f"  {name[0]:<{NAME}}{cost:>14}{adds:>10}", *(f"  {more}" for more in name[1:])]
    if check.how == "pictures":
        rows.append("    ask for a picture")
    if check.stop and check.marginal < 0.5:
        return rows + _wrap(f"{check.results[0].text}: {check.stop}", first="    ", rest="    ")
    told = [
        f"{r.text}: {100 * r.probability:.0f} in 100" + (f", then up to {amount(r.walk_away)}" if found.walk_away > 0
                                                        or r.walk_away > 0 else "")
        for r in check.results if r.probability >= 0.005
    ]  # fmt: skip
    return rows + _wrap("; ".join(told), first="    ", rest="    ")


def _rest(found: NextChecks, *, everything: bool) -> list[str]:
    rest = [c for c in found.checks[found.stop_after :] if everything or c.marginal >= 0.5 or c.moves >= 1]
    shown = rest if everything else rest[:MOST_REST]
    if not shown:
        return []
    rows = _wrap(
        "Not proposed, most telling first: what it would add, and how far it moves the most you would pay, beyond "
        "those above it"
    )
    for check in shown:
        name = textwrap.shorten(clean(check.name), NAME, placeholder=" ...")
        price = f", {_price(check.price)}" if check.price > 0 else ""
        rows.append(
            f"  {name:<{NAME}}{f'{check.minutes:.0f} min{price}':>14}{f'+{amount(check.marginal)}':>10}"
            f"{f'+-{amount(check.beyond)}':>10}"
        )
    more = len(rest) - len(shown)
    return rows + ([f"  ... and {more} more: --all shows every one"] if more > 0 else [])


def _visits(found: NextChecks, catalogue: Catalogue) -> list[str]:
    paid = [b for b in found.bundles if b.price > 0]
    if not paid:
        return []
    paid = [b for b in paid if b.value >= 0.5][:MOST_BUNDLES]
    rows = ["Paid looks as a whole: minutes, price, worth" if paid else "No paid look is worth anything now."]
    for bundle in paid:
        check = catalogue.checks.get(bundle.id)
        name = textwrap.shorten(
            clean(check.name if check else bundle.id.replace("-", " ")), NAME, placeholder=" ..."
        )
        rows.append(
            f"  {name:<{NAME}}{f'{bundle.minutes:.0f} min':>10}{_price(bundle.price):>10}{amount(bundle.value):>10}"
        )
    return rows


def _cautions(checks: Iterable[CheckValue], catalogue: Catalogue) -> list[str]:
    named = [c for check in checks for c in catalogue.checks[check.id].cautions if c in catalogue.cautions]
    rows = _bullets(catalogue.cautions[c].text for c in dict.fromkeys(named))
    return ["What needs care", *rows] if rows else []


def offer_text(found: Offer) -> str:
    """What `estimator offer` prints: stops, prices with a sentence each, what a concession is worth, doubts."""
    order = ("walk_away", "target", "opening", "fair", "highest_bid", "warranty", "fixed_first", "budget")
    still = [text for _, text in found.open_stops]
    open_rows = ["NOT LOOKED AT YET: any of these can end the deal", *_bullets(still)] if still else []
    return _joined(
        (
            _failed(found.failed_stops),
            open_rows,
            [clean(found.case)],
            [
                row
                for key in order
                if key in found.sentences
                for row in _wrap(found.sentences[key], rest="  ")
            ],
            _concessions(found),
            _bullets(found.warnings),
        )
    )


def _concessions(found: Offer) -> list[str]:
    rows = ["What a concession is worth to you"] if found.concessions else []
    for one in found.concessions:
        name = textwrap.shorten(clean(one.name), NAME, placeholder=" ...")
        cost = "" if one.low is None or one.high is None else f"costs {amount(one.low)}-{amount(one.high)}"
        rows.append(f"  {name:<{NAME}}{amount(one.worth):>10}   {cost}".rstrip())
    return rows


def compare_text(found: Comparison) -> str:
    """What `estimator compare` prints: a row a car, the chances of being cheaper, what the draws share."""
    head = f"{'':<26}{'price':>9}{'work':>9}{'1 in 5':>9}{'total':>9}{'regret':>9}{'even at':>9}"
    rows = [f"First year, {found.currency}; chosen by {found.by}", head]
    for number, car in enumerate(found.cases):
        name = textwrap.shorten(f"{number + 1} {clean(car.case)}", 25, placeholder=" ...")
        figures = (car.price, car.outlay.p50, car.outlay.p80, car.total.mean, car.regret, car.switching_price)
        rows.append(f"{name:<26}" + "".join(f"{amount(f):>9}" for f in figures))
    best = found.cases[found.first]
    others = [c.switching_price for i, c in enumerate(found.cases) if i != found.first]
    text = (
        f"First choice: {best.case}. It stays first up to a price of {money(best.switching_price, found.currency)}. "
        "Work: likely in the first year, and what one such year in five exceeds; total: price and work on average. "
        "Regret: what choosing it costs on average against the best choice in hindsight. Even at: the price at which a "
        "car draws level with the best of the others."
    )
    matrix = ["Chance that the car of the row costs less than that of the column"]
    matrix.append(" " * 6 + "".join(f"{j + 1:>7}" for j in range(len(found.cases))))
    for i, row in enumerate(found.p_cheaper):
        cells = "".join(f"{'-' if i == j else f'{100 * p:.0f}%':>7}" for j, p in enumerate(row))
        matrix.append(f"{i + 1:>6}{cells}")
    said = {1: "is at least as good at every level", 2: "is better for everybody who minds risk"}
    better = [
        f"{found.cases[i].case} {said[order]} than {found.cases[j].case}" for i, j, order in found.dominates
    ]
    shared = f"All cars share in each draw: {', '.join(found.common)}. Each its own: {', '.join(found.own)}."
    return _joined(
        (
            rows,
            _wrap(text) if others else [],
            matrix,
            _bullets(better),
            _wrap(shared),
            _bullets(found.warnings),
        )
    )
