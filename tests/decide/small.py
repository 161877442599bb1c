"""A catalogue of four parts and eight checks (one a reading), a car of it, and outlays from conditions alone. Invented.

With outlays a plain function of the conditions every value can be reckoned by going through all states of the car.
"""

from __future__ import annotations

import dataclasses
from functools import lru_cache
from pathlib import Path
from tempfile import mkdtemp

import numpy as np

from estimator.assess import Result, assess_fully
from estimator.case import Case, parse_case
from estimator.catalogue.load import Catalogue, read_catalogue
from estimator.outlays import Outlays, Pair
from tests.catalogue.small import write

PARTS = ("spring", "tank", "pump", "frame")
COSTS = {"spring": (500.0, 100.0), "tank": (900.0, 150.0), "pump": (300.0, 60.0), "frame": (2400.0, 500.0)}
PART = """
[[component]]
system = "suspension"
id = "{id}"
name = "{id}"
need = "protects"
failure = "worn out"
life_years = {{ b10 = {b10}, b50 = {b50} }}
reason = "invented"
own_sd = 0.3
warning_share = 0.3
deferral_years = {deferral}
noticed = "next-service"
precaution_rate = 0.01
skill = 1
hours = 1
source = "elicited"
[[component.remedy]]
kind = "new"
price = 100
last_resort = true
"""
CHECK = """
[[check]]
station = "{station}"
id = "{id}"
name = "{id}"
kind = "{kind}"
do = "Look."
present = "bad"
absent = "good"
minutes = {minutes}
price = {price}
needs = {needs}
nonrunner = true
who = {{ newcomer = 0.4, handy = {handy} }}
leak = {leak}
harmless = "dirt"
maskable = {maskable}
links = [{links}]
source = "elicited"
{more}
"""
GAUGE = (
    'reading = { unit = "mm", low = 0, high = 15, limit = 1.6, worse = "below", error_sd = 0.3, '
    'source = "elicited" }'
)
LIVES = {"spring": (15, 30, 4), "tank": (12, 25, 6), "pump": (8, 16, 1), "frame": (20, 40, 8)}


def _check(id: str, links: dict[str, tuple[float, float]], **changes: object) -> str:
    rows = ", ".join(f'{{ component = "{c}", spent = {s}, worn = {w} }}' for c, (s, w) in links.items())
    plain: dict[str, object] = {
        "station": "walk-round", "kind": "measure", "minutes": 5, "price": 0, "needs": "[]", "handy": 0.8,
        "leak": 0.05, "maskable": 1.0, "more": "",
    }  # fmt: skip
    return CHECK.format(id=id, links=rows, **(plain | changes))


CHECKS = [
    _check("sag", {"spring": (0.9, 0.3)}),
    _check("smell", {"tank": (0.8, 0.2), "pump": (0.5, 0.1)}, leak=0.1),
    _check("rattle", {"pump": (0.7, 0.2), "spring": (0.4, 0.1)}, minutes=3, leak=0.08),
    _check("crack", {"frame": (0.8, 0.3)}, minutes=8),
    _check("rust", {"frame": (0.6, 0.4), "tank": (0.5, 0.3)}, minutes=6, leak=0.15),
    _check("lift", {"frame": (0.95, 0.6)}, station="on-a-lift", needs='["lift"]', price=20, minutes=10),
    _check("habits", {}, leak=0.5, more="care = [0.1, 0.3, 0.7]"),
    _check("gauge", {"frame": (0.85, 0.4), "pump": (0.3, 0.1)}, minutes=4, more=GAUGE),
]
CASE = """
format = 1
[car]
name = "small car"
viewed = 2026-05-01
built = 1986-05-01
odometer = 90000
unit = "km"
odometer_digits = 6
sale = "{sale}"
viewer = "handy"
traits = ["front-drive"]
[money]
currency = "GBP"
asking = {asking}
sound_example = [{value}, {value}, {value}]
scrap = 200
value_means = "nothing-to-do"
annual_distance = 3000
{money}
{more}
"""


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    """The small catalogue, written to a folder and read as any other."""
    folder = Path(mkdtemp())
    parts = "".join(PART.format(id=p, b10=a, b50=b, deferral=d) for p, (a, b, d) in LIVES.items())
    write(folder)
    (folder / "components.toml").write_text(parts, encoding="utf-8")
    (folder / "checks.toml").write_text("".join(CHECKS), encoding="utf-8")
    for name in ("access", "rest"):
        text = (folder / f"{name}.toml").read_text(encoding="utf-8")
        (folder / f"{name}.toml").write_text(text.replace('"water-pump"', '"pump"'), encoding="utf-8")
    return read_catalogue(folder)


def small_case(
    *, asking: float = 4000, value: float = 5000, money: str = "", more: str = "", sale: str = "private"
) -> Case:
    text = CASE.format(asking=asking, value=value, money=money, more=more, sale=sale)
    return parse_case(text, "small car", catalogue())


def plain_costs(result: Result, *, extra: float = 0.0) -> Result:
    """The result with outlays that follow from conditions alone: COSTS when spent and when worn, and `extra`."""
    condition = result.draws.condition
    order = [p.id for p in result.prepared.car.parts]
    year = np.full(len(condition), extra)
    part = np.zeros(condition.shape, dtype=np.float32)
    for column, name in enumerate(order):
        spent, worn = COSTS[name]
        part[:, column] = np.where(
            condition[:, column] == 0, spent, np.where(condition[:, column] == 1, worn, 0.0)
        )
        year = year + part[:, column]
    zero = np.zeros(len(condition))
    pair = Pair(year, year)
    known = Pair(zero + extra, zero + extra)
    outlays = Outlays(pair, known, Pair(zero, zero), zero, zero, part, np.zeros(13))
    return dataclasses.replace(result, outlays=outlays)


def small_result(case: Case, *, draws: int = 20_000, seed: int = 0, extra: float = 0.0) -> Result:
    """An assessment of a small car with plain costs."""
    return plain_costs(assess_fully(case, catalogue(), draws=draws, seed=seed), extra=extra)
