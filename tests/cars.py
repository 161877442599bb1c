"""Cars and cut-down catalogues for tests. Invented."""

from __future__ import annotations

import dataclasses
from types import MappingProxyType
from typing import Any

from estimator.car import Car
from estimator.case import Case, parse_case
from estimator.catalogue.load import Catalogue

SALOON = """
format = 1
[car]
name = "a test saloon"
viewed = 2026-05-04
built = {built}
odometer = {odometer}
unit = "km"
odometer_digits = 6
sale = "{sale}"
viewer = "handy"
traits = ["monocoque", "closed-body", "front-engine-rear-drive", "overhead-valve", "four-cylinder",
  "timing-chain", "carburettor", "contact-breaker", "alternator", "manual-gearbox", "two-piece-prop-shaft",
  "flexible-couplings", "live-axle", "leaf-springs", "wishbone-front", "disc-front", "drum-rear", "dual-circuit",
  "servo", "steering-box", "steel-wheels"]
[money]
currency = "GBP"
asking = 6000
sound_example = [5500, 7000, 9000]
annual_distance = 3000
"""


def saloon(
    more: str = "", *, built: str = "1979-05-01", odometer: int = 132_000, sale: str = "private"
) -> Case:
    """A small rear-drive saloon; `more` is appended to its file."""
    return parse_case(SALOON.format(built=built, odometer=odometer, sale=sale) + more, "test saloon")


def cut(catalogue: Catalogue, components: list[str], checks: list[str], **settings: Any) -> Catalogue:
    """A catalogue of a few components (no damage to others, no shared rust) and checks; settings replaced by path.

    settings : evidence__care__prior=(...) and so on.
    """
    parts = {c: catalogue.components[c].model_copy(update={"damages": (), "rust": False}) for c in components}
    made = catalogue.settings
    for path, value in settings.items():
        made = _with(made, path.split("__"), value)
    return dataclasses.replace(
        catalogue,
        components=MappingProxyType(parts),
        checks=MappingProxyType({c: catalogue.checks[c] for c in checks}),
        settings=made,
    )


def _with(record: Any, path: list[str], value: Any) -> Any:
    if not path:
        return value
    if isinstance(record, dict):
        return {**record, path[0]: _with(record.get(path[0]), path[1:], value)}
    return record.model_copy(update={path[0]: _with(getattr(record, path[0]), path[1:], value)})


def price_ranges(car: Car) -> dict[str, list]:
    """Ranges (low, likely, high) behind a car's price book, as the slow bill wants them."""
    from estimator.money.book import currency_of, price_book

    book = price_book(car)
    currency = currency_of(car)
    steps = [car.catalogue.steps[s] for s in book.access.steps]
    multiply = [car.multiply(s.variant) for s in steps]
    return {
        "rate": list(car.case.money.labour_rate or currency.labour_rate),
        "carriage": [x * currency.parts for x in car.catalogue.settings.prices.carriage],
        "consumables": [
            [x * currency.parts * m.price for x in p.consumables]
            for p, m in zip(car.parts, car.multipliers, strict=True)
        ],
        "hours": [[h * m.hours for h in s.hours] for s, m in zip(steps, multiply, strict=True)],
        "snag_factor": [(1.0, 1.0, 1.0) if s.snag is None else s.snag.factor for s in steps],
        "disturbed": [
            [sum(d.price[k] for d in s.disturbs) * currency.parts * m.price for k in range(3)]
            for s, m in zip(steps, multiply, strict=True)
        ],
    }
