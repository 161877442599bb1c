"""What must be there before a job starts, line by line, with what it is expected to cost.

The amounts are the simulation's own means, laid to the lines in proportion to the expected figures: the lines of a
job and its labour add up to the job's mean cost.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from estimator.catalogue.records import AccessStep, Component, Remedy
from estimator.decide.costing import Costing
from estimator.decide.jobs import Job, step_records
from estimator.decide.plan_draws import PlanDraws
from estimator.decide.plan_records import OrderLine
from estimator.decide.workload import OWN, SHOP
from estimator.money.book import SUPPLIERS, Way
from estimator.pipeline import Prepared

WAYS = {
    "new": "new",
    "pattern": "good pattern part",
    "used": "used",
    "old-stock": "old stock",
    "exchange": "exchange unit",
    "rebuilt": "rebuilt",
    "repair": "repaired in place",
    "made": "made specially",
}
SMALL_KINDS = ("single-use", "renew because disturbed")
_WORD = re.compile(r"[a-z]+(?:-[a-z]+)*")
_SMALL_WORDS = frozenset(
    ("a", "all", "and", "at", "both", "each", "every", "for", "if", "in", "its", "new", "of", "old", "on", "or", "set",
     "the", "to", "where", "with")
)  # fmt: skip
# What cards and steps call for, by what they say: looked for in this order.
_COMPOUNDS = (
    ("thread-locking compound", re.compile(r"\bthread.?lock", re.I)),
    ("sealing compound as the maker names it", re.compile(r"\bseal(ing compound|ant|er)\b", re.I)),
    ("copper or ceramic anti-seize", re.compile(r"\b(copper (grease|paste|compound)|anti-?seize)\b", re.I)),
    ("brake grease", re.compile(r"\b(rubber|brake) grease\b", re.I)),
    ("grease as the maker names it", re.compile(r"\bgreas(e|ed|ing)\b", re.I)),
    (
        "oil to top up with",
        re.compile(r"\b(top|level|oil (the|its|lip))\b[^.]*\b(up|oil|lip)\b|\bwarm oil\b", re.I),
    ),
    ("wax or underseal", re.compile(r"\b(wax|underseal)\b", re.I)),
    ("penetrating oil", re.compile(r"\b(soak|seized|rusted)\b", re.I)),
)


def compounds_of(things: Iterable[Component | AccessStep]) -> tuple[str, ...]:
    """Compounds, oils and greases the cards of parts and steps call for; cleaner and rags always."""
    said = " ".join(
        text for one in things for text in (*one.card, getattr(getattr(one, "snag", None), "what", ""))
    )
    return (*(name for name, sought in _COMPOUNDS if sought.search(said)), "cleaner and rags")


def words_of(*texts: str) -> frozenset[str]:
    """The words of texts that tell things apart, plurals taken as one."""
    found = (w.removesuffix("s") for text in texts for w in _WORD.findall(text.lower()))
    return frozenset(w for w in found if w not in _SMALL_WORDS)


def same_as(item: str, parts: Iterable[Component]) -> Component | None:
    """The part of a job whose own parts or single-use things an item disturbed by strip-down probably is."""
    sought = words_of(item)
    for part in parts:
        if sought and sought <= words_of(part.name, *part.single_use):
            return part
    return None


def job_lines(
    prepared: Prepared,
    job: Job,
    j: int,
    *,
    month: int,
    mode: int,
    drawn: PlanDraws,
    cost: Costing,
    tools: tuple[str, ...],
    bought: list[bool],
) -> tuple[OrderLine, ...]:
    """Lines of one job (number j of the plan): parts, specialist's work, small things, what strip-down spoils,
    tools, carriage.
    """
    out: list[OrderLine] = []
    small = 0.0
    records = step_records(prepared)
    for c in job.renewed:
        lines, left = _part_lines(prepared, job.id, month, c, cost=cost, mean=drawn.part_goods[c])
        out += lines
        small += left
    if small > 0:
        things: list[Component | AccessStep] = [
            *(prepared.car.parts[c] for c in job.renewed),
            *(records[s] for s in job.steps),
        ]
        text = "; ".join(compounds_of(things))
        out.append(_line(job.id, month, "parts", "consumables", text, small, note="how much: see the manual"))
    renewed = [prepared.car.parts[c] for c in job.renewed]
    for s in job.steps:
        mean = float(drawn.step_goods[j, s])
        weights = [sum(d.price) for d in records[s].disturbs]
        for disturbed, weight in zip(records[s].disturbs, weights, strict=True):
            share = mean * weight / max(sum(weights), 1e-12)
            supplier, kind, note = "parts", "renew because disturbed", f"for: {records[s].name}"
            if disturbed.item.startswith("carriage"):
                supplier = kind = "carriage"
            holds = [part.name for part in renewed if part.id in disturbed.of]
            twin = same_as(disturbed.item, renewed)
            if holds:
                note += f"; comes with {' and '.join(holds)}, whose sum is that much less here: order once"
            elif twin is not None:
                note += f"; perhaps the same as for {twin.name}: count before you order"
            out.append(_line(job.id, month, supplier, kind, disturbed.item, share, note=note))
    if mode == OWN:
        for t, tool in enumerate(tools):
            paid = float(drawn.tools[j, t])
            if paid > 0:
                name = prepared.car.catalogue.tools[tool].name
                kind = "tool to buy" if bought[t] else "tool to hire"
                out.append(_line(job.id, month, "tools", kind, name, paid))
    if drawn.carriage[j] > 0:
        item, amount = (
            "this job's share of one order a month from each kind of supplier",
            float(drawn.carriage[j]),
        )
        out.append(_line(job.id, month, "carriage", "carriage", item, amount))
    return merged(out)


def merged(lines: Iterable[OrderLine]) -> tuple[OrderLine, ...]:
    """Small things of one name that several steps of a job, or one part twice, call for, as one line: amounts and
    numbers added, what each is for named. What has a price of its own stays apart, and so do those of different parts,
    which may differ in size.
    """
    out: dict[tuple[str, ...], OrderLine] = {}
    for number, line in enumerate(lines):
        small = line.kind in SMALL_KINDS and line.price is None
        key = (line.supplier, line.kind, line.item, line.component, "" if small else str(number))
        first = out.get(key)
        out[key] = line if first is None else _added(first, line)
    return tuple(out.values())


def _added(one: OrderLine, other: OrderLine) -> OrderLine:
    notes = list(dict.fromkeys(note for note in (one.note, other.note) if note))
    return replace(
        one,
        quantity=one.quantity + other.quantity,
        amount=one.amount + other.amount,
        quote=tuple(dict.fromkeys((*one.quote, *other.quote))),
        note="; ".join(notes),
    )


def _line(
    job: str, month: int, supplier: str, kind: str, item: str, amount: float, note: str = ""
) -> OrderLine:
    return OrderLine(job, month, supplier, kind, item, "", 1, amount, None, None, note=note)


def _part_lines(
    prepared: Prepared, job: str, month: int, c: int, *, cost: Costing, mean: float
) -> tuple[list[OrderLine], float]:
    """Lines of one part, and what is left of its small things for oil, grease and the like."""
    car, part, way = prepared.car, prepared.car.parts[c], prepared.book.ways[c][0]
    goods = cost.goods[c]
    if goods.sum() <= 0:  # strip-down brings it, as reckoned; what is left in the draws is the part's
        goods = np.array([1.0, 0.0, 0.0, 0.0])
    scale = mean / goods.sum()
    taxed = 1 + prepared.book.tax
    supplier, item = SUPPLIERS[way.supplier], f"{part.name}: {WAYS.get(way.name, way.name)}"
    others = substitutes(part, way, car.case.car.parts)
    out = []
    common = {"quote": tuple(part.order_by), "substitutes": others, "wait_weeks": way.wait_weeks}
    if way.kind == "spare":
        out.append(
            OrderLine(job, month, "in hand", "part", f"{part.name}: the spare that came with the car", part.id,
                      part.count, float(goods[0] * scale), (0.0, 0.0, 0.0), None, note="look at it beforehand")
        )  # fmt: skip
    elif max(way.parts) > 0:
        price = (way.parts[0] * taxed, way.parts[1] * taxed, way.parts[2] * taxed)
        note = _quoted(way) or _said_of(part, way)
        out.append(
            OrderLine(job, month, supplier, "part", item, part.id, part.count,
                      float(goods[0] * scale), price, note=note, **common)  # type: ignore[arg-type]
        )  # fmt: skip
    if max(way.specialist) > 0:
        price = (way.specialist[0] * taxed, way.specialist[1] * taxed, way.specialist[2] * taxed)
        out.append(
            OrderLine(job, month, "specialist", "specialist's work", item, part.id, 1,
                      float(goods[1] * scale), price, note="book it before the car is apart", **common)  # type: ignore[arg-type]
        )  # fmt: skip
    rest = float(goods[0] * (max(way.parts) == 0) + goods[1] * (max(way.specialist) == 0))
    if rest * scale > 0:
        out.append(
            OrderLine(job, month, supplier, "if the first choice cannot be had", f"{part.name}: allowance", part.id,
                      1, rest * scale, None, None, substitutes=others)
        )  # fmt: skip
    if goods[2] > 0:
        out.append(
            OrderLine(job, month, supplier, "surcharge", f"{part.name}: old unit past exchanging (allowance)", part.id,
                      1, float(goods[2] * scale), None, None, note="the old unit goes back; keep it whole")
        )  # fmt: skip
    share = float(goods[3] * scale) / (len(part.single_use) + 1)
    first = tuple(part.order_by[:1])
    out += [
        OrderLine(
            job,
            month,
            "parts",
            "single-use",
            item,
            part.id,
            1,
            share,
            None,
            None,
            quote=first,
            note=f"for: {part.name}",
        )
        for item in part.single_use
    ]
    return out, share


def _quoted(way: Way) -> str:
    """What a quote says of a way that has one."""
    if not way.fixed:
        return ""
    return (
        "the quote is for the whole job, its labour and strip-down too" if way.free_access else "price quoted"
    )


def _said_of(part: Component, way: Way) -> str:
    """What the catalogue says of a way to put a part right."""
    return next((r.note for r in part.remedy if (r.name or r.kind) == way.name), "")


def substitutes(part: Component, way: Way, scarcity: str) -> tuple[str, ...]:
    """Other ways to get the part right, likeliest to be had first, for when the first choice is out of production."""

    def chance(remedy: Remedy) -> float:
        return 1.0 if remedy.last_resort else float(getattr(remedy.availability, scarcity))

    others = [r for r in part.remedy if (r.name or r.kind) != way.name]
    out = []
    for remedy in sorted(others, key=lambda r: (r.last_resort, -chance(r))):
        if chance(remedy) <= 0:
            continue
        said = "always possible" if remedy.last_resort else f"about {10 * chance(remedy):.0f} times in 10"
        name = remedy.name or WAYS.get(remedy.kind, remedy.kind)
        out.append(f"{name} ({remedy.supplier}; {said})")
    return tuple(out)


def mode_word(mode: int) -> str:
    """Who does a job."""
    return "owner" if mode == OWN else "workshop" if mode == SHOP else "nobody"
