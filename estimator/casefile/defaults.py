"""Figures nobody wrote down, which the program takes from elsewhere: said whenever they move a price."""

from __future__ import annotations

from dataclasses import dataclass

from estimator.casefile.records import CaseForm


@dataclass(frozen=True, slots=True)
class DefaultUsed:
    """A key that was left out: its name in the file, and what was taken instead, in words."""

    key: str
    taken: str

    def __str__(self) -> str:
        return f"{self.key} is not given: {self.taken}"


def defaults_used(form: CaseForm, given: frozenset[str]) -> tuple[DefaultUsed, ...]:
    """Defaults that move a price in this case, in the order of the file. Periods lived that reach back
    to when it was built speak for storage, climate and use."""
    whole_life = bool(form.lived) and min(p.start for p in form.lived) <= form.car.built
    table = {
        "car.viewer": "looked at by a handy owner",
        "car.sale": "a private sale",
        "car.reason": "nobody knows why it is for sale",
        "car.traits": "how it is built is not known: parts are weighted by the share of that year's cars",
        "car.storage": "kept outdoors half the time",
        "car.climate": "lived in a temperate climate",
        "car.use": "used daily",
        "car.care": "care as for cars in general",
        "car.parts": "parts are common",
        "money.sound_example": "no value of a good example: no allowance for why it is for sale, no offer",
        "money.labour_rate": "usual rates for the currency",
        "money.tax": "usual tax for the currency",
        "money.carriage": "usual carriage",
        "money.own_hours_per_month": "all work is paid for",
        "money.annual_distance": "the distance that cars of this age usually cover",
        "money.horizon": "a repair must last 3 years",
        "money.max_wait": "parts may take 6 months to come",
    }
    if form.money.asking is not None:
        table["money.sound_example"] = "no value of a good example: the asking price stands for it"
    silent = {"car.storage", "car.climate", "car.use"} if whole_life else set()
    return tuple(
        DefaultUsed(key, taken) for key, taken in table.items() if key not in given and key not in silent
    )
