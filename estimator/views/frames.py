"""Assessment -> tidy frames, one per picture or table: selecting and arranging, no estimating."""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import Any

import pandas as pd

from estimator.assess import Assessment, ComponentResult
from estimator.sums import sums_of
from estimator.views import words

DOT_COLUMNS = 11
WITHIN, BEYOND = "the budget holds", "the budget breaks"
OUTCOME = "one outcome in twenty"
REASONS, LITTLE = 7, 0.005  # findings shown by name among the reasons, and from how many points on

# Where on the car the work of a system is done: area of the plan drawing -> systems.
AREAS: dict[str, tuple[str, tuple[str, ...]]] = {
    "body": ("Structure and body", ("structure-and-body",)),
    "glass": ("Glass and seals", ("glass-and-seals",)),
    "cabin": ("Trim, instruments, heating", ("soft-top-and-trim", "instruments-and-electrics",
                                             "heating-and-ventilation")),
    "engine": ("Engine, ignition, charging", ("engine", "ignition-and-charging")),
    "cooling": ("Cooling", ("cooling",)),
    "fuel": ("Fuel", ("fuel",)),
    "exhaust": ("Exhaust", ("exhaust",)),
    "gearbox": ("Clutch and gearbox", ("clutch-and-gearbox",)),
    "driveline": ("Driveline", ("driveline",)),
    "axle": ("Axle and hubs", ("axle-and-hubs",)),
    "steering": ("Steering", ("steering",)),
    "suspension": ("Suspension", ("suspension",)),
    "brakes": ("Brakes", ("brakes",)),
    "wheels": ("Wheels and tyres", ("wheels-and-tyres",)),
}  # fmt: skip


def nice_step(span: float, columns: int) -> float:
    """The round step (1, 2, 2.5 or 5 times a power of ten) at which a span needs at most `columns`."""
    raw = max(span, 1e-9) / columns
    power = 10.0 ** math.floor(math.log10(raw))
    return next(m * power for m in (1, 2, 2.5, 5, 10) if m * power >= raw * 0.999999)


def dots(a: Assessment, *, room: float | None = None) -> pd.DataFrame:
    """Twenty equally likely outcomes, stacked: amount, left, middle, right (of its column), height, side."""
    step = nice_step(max(a.dots[-1], 1.0), DOT_COLUMNS)
    origin = (
        0.0 if room is None or room <= 0 else room
    )  # no column holds outcomes from both sides of the budget
    stacked: dict[int, int] = {}
    rows = []
    for amount in a.dots:
        column = math.ceil((amount - origin) / step) - 1 if origin else int(amount // step)
        stacked[column] = stacked.get(column, 0) + 1
        left = max(0.0, origin + column * step)
        right = origin + (column + 1) * step
        side = OUTCOME if room is None else (WITHIN if amount <= room else BEYOND)
        rows.append(
            {
                "amount": amount,
                "left": left,
                "middle": (left + right) / 2,
                "right": right,
                "height": stacked[column],
                "side": side,
            }
        )
    return pd.DataFrame(rows)


def exceedance(a: Assessment) -> pd.DataFrame:
    """amount, chance (of more than it in the first year), as far as one outcome in two hundred reaches."""
    frame = pd.DataFrame(a.exceedance, columns=["amount", "chance"])
    shown = frame["chance"] >= 0.005
    return frame.head(int(shown.sum()) + 1)


def totals(a: Assessment) -> pd.DataFrame:
    """The sums that are never mixed: name, when, low (p10), middle (p50), high (p90), mean."""
    return pd.DataFrame(
        [
            {
                "name": words.SUMS[s.name],
                "when": words.WHEN[s.when],
                "low": s.figures.p10,
                "middle": s.figures.p50,
                "high": s.figures.p90,
                "mean": s.figures.mean,
            }
            for s in sums_of(a)
        ]
    )


def found_and_not(a: Assessment) -> pd.DataFrame:
    """Found and not seen yet over the first year: kind, low, middle, high, mean."""
    frame = totals(a)
    chosen = frame[(frame["when"] == "first year") & frame["name"].isin(["Found", "Not seen yet"])]
    return chosen.drop(columns="when").rename(columns={"name": "kind"}).reset_index(drop=True)


def year_chance(c: ComponentResult) -> float:
    """Chance that a part needs doing now or falls due in the first year."""
    return min(1.0, c.p_spent + c.p_due)


def parts(a: Assessment, *, most: int | None = None, comfort: bool = False) -> pd.DataFrame:
    """Parts by expected cost: id, part, place (row), system, need, found, chance_now, chance_year, low, middle,
    high (cost if it needs doing; missing where it never did), mean, label."""
    chosen = [c for c in a.components if (c.need == "comfort") == comfort and c.mean_cost > 0]
    rows = []
    for place, c in enumerate(chosen if most is None else chosen[:most]):
        cost = c.cost or {}
        rows.append(
            {
                "id": c.id,
                "part": words.sentence(c.name),
                "place": place,
                "system": words.SYSTEMS.get(c.system, c.system),
                "need": words.NEEDS[c.need],
                "found": "found" if c.found else "not seen yet",
                "chance_now": c.p_spent,
                "chance_year": year_chance(c),
                "low": cost.get("p10"),
                "middle": cost.get("p50"),
                "high": cost.get("p90"),
                "mean": c.mean_cost,
                "label": f"{words.odds(year_chance(c))} · {words.sentence(c.name)}{' · found' if c.found else ''}",
            }
        )
    columns = ["id", "part", "place", "system", "need", "found", "chance_now", "chance_year", "low", "middle",
               "high", "mean", "label"]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


def by_need(a: Assessment) -> pd.DataFrame:
    """Expected cost over the first year by why it gets done: need, mean, parts (how many take part). What is in the
    total, together its mean, then comfort and looks, which are in none of it.
    """

    def row(name: str, needs: Collection[str]) -> dict[str, Any]:
        some = [c for c in a.components if c.need in needs]
        return {"need": name, "mean": sum(c.mean_cost for c in some), "parts": len(some)}

    summed = [need for need in words.NEEDS if need != "comfort"]
    rows = [row(words.sentence(words.NEEDS[need]), [need]) for need in summed]
    rows += [row(words.SUMS["total"], summed), row(words.SUMS["comfort"], ["comfort"])]
    return pd.DataFrame(rows)


def areas(a: Assessment) -> pd.DataFrame:
    """Expected cost by area of the car, dearest first: area, name, mean (they add up to the mean of the total),
    comfort (apart), share (of all areas), rank from 1.
    """

    def spent(systems: tuple[str, ...], *, comfort: bool) -> float:
        some = (c for c in a.components if c.system in systems)
        return sum(c.mean_cost for c in some if (c.need == "comfort") == comfort)

    rows = [
        {
            "area": area,
            "name": name,
            "mean": spent(systems, comfort=False),
            "comfort": spent(systems, comfort=True),
        }
        for area, (name, systems) in AREAS.items()
    ]
    frame = pd.DataFrame(rows).sort_values("mean", ascending=False, kind="stable").reset_index(drop=True)
    total = float(frame["mean"].sum())
    frame["share"] = frame["mean"] / total if total > 0 else 0.0
    frame["rank"] = range(1, len(frame) + 1)
    return frame


def months(a: Assessment) -> pd.DataFrame:
    """Expected cost falling due in each month after the purchase: month (1 to 12), mean."""
    return pd.DataFrame({"month": range(1, len(a.by_month)), "mean": list(a.by_month[1:])})


def why(c: ComponentResult) -> pd.DataFrame:
    """Why a part is thought to need doing: step, points (percentage points), start, end (running sum), place, label.

    Findings of little weight are one step, so that the rest can be read; the points still add up.
    """
    own = [r for r in c.why if not r.step.startswith("finding:") and r.step != "together"]
    made = sorted((r for r in c.why if r.step.startswith("finding:")), key=lambda r: -abs(r.points))
    large = [r for r in made[:REASONS] if abs(r.points) >= LITTLE]
    small = [r for r in c.why if r not in own and r not in large]
    steps = [(r.label, r.points) for r in (*own, *large)]
    if small:
        steps.append(
            ("other findings, and findings together" if large else "findings", sum(r.points for r in small))
        )
    rows, sum_so_far = [], 0.0
    for place, (label, points) in enumerate(steps):
        end = sum_so_far + points * 100
        name = words.sentence(label)
        row = {"step": name, "points": points * 100, "start": sum_so_far, "end": end, "place": place}
        rows.append({**row, "label": f"{words.signed(points * 100)}  {name}"})
        sum_so_far = end
    return pd.DataFrame(rows, columns=["step", "points", "start", "end", "place", "label"])
