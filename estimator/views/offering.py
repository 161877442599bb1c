"""What to offer, in frames and sentences. All of it is for the buyer alone; the sheet for the table is apart."""

from __future__ import annotations

from itertools import pairwise

import pandas as pd

from estimator.decide.offer import Offer
from estimator.views import words

ORDER = (
    ("opening", "Opening"),
    ("target", "Target"),
    ("fair", "Fair to both"),
    ("walk_away", "Walk away above"),
    ("asking", "Asked"),
)
CONCESSIONS = 8
OFFERED = ("opening", "target", "walk_away")  # none of them where no price fits


def headline(found: Offer) -> str:
    """The one sentence of the page."""

    def say(amount: float) -> str:
        return words.about(amount, found.currency)

    if found.owned and found.paid is not None:
        return f"Paid {say(found.in_all)} in all; worth about {say(found.fair)} by what is known now."
    if found.owned:
        return f"It is worth about {say(found.fair)} by what is known now."
    if not fits(found):
        return _none_fits(found)
    assert found.walk_away is not None
    if found.opening is None or found.target is None:
        return f"Bid no more than {say(found.walk_away)} at the hammer."
    if found.sale == "friend":
        return f"A price fair to both is about {say(found.target)}."
    if found.walk_away < found.likely_lowest:
        return (
            f"Walk away above {say(found.walk_away)}: less than a seller is likely to take (about "
            f"{say(found.likely_lowest)} at least)."
        )
    return (
        f"Open at {say(found.opening)}, aim for {say(found.target)}, walk away above {say(found.walk_away)}."
    )


def fits(found: Offer) -> bool:
    """Whether there is a price to offer or to bid."""
    return found.walk_away is not None and found.walk_away > 0


def _none_fits(found: Offer) -> str:
    verb = "offer" if found.highest_bid is None else "bid"
    return f"Make no {verb}: at no price does it fit."


def prices(found: Offer) -> pd.DataFrame:
    """The prices in order: id, place, amount, label. Between friends opening and target are one, at an auction there is
    one to bid, for a car that is owned and where no price fits none.
    """
    named = {key: (name, getattr(found, key)) for key, name in ORDER}
    if found.sale == "friend":
        del named["opening"]
    if found.highest_bid is not None:
        named["walk_away"] = ("Highest bid", found.highest_bid)
    if found.owned:
        named["asking"] = ("Paid" if found.paid is not None else "Asked", found.paid)
    if found.owned or found.highest_bid is not None:
        named["fair"] = ("Worth", found.fair)
    if not fits(found):
        named = {key: one for key, one in named.items() if key not in OFFERED}
    some = [(key, name, float(x)) for key, (name, x) in named.items() if x is not None]
    rows = [
        {
            "id": key,
            "name": name,
            "place": place,
            "amount": x,
            "label": f"{words.about(x, found.currency)} · {name}",
        }
        for place, (key, name, x) in enumerate(sorted(some, key=lambda row: row[2]))
    ]
    return pd.DataFrame(rows, columns=["id", "name", "place", "amount", "label"])


def prices_alt(found: Offer) -> str:
    """The prices in words."""
    listed = "; ".join(prices(found)["label"]) + "."
    return listed if found.owned or fits(found) else f"{_none_fits(found)} {listed}"


def curve(found: Offer) -> pd.DataFrame:
    """price, chance that the budget then holds through the first year."""
    return pd.DataFrame(found.chance_budget_holds, columns=["price", "chance"])


def marks(found: Offer) -> pd.DataFrame:
    """Prices marked on the curve: price, name."""
    some = [("limit", found.walk_away), ("asked", found.asking)]
    rows = [{"price": x, "name": n} for n, x in some if x is not None and x > 0]
    return pd.DataFrame(rows, columns=["price", "name"])


def chance_at(found: Offer, price: float) -> float | None:
    """Chance that the budget holds at a price, read off the curve; None without a budget."""
    points = found.chance_budget_holds
    if not points:
        return None
    if price <= points[0][0]:
        return points[0][1]
    for (x0, p0), (x1, p1) in pairwise(points):
        if price <= x1:
            return p0 + (p1 - p0) * (price - x0) / max(x1 - x0, 1e-12)
    return points[-1][1]


def at_price(found: Offer, price: float) -> str:
    """What a price would mean."""
    gap = found.fair - price
    side = "below" if gap >= 0 else "above"
    text = f"At {words.money(price, found.currency)}: {words.about(abs(gap), found.currency)} {side} what is fair"
    if found.walk_away is None:
        return f"{text}."
    beyond = "stop bidding" if found.highest_bid is not None else "walk away"
    limit = "your limit" if fits(found) else "anything that fits"
    text += f", within {limit}." if price <= found.walk_away else f", and above {limit}: {beyond}."
    chance = chance_at(found, price)
    if chance is not None:
        text += f" The budget holds through the first year in {words.percent(chance)} of cases."
    return text


def curve_alt(found: Offer) -> str:
    """The curve in words."""
    at = [
        f"{words.percent(chance_at(found, price) or 0.0)} at {words.about(price, found.currency)} ({name})"
        for name, price in (("asked", found.asking), ("your limit", found.walk_away))
        if price is not None and (price > 0 or name == "asked")
    ]
    return f"Chance that the budget holds through the first year: {words.listed(at)}."


def concessions(found: Offer) -> pd.DataFrame:
    """What the seller may give, worth most first: place, worth, low, high, label, bill."""
    rows = []
    ordered = sorted(found.concessions, key=lambda one: -one.worth)
    for place, one in enumerate(ordered[:CONCESSIONS]):
        bill = ""
        if one.low is not None and one.high is not None:
            bill = f"the bill: {words.span(one.low, one.high, found.currency)}"
        name = (
            words.sentence(one.name) if one.id == "price" else f"{words.sentence(one.name)} put right first"
        )
        rows.append(
            {
                "place": place,
                "worth": max(one.worth, 0.0),
                "label": f"{words.about(max(one.worth, 0.0), found.currency)} · {name}",
                "bill": bill,
            }
        )
    return pd.DataFrame(rows, columns=["place", "worth", "label", "bill"])


def concessions_alt(found: Offer) -> str:
    """The bars in words."""
    return "What it raises your limit by: " + "; ".join(concessions(found)["label"]) + "."


def open_stops(found: Offer, *, most: int = 3) -> str:
    """What can still end the deal and has not been looked at; empty when nothing is left."""
    names = [name for _, name in found.open_stops]
    if not names:
        return ""
    some = words.listed(names[:most])
    if len(names) <= most:
        return f"Not looked at yet, and each alone can end the deal: {some}."
    return f"{len(names)} checks not made yet can each end the deal, among them: {some}."


def steps(found: Offer) -> str:
    """How the fair price comes about, as sums."""
    say = words.about
    hidden = found.hidden_allowance
    sign = "less" if hidden >= 0 else "plus"
    what = "what cannot be seen, beyond" if hidden >= 0 else "costing less than"
    return (
        f"Worth as a good example {say(found.value, found.currency)}, less {say(found.known_work, found.currency)} for "
        f"what was found, {sign} {say(abs(hidden), found.currency)} for {what} what such a car usually still costs "
        f"({say(found.reference_outlay, found.currency)}): {'worth' if found.owned else 'fair'} "
        f"{say(found.fair, found.currency)}."
    )
