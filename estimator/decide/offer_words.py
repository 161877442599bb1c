"""A sentence for every price: what it is, what it rests on, which rule sets it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from estimator.case import Case

if TYPE_CHECKING:
    from estimator.decide.offer import Offer


def money(amount: float, currency: str) -> str:
    """12345.6 -> "GBP 12,350": to the nearest ten, sums below a hundred to the unit."""
    figure = round(amount, -1) if abs(amount) >= 100 else round(amount)
    return f"{currency} {figure:,.0f}"


def sentences(found: Offer, case: Case) -> dict[str, str]:
    """Sentences by the name of the figure they explain."""

    def say(amount: float) -> str:
        return money(amount, found.currency)

    made = {
        "fair": _fair(found),
        "opening": _opening(found, say(found.opening)),
        "target": _target(found, say(found.target), say(found.likely_lowest)),
        "walk_away": _walk_away(found, case),
        "budget": _budget(found, case),
        "fixed_first": (
            f"If the seller has what was found put right first, up to {say(found.fixed_first)}; as it stands, up to "
            f"{say(found.walk_away)}. Ask for the bills, in writing and by whom."
            if found.fixed_first > 0 and found.known_work > 0
            else ""
        ),
    }
    if found.sale == "friend":
        made["opening"] = made["target"] = (
            f"Between friends one price serves for all: {say(found.target)}, with the list of what was found beside it."
        )
    if found.highest_bid is not None:
        made["opening"] = made["target"] = ""  # nobody haggles with a hammer
        made["highest_bid"] = (
            f"Bid no more than {say(found.highest_bid)} at the hammer: premium, its tax and carriage come on top, and "
            f"{say(found.bid_margin or 0.0)} are kept back because who wins has mostly judged too high."
        )
    if found.warranty_carries is not None:
        made["warranty"] = (
            f"What the trader promises in writing carries about {say(found.warranty_carries)} of the hidden work on "
            "average and is in these prices. Your rights against a trader are a matter of local law: take advice there."
        )
    return {name: text for name, text in made.items() if text}


def warnings(found: Offer, case: Case) -> tuple[str, ...]:
    """What was taken where the case is silent, and what the kind of sale leaves open."""
    made = []
    if case.money.risk_tolerance is None:
        made.append("money.risk_tolerance is not given: the limit is the plain mean of what the car is worth")
    if case.money.budget is None:
        made.append("money.budget is not given: nothing holds the price down but what the car is worth")
    if case.money.seller is None:
        made.append(
            "money.seller is not given: the least he takes is put at 75 to 100 % of the asking price, likely 92 %"
        )
    if case.money.scrap is None:
        made.append("money.scrap is not given: 5 % of the low value of a good example")
    if case.money.asking == 0:
        made.append(
            "the car is a gift: there is no price to bargain over; the limit says what owning it is worth"
        )
    assert case.money.sound_example is not None
    dearest = case.money.sound_example[2]
    if found.by_value > dearest:
        made.append(
            f"what it is worth to you is above the dearest good example ({money(dearest, found.currency)}), because it "
            "should need less work than such cars usually do: see whether another good one can be had for less"
        )
    budget = case.money.budget
    if budget is not None and found.asking > 0 and budget < found.asking:
        made.append(
            f"the budget of {money(budget, found.currency)} is below the asking price of "
            f"{money(found.asking, found.currency)}: at that price it cannot hold"
        )
    if case.money.value_means == "nothing-to-do":
        made.append("the value is that of a car with nothing to do: all work is deducted")
    if found.walk_away <= 0:
        made.append("at no price: what it would cost takes up all there is")
    by_sale = {
        "trader": ""
        if case.warranty
        else "nothing is promised in writing ([warranty]): priced as sold as seen",
        "unseen": "nobody has seen the car: pictures prove little, and the prices carry that doubt",
        "owned": "the car is yours already: the prices are what it would be worth to a buyer like you",
        "auction": "sold as it stands, mostly without a drive: the bid carries that doubt",
    }
    note = by_sale.get(found.sale, "")
    if case.money.transport > 0 and found.sale != "auction":
        made.append(f"carriage of {money(case.money.transport, found.currency)} comes on top of these prices")
    return (*made, note) if note else tuple(made)


def _opening(found: Offer, figure: str) -> str:
    if found.walk_away <= 0:
        return "Make no offer as it stands."
    if found.opening < found.target:
        return f"Open at {figure}: nine times in ten the car is worth at least that."
    return f"Open at {figure}, the price you hope for: the car is worth that nine times in ten."


def _target(found: Offer, figure: str, lowest: str) -> str:
    if found.walk_away <= 0:
        return "There is no price to aim for."
    if found.walk_away <= found.likely_lowest:
        return (
            f"Aim for {figure}, your own limit: sellers mostly want more for it (about {lowest} at least), so be "
            "ready to leave."
        )
    return (
        f"Aim for {figure}: half way between the least a seller usually takes (about {lowest} here) and the lower of "
        "his price and your own limit."
    )


def _fair(found: Offer) -> str:
    """How the fair price comes about."""

    def say(amount: float) -> str:
        return money(amount, found.currency)

    begin = f"Fair to both: {say(found.fair)}. A good example is worth about {say(found.value)};"
    known = f"{say(found.known_work)} for what was found" if found.known_work >= 1 else ""
    hidden = f"{say(abs(found.hidden_allowance))}"
    if found.hidden_allowance >= 0:
        unseen = f"{hidden} for what cannot be seen, beyond what such a car usually still costs"
        return f"{begin} from that {'go' if known else 'goes'} {f'{known} and ' if known else ''}{unseen}."
    less = (
        f"this one should cost {hidden} less in its first year than such a car usually does, which is added"
    )
    return f"{begin} {less}{f', and {known} goes off' if known else ''}."


def _walk_away(found: Offer, case: Case) -> str:
    limit = money(found.walk_away, found.currency)
    if found.walk_away <= 0:
        return "Walk away: at no price does it fit."
    if found.binds == "budget":
        held = f"{case.money.confidence:.0%}"
        return (
            f"Walk away above {limit}: your budget sets it, so that price and first year stay within "
            f"{money(case.money.budget or 0.0, found.currency)} with a chance of {held}. By what it is worth to you "
            f"the limit would be {money(found.by_value, found.currency)}."
        )
    why = "what it is worth to you, bad luck counted as much as you mind it"
    if case.money.risk_tolerance is None:
        why = "what it is worth on average"
    more = (
        ""
        if found.by_budget is None
        else f" Your budget would bear {money(found.by_budget, found.currency)}."
    )
    return f"Walk away above {limit}: {why}, sets it.{more}"


def _budget(found: Offer, case: Case) -> str:
    if not found.chance_budget_holds:
        return ""
    chances = dict(found.chance_budget_holds)
    at_asking = chances.get(found.asking)
    at_limit = chances.get(found.walk_away)
    if at_asking is None or at_limit is None:
        return ""
    limit = "at your limit" if found.walk_away > 0 else "if you paid nothing for the car"
    return (
        f"The budget of {money(case.money.budget or 0.0, found.currency)} holds through the first year in "
        f"{100 * at_asking:.0f} of 100 cases at the asking price, in {100 * at_limit:.0f} {limit}."
    )
