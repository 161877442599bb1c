"""Figures nobody wrote down, which the program takes from elsewhere: said whenever they move a price."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from estimator.casefile.records import CaseForm, file_data

# Keys of list entries whose defaults move a price, and what is taken when an entry leaves them out.
ENTRY_DEFAULTS = {
    ("lived", "use"): "used as ordinary cars are where a period does not say",
    ("coverage", "completeness"): "papers nine tenths complete where a period does not say",
    ("work", "fitted"): "ordinary replacement parts where an entry does not say",
    ("work", "evidence"): "as good as a note where an entry does not say",
}


@dataclass(frozen=True, slots=True)
class DefaultUsed:
    """A key that was left out: its name in the file, and what was taken instead, in words."""

    key: str
    taken: str

    def __str__(self) -> str:
        return f"{self.key} is not given: {self.taken}"


def written(data: Mapping[str, Any]) -> frozenset[str]:
    """Keys a file states, as "table.key": of [car] and [money] each, of lists those all entries have."""
    single = {f"{table}.{key}" for table in ("car", "money") for key in data.get(table, ())}
    several = {
        f"{table}.{key}"
        for table, key in ENTRY_DEFAULTS
        if data.get(table) and all(key in entry for entry in data[table])
    }
    return frozenset(single | several)


def completed(case: Any, given: Iterable[str]) -> frozenset[str]:
    """`given` and every key that differs from its default; without keys of lists that are empty."""
    lists = {table: [file_data(entry) for entry in getattr(case, table)] for table, _ in ENTRY_DEFAULTS}
    differing = written({"car": file_data(case.car), "money": file_data(case.money), **lists})
    kept = {key for key in given if lists.get(key.partition(".")[0], True)}
    return frozenset(differing | kept)


def keys_of(table: str, given: Iterable[str]) -> frozenset[str]:
    """Keys of one table among "table.key" names."""
    return frozenset(key.partition(".")[2] for key in given if key.startswith(f"{table}."))


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
        "car.climate": "an ordinary climate",
        "car.use": "used as ordinary cars are",
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
    for (entries, key), taken in ENTRY_DEFAULTS.items():
        if getattr(form, entries):
            table[f"{entries}.{key}"] = taken
    return tuple(
        DefaultUsed(key, taken) for key, taken in table.items() if key not in given and key not in silent
    )
