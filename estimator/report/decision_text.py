"""Next checks, an offer, a comparison as text for a terminal: 80 columns, plain characters, no colour."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from estimator.catalogue.load import Catalogue
from estimator.decide.compare import Compared, Comparison
from estimator.decide.next_records import CheckValue, NextChecks, OpenStop, ResultOf
from estimator.decide.offer import Offer
from estimator.report.blocks import bullets, failed_rows, joined, open_rows, wrapped
from estimator.report.plain_words import amount, clean, first_sentence, money

NAME = 40
MOST_REST, MOST_BUNDLES = 6, 4


def next_text(found: NextChecks, catalogue: Catalogue, *, everything: bool = False) -> str:
    """What `estimator next` prints: the advice, what to do in order, what else there is, paid visits, cautions."""
    proposed = found.checks[: found.stop_after]
    return joined(
        (
            failed_rows(text for _, text in found.failed_stops),
            open_rows(map(_open_stop, found.open_stops), ends=_ends(found), more=", so look at them first"),
            [clean(found.case)],
            wrapped(found.advice) + _together(found),
            _refusal(found),
            _proposed(proposed, found),
            _rest(found, everything=everything),
            _visits(found, catalogue),
            bullets(found.warnings),
            _cautions(proposed, catalogue),
        )
    )


def _ends(found: NextChecks | Offer) -> str:
    """What a stop ends: a car that is owned has no deal left to end."""
    return "the matter" if found.owned else "the deal"


def _open_stop(stop: OpenStop) -> str:
    return stop.name + (f" (not possible now: {stop.why_not})" if stop.why_not else "")


def _refusal(found: NextChecks) -> list[str]:
    """What was refused, what it leaves out, and what that says about the car."""
    if found.refusal is None:
        return []
    asked = "; ".join(name.rstrip("?.") for name in found.refusal.checks)
    left_out = f" {found.refusal.closes} checks are left out for it." if found.refusal.closes else ""
    by, lowers = money(abs(found.refusal.lowers), found.currency), found.refusal.lowers
    moved = f"By itself it {'lowers' if lowers > 0 else 'raises'} what the car is worth to you by about {by}"
    if abs(lowers) < 5:
        moved = "By itself it hardly moves what the car is worth to you"
    return wrapped(
        f"The seller refused: {asked}.{left_out} A refusal is evidence too, seldom proof: {moved[0].lower()}"
        f"{moved[1:]}, which is in every figure here. Ask again, and why; agreed, the look counts as any other."
    )


def _together(found: NextChecks) -> list[str]:
    spent = f"{found.minutes:.0f} minutes"
    if found.price > 0:
        spent += f" and {money(found.price, found.currency)}"
    everything = (
        f"Knowing everything about this car would be worth {money(found.perfect_information, found.currency)}"
    )
    text = (
        f"Together they take {spent} and are worth about {money(found.together.value, found.currency)} to you. "
        f"{everything}."
    )
    if found.together.value < 0.5:
        text = f"{everything}."
    return wrapped(f"{_as_it_stands(found)} {text}")


def _as_it_stands(found: NextChecks) -> str:
    """The most to pay before anything more is looked at, and which rule sets it."""
    worth = money(max(found.by_value, 0.0), found.currency)
    if found.owned:
        return f"As it stands it is worth {worth} to you."
    do = "bid" if found.short_list else "pay"
    if found.walk_away >= found.by_value - 0.5:
        return f"As it stands you would {do} {worth} at most."
    if found.walk_away <= 0:
        return f"As it stands it is worth {worth} to you at most, and your budget allows no price for it."
    most = money(found.walk_away, found.currency)
    return (
        f"As it stands you would {do} {most} at most: your budget sets that; by what it is worth to you it would be "
        f"{worth}."
    )


def _limit(found: NextChecks) -> str:
    """What a result moves."""
    if found.owned:
        return "what it is worth to you"
    return "the most you would bid" if found.short_list else "the most you would pay"


def _price(price: float) -> str:
    """A price of a check: small ones to the unit."""
    return f"{max(price, 1):.0f}" if price < 100 else amount(price)


def _proposed(checks: Iterable[CheckValue], found: NextChecks) -> list[str]:
    rows, last = [], ""
    made = list(checks)
    if made:
        rows += wrapped(
            "In this order: what it takes, and what it adds to those before it; under it each answer, how often it "
            f"comes, and {_limit(found)} after it ({found.currency})"
        )
    for check in made:
        if check.station != last:
            last = check.station
            rows.append(last.replace("-", " ").capitalize())
        rows += _line(check, found)
    return rows


def _line(check: CheckValue, found: NextChecks) -> list[str]:
    cost = f"{check.minutes:.0f} min" + (f", {_price(check.price)}" if check.price > 0 else "")
    figure = amount(check.marginal)
    adds = f"+{figure}" if figure != "0" else "" if check.stop else "little"
    if check.stop:
        adds = f"stop {adds}".rstrip()
    name = textwrap.wrap(clean(check.name), NAME - 2) or [check.id]
    rows = [f"  {name[0]:<{NAME}}{cost:>14}{adds:>10}", *(f"  {more}" for more in name[1:])]
    if check.how == "pictures":
        rows.append("    ask for a picture")
    if check.stop and check.marginal < 0.5:
        return rows + wrapped(f"{check.results[0].text}: {check.stop}", first="    ", rest="    ")
    priced = any(r.walk_away > 0 for r in check.results)
    told = [
        f"{r.text}: {100 * r.probability:.0f} in 100" + _then(r, check, priced=priced)
        for r in check.results
        if r.probability >= 0.005
    ]
    return rows + wrapped("; ".join(told), first="    ", rest="    ")


def _then(result: ResultOf, check: CheckValue, *, priced: bool) -> str:
    """What a result leaves: the most to pay, or the end of the deal."""
    if check.stop and result is check.results[0]:
        return ", then stop"
    if not priced:
        return ""
    return f", then up to {amount(result.walk_away)}" if result.walk_away > 0 else ", then no price"


def _rest(found: NextChecks, *, everything: bool) -> list[str]:
    rest = [c for c in found.checks[found.stop_after :] if everything or c.marginal >= 0.5 or c.moves >= 1]
    shown = rest if everything else rest[:MOST_REST]
    if not shown:
        return []
    rows = wrapped(
        f"Not proposed, most telling first: what it would add, and how far (+-) its answer moves {_limit(found)}, "
        "beyond what those above it tell"
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
    rows = [
        "Paid looks, each as a whole: minutes, price, worth"
        if paid
        else "No paid look is worth anything now."
    ]
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
    """Each caution by its first sentence: all of it stands on the sheet that goes along, and where this points."""
    named = [c for check in checks for c in catalogue.checks[check.id].cautions if c in catalogue.cautions]
    rows = bullets(first_sentence(catalogue.cautions[c].text) for c in dict.fromkeys(named))
    if not rows:
        return []
    full = "In full: estimator catalogue show cautions, and on the sheet. Local rules and competent people come first."
    return ["What needs care", *rows, *wrapped(full)]


def offer_text(found: Offer) -> str:
    """What `estimator offer` prints: stops, prices with a sentence each, what a concession is worth, doubts."""
    order = (
        "owned",
        "highest_bid",
        "opening",
        "target",
        "walk_away",
        "fair",
        "warranty",
        "fixed_first",
        "budget",
    )
    return joined(
        (
            failed_rows(text for _, text in found.failed_stops),
            open_rows((text for _, text in found.open_stops), ends=_ends(found)),
            [clean(found.case)],
            [
                row
                for key in order
                if key in found.sentences
                for row in wrapped(found.sentences[key], rest="  ")
            ],
            _concessions(found),
            bullets(found.warnings),
        )
    )


def _concessions(found: Offer) -> list[str]:
    if not found.walk_away or all(one.low is None for one in found.concessions):
        return []  # without a price there is nothing to concede; a step off it alone says nothing
    rows = ["By how much a concession raises the most you would pay, and what such work costs"]
    for one in found.concessions:
        name = textwrap.shorten(clean(one.name), NAME, placeholder=" ...")
        cost = "" if one.low is None or one.high is None else f"costs {amount(one.low)}-{amount(one.high)}"
        rows.append(f"  {name:<{NAME}}{amount(one.worth):>10}   {cost}".rstrip())
    return rows


def compare_text(found: Comparison) -> str:
    """What `estimator compare` prints: stops, a row a car, the chances of being cheaper, what the draws share."""
    head = f"{'':<26}{'price':>9}{'work':>9}{'1 in 5':>9}{'total':>9}{'regret':>9}{'even at':>9}"
    rows = [f"Price and first year, {found.currency}; chosen by {found.by}", head]
    for number, car in enumerate(found.cases):
        name = textwrap.shorten(f"{number + 1} {clean(car.case)}", 25, placeholder=" ...")
        figures = (car.price, car.outlay.p50, car.outlay.p80, car.total.mean)
        last = ("stop", "stop") if car.failed_stops else (amount(car.regret), _even_at(car.switching_price))
        rows.append(f"{name:<26}" + "".join(f"{cell:>9}" for cell in (*map(amount, figures), *last)))
    legend = (
        "Price: what changes hands in all, premium and carriage included. Work: likely in the first year, unlisted "
        "work included (`assess` shows it apart), and what one such year in five exceeds. Total: price and work on "
        "average. Regret: what choosing it costs on average against the best choice in hindsight. Even at: the price "
        "in all at which it would be as good as the best of the others."
    )
    matrix = ["Chance that the car of the row costs less than that of the column"]
    matrix.append(" " * 6 + "".join(f"{j + 1:>7}" for j in range(len(found.cases))))
    for i, row in enumerate(found.p_cheaper):
        cells = "".join(f"{'-' if i == j else f'{100 * p:.0f}%':>7}" for j, p in enumerate(row))
        matrix.append(f"{i + 1:>6}{cells}")
    said = {
        1: "{} is at least as good as {}, however lucky or unlucky",
        2: "{} is better than {} for everybody who minds risk",
    }
    better = [said[order].format(found.cases[i].case, found.cases[j].case) for i, j, order in found.dominates]
    shared = (
        f"Luck that strikes all cars alike is the same for all: {', '.join(found.common)}. Each has its own: "
        f"{', '.join(found.own)}."
    )
    return joined(
        (
            failed_rows(f"{car.case}: {text}" for car in found.cases for _, text in car.failed_stops),
            open_rows((_open_of(car) for car in found.cases if car.open_stops), ends="the deal"),
            wrapped(_choice(found)),
            rows,
            wrapped(legend),
            matrix,
            bullets(better),
            wrapped(shared),
            bullets(found.warnings),
        )
    )


def _even_at(price: float) -> str:
    return amount(price) if price > 0 else "never"


def _open_of(car: Compared, *, most: int = 3) -> str:
    """ "Saloon: number on the body, jacking point, and 4 more"."""
    names = [name for _, name in car.open_stops]
    more = f" ... and {len(names) - most} more" if len(names) > most else ""
    return f"{car.case}: {'; '.join(names[:most])}{more}"


def _choice(found: Comparison) -> str:
    """Which to choose, if any."""
    if found.first is None:
        return "Every one of these cars has a stop: choose none before it is settled."
    best, free = found.cases[found.first], [car for car in found.cases if not car.failed_stops]
    if found.worth_it is False:
        near = "comes nearest" if len(free) > 1 else "is the only one without a stop"
        return f"None is worth what it costs with its first year; {best.case} {near}."
    only = f"First choice: {best.case}"
    if len(free) == 1:
        return f"{only}, the only one without a stop."
    at = money(best.switching_price, found.currency)
    return f"{only}. It stays first up to a price of {at} in all." + (
        " Look at its open stops before you choose it." if best.open_stops else ""
    )
