"""A sentence for every price: what it is, what it rests on, which rule sets it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from estimator.case import Case
from estimator.decide.budget import holds_sentence
from estimator.decide.stakes import FEW_DRAWS

if TYPE_CHECKING:
    from estimator.decide.offer import Offer


def money(amount: float, currency: str) -> str:
    """12345.6 -> "GBP 12,350": to the nearest ten, sums below a hundred to the unit."""
    figure = round(amount, -1) if abs(amount) >= 100 else round(amount)
    return f"{currency} {figure:,.0f}"


def sentences(found: Offer, case: Case) -> dict[str, str]:
    """Sentences by the name of the figure they explain; those of a price that is not to be named are left out."""
    made = {
        "owned": _owned(found, case),
        "highest_bid": _bid(found, case),
        "opening": _opening(found),
        "target": _target(found),
        "walk_away": _walk_away(found, case),
        "fair": _fair(found),
        "warranty": _warranty(found),
        "fixed_first": _fixed_first(found),
        "budget": _budget(found, case),
    }
    return {name: text for name, text in made.items() if text}


def warnings(found: Offer, case: Case) -> tuple[str, ...]:
    """What was taken where the case is silent, and what the kind of sale leaves open."""
    return (*_not_given(found, case), *_worth_a_thought(found, case))


def _not_given(found: Offer, case: Case) -> list[str]:
    money_, made = case.money, []
    if found.draws < FEW_DRAWS:
        made.append(
            f"only {found.draws} draws: every sum here is rough; ask for more (the default is 20,000)"
        )
    if money_.risk_tolerance is None:
        made.append("money.risk_tolerance is not given: the limit is the plain mean of what the car is worth")
    if money_.budget is None and not found.owned:
        made.append("money.budget is not given: nothing holds the price down but what the car is worth")
    if money_.seller is None and not found.owned and found.highest_bid is None:
        made.append(
            "money.seller is not given: the least the seller takes is put at 75 to 100 % of the asking price, "
            "likely 92 %"
        )
    if money_.scrap is None:
        made.append(
            "money.scrap is not given: if you gave up on the car it would fetch 5 % of the low value of a good example"
        )
    return made


def _worth_a_thought(found: Offer, case: Case) -> list[str]:
    def say(amount: float) -> str:
        return money(amount, found.currency)

    assert case.money.sound_example is not None
    dearest, budget, made = case.money.sound_example[2], case.money.budget, []
    if case.money.asking == 0 and not found.owned:
        made.append(
            "the car is a gift: there is no price to bargain over; the limit says what owning it is worth"
        )
    if found.by_value > dearest and not found.owned:
        made.append(
            f"what it is worth to you is above the dearest good example ({say(dearest)}), because it should need less "
            "work than such cars usually do: see whether another good one can be had for less"
        )
    if budget is not None and not found.owned and found.asking > 0 and budget < found.in_all:
        dear = f"the asking price of {say(found.asking)}"
        if found.in_all > found.asking:
            dear = f"the {say(found.in_all)} that change hands at the asking price"
        made.append(f"the budget of {say(budget)} is below {dear}: at that price it cannot hold")
    if case.money.value_means == "nothing-to-do":
        made.append("the value is that of a car with nothing to do: all work is deducted")
    by_sale = {
        "trader": ""
        if case.warranty
        else "nothing is promised in writing ([warranty]): priced as sold as seen",
        "unseen": "nobody has seen the car: pictures prove little, and the prices carry that doubt",
        "auction": "sold as it stands, mostly without a drive: the bid carries that doubt",
    }
    note = "" if found.owned else by_sale.get(found.sale, "")
    return [*made, note] if note else made


def _haggled(found: Offer) -> bool:
    """Whether there is a price to talk about: not for what is owned, at a hammer, or where none fits."""
    return found.opening is not None and found.target is not None and (found.walk_away or 0.0) > 0


def _opening(found: Offer) -> str:
    if not _haggled(found) or found.sale == "friend":
        return ""
    assert found.opening is not None
    assert found.target is not None
    figure = money(found.opening, found.currency)
    by_seller = found.opening <= found.least  # then not by what the car is worth nine times in ten
    if found.opening < found.target:
        why = (
            "hardly a seller who asks this much would talk about less"
            if by_seller
            else "nine times in ten the car is worth at least that"
        )
        return f"Open at {figure}: {why}."
    why = "" if by_seller else "; nine times in ten the car is worth it"
    return f"Open no higher than {figure}, the price to aim for{why}."


def _target(found: Offer) -> str:
    if not _haggled(found):
        return ""
    assert found.target is not None
    assert found.walk_away is not None
    figure, lowest = money(found.target, found.currency), money(found.likely_lowest, found.currency)
    if found.sale == "friend":
        return (
            f"Between friends one price serves for all: {figure}, with the list of what was found beside it."
        )
    if found.walk_away <= found.likely_lowest:
        return (
            f"Aim for {figure}, your own limit: sellers mostly want more for it (about {lowest} at least), so be "
            "ready to leave."
        )
    return (
        f"Aim for {figure}: half way between the least a seller usually takes (about {lowest} here) and the "
        "asking price or your own limit, whichever is lower."
    )


def _fair(found: Offer) -> str:
    """How the worth comes about."""

    def say(amount: float) -> str:
        return money(amount, found.currency)

    title = "What it is worth" if found.owned or found.highest_bid is not None else "Fair to both"
    begin = f"{title}: {say(found.fair)}. A good example is worth about {say(found.value)};"
    known = f"{say(found.known_work)} for what was found" if found.known_work >= 1 else ""
    hidden = f"{say(abs(found.hidden_allowance))}"
    if found.hidden_allowance >= 0:
        unseen = f"{hidden} for what cannot be seen, beyond what such a car usually still costs"
        return f"{begin} from that {'go' if known else 'goes'} {f'{known} and ' if known else ''}{unseen}."
    less = (
        f"this one should cost {hidden} less in its first year than such a car usually does, which is added"
    )
    return f"{begin} {less}{f', and {known} goes off' if known else ''}."


def _owned(found: Offer, case: Case) -> str:
    """What was paid against what is known now."""
    if not found.owned:
        return ""
    worth = money(found.fair, found.currency)
    if found.paid is None or case.bought is None:
        return f"The car is yours: nothing to bid. By what is known now it is worth about {worth}."
    gap = found.in_all - found.fair
    date = case.bought.date
    paid = f"You paid {money(found.paid, found.currency)} on {date.day} {date:%B} {date.year}"
    if found.carriage > 0:
        paid += f", {money(found.in_all, found.currency)} with carriage"
    about = "as much as" if abs(gap) < 0.005 * max(found.in_all, 1.0) else ""
    side = f"{money(abs(gap), found.currency)} {'more' if gap > 0 else 'less'} than"
    return f"{paid}: {about or side} the car is worth by what is known now, {worth}."


def _bid(found: Offer, case: Case) -> str:
    """The one number of an auction."""
    if found.highest_bid is None:
        return ""
    if found.highest_bid <= 0:
        return f"Make no bid: {_why_none(found, case)}"
    share = case.money.premium * (1 + case.money.premium_tax)
    on_top = [f"premium with its tax ({share:.1%})"] if share > 0 else []
    on_top += [f"carriage ({money(found.carriage, found.currency)})"] if found.carriage > 0 else []
    bill = money(found.highest_bid * (1 + share) + found.carriage, found.currency)
    text = f"Bid no more than {money(found.highest_bid, found.currency)} at the hammer"
    text += f": {' and '.join(on_top)} make it {bill} in all." if on_top else "."
    if found.binds == "budget":
        return f"{text} {_by_budget(found, case)}"
    return (
        f"{text} It is what the car is worth to you, less {money(found.bid_margin or 0.0, found.currency)} kept back "
        "because whoever wins has mostly judged too high."
    )


def _walk_away(found: Offer, case: Case) -> str:
    if found.walk_away is None or found.highest_bid is not None:
        return ""
    if found.walk_away <= 0:
        return f"Make no offer: {_why_none(found, case)}"
    limit = money(found.walk_away, found.currency)
    on_top = ""
    if found.carriage > 0:
        on_top = f" Carriage of {money(found.carriage, found.currency)} comes on top and is allowed for."
    if found.binds == "budget":
        return f"Walk away above {limit}. {_by_budget(found, case)}{on_top}"
    why = "what it is worth to you, bad luck counted as much as you mind it"
    if case.money.risk_tolerance is None:
        why = "what it is worth on average"
    more = (
        ""
        if found.by_budget is None
        else f" Your budget would bear {money(found.by_budget, found.currency)}."
    )
    return f"Walk away above {limit}: {why}, sets it.{more}{on_top}"


def _by_budget(found: Offer, case: Case) -> str:
    """Which rule binds where it is the budget, and what the other would allow."""
    return (
        f"Your budget sets it, so that all you pay for the car and its first year stays within "
        f"{money(case.money.budget or 0.0, found.currency)} with a chance of {case.money.confidence:.0%}; by what it "
        f"is worth to you the limit would be {money(max(found.by_value, 0.0), found.currency)}."
    )


def _why_none(found: Offer, case: Case) -> str:
    """Why no price fits."""
    if found.by_value <= 0:
        return "what it would cost takes up all it is worth to you."
    return (
        f"at no price would your budget of {money(case.money.budget or 0.0, found.currency)} hold through the first "
        f"year with a chance of {case.money.confidence:.0%}. By what it is worth to you alone the limit would be "
        f"{money(found.by_value, found.currency)}."
    )


def _warranty(found: Offer) -> str:
    if found.warranty_carries is None:
        return ""
    return (
        f"What the trader promises in writing carries about {money(found.warranty_carries, found.currency)} of the "
        "hidden work on average and is reckoned in. Your rights against a trader are a matter of local law: take "
        "advice there."
    )


def _fixed_first(found: Offer) -> str:
    if not found.fixed_first or found.known_work <= 0 or found.walk_away is None:
        return ""
    if found.walk_away <= 0 and found.fixed_first < found.likely_lowest:
        return ""  # no seller would take it
    return (
        f"If the seller has what was found put right first, up to {money(found.fixed_first, found.currency)}; as it "
        f"stands, {f'up to {money(found.walk_away, found.currency)}' if found.walk_away > 0 else 'at no price'}. Ask "
        "for the bills, and for who did the work, in writing."
    )


def _budget(found: Offer, case: Case) -> str:
    chances = dict(found.chance_budget_holds)
    if case.money.budget is None or found.asking not in chances or (found.owned and found.paid is None):
        return ""
    at = [(chances[found.asking], "at the price paid" if found.owned else "at the asking price")]
    if found.walk_away is not None:
        limit = "at your limit" if found.walk_away > 0 else "if you paid nothing for the car"
        at.append((chances[found.walk_away], limit))
    return holds_sentence(case.money.budget, at, currency=found.currency)
