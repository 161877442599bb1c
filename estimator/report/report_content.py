"""What a report of a car says, in order and in words: one plain structure for PDF, HTML and workbook alike.

The order is the reader's: what stops the deal, one sentence, one picture, the sums, part by part with reasons, what
is apart, doubts, and where the figures come from. Every figure comes from the assessment as it stands.
"""

from __future__ import annotations

from dataclasses import dataclass

from estimator.assess import Assessment, ComponentResult
from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.catalogue.provenance import provenance
from estimator.decide.budget import BudgetRoom
from estimator.report.plain_words import amount, clean, commonest_first
from estimator.sums import sums_of
from estimator.views import frames, sentences, words

LITTLE = (
    0.004  # parts that add less than this share of the mean, and are not found, are summed up in one line
)
STEPS, SMALL_STEP = 4, 0.5  # reasons told of a part, and how many points make one worth telling
MOST_SUSPECTS, CARE_PARTS = 8, 15
KINDS = {
    "published": "published figures",
    "common-practice": "common practice of the trade",
    "elicited": "judgement of those who wrote the catalogue",
    "from-memory": "memory, not checked",
    "entered": "figures you entered",
}
ONCE = (
    f"{words.CAUTION} It is worked out from what was written down and from general knowledge of old cars. Local rules, "
    "the maker's instructions and competent or licensed people come first."
)


@dataclass(frozen=True)
class PartLine:
    """One part: how likely it needs doing now and within the year, what it costs then, and why."""

    id: str
    name: str
    system: str
    need: str
    failure: str
    found: bool
    now: str
    year: str
    cost: str
    mean: str
    why: str


@dataclass(frozen=True)
class SystemBlock:
    """The parts of one system worth a line each, dearest first, and what the others add together."""

    name: str
    mean: str
    parts: tuple[PartLine, ...]
    others: str


@dataclass(frozen=True)
class SumRow:
    """One row of the sums, bare: what, when, from (p10), middle (p50), to (p90), one in twenty is dearer than (p95)."""

    name: str
    when: str
    low: str
    middle: str
    high: str
    worst: str


@dataclass(frozen=True)
class Report:
    """Everything a report says; every string is for people."""

    title: str
    currency: str
    facts: tuple[tuple[str, str], ...]
    stops: tuple[str, ...]
    open_stops: tuple[str, ...]
    headline: str
    more: tuple[str, ...]
    dots_alt: str
    found: str
    found_parts: tuple[PartLine, ...]
    sums: tuple[SumRow, ...]
    systems: tuple[SystemBlock, ...]
    suspects: tuple[str, ...]
    apart: str
    comfort: tuple[PartLine, ...]
    rests_on: tuple[str, ...]
    warnings: tuple[str, ...]
    sources: tuple[str, ...]
    method: str
    cautions: tuple[str, ...]
    once: str = ONCE


def report_of(a: Assessment, case: Case, catalogue: Catalogue, *, room: BudgetRoom | None = None) -> Report:
    """The report of an assessment of this case; room : what the budget leaves, if there is one."""
    main = [c for c in a.components if c.need != "comfort"]
    comfort = [c for c in a.components if c.need == "comfort" and c.mean_cost > 0]
    names = {c.id: c.name for c in a.components}
    shown = [c for c in main if _own_line(c, a)]
    more = [sentences.worst(a), sentences.at_once(a), sentences.budget(room)]
    return Report(
        title=clean(a.case),
        currency=a.currency,
        facts=_facts(a, case, catalogue),
        stops=tuple(text for _, text in a.stops),
        open_stops=tuple(catalogue.checks[one].name for one in a.open_stops),
        headline=sentences.headline(a),
        more=tuple(one for one in more if one),
        dots_alt=sentences.dots_alt(a, None if room is None else room.reach),
        found=sentences.found(a),
        found_parts=tuple(_line(c, a) for c in a.components if c.found),
        sums=_sums(a),
        systems=_systems(main, a),
        suspects=tuple(clean(one) for one in sentences.suspects(a, names)[:MOST_SUSPECTS]),
        apart=sentences.apart(a),
        comfort=tuple(_line(c, a) for c in comfort[:12]),
        rests_on=tuple(sentences.rests_on(a, case)),
        warnings=tuple(clean(one) for one in a.warnings),
        sources=_sources(a, catalogue),
        method=sentences.method(a),
        cautions=_cautions(shown[:CARE_PARTS], catalogue),
    )


def _facts(a: Assessment, case: Case, catalogue: Catalogue) -> tuple[tuple[str, str], ...]:
    car = case.car
    traits = ", ".join(catalogue.traits[one].name for one in car.traits if one in catalogue.traits)
    rows = [
        (
            "Built",
            words.day(car.built) if (car.built.month, car.built.day) != (1, 1) else str(car.built.year),
        ),
        ("Odometer", words.distance(car.odometer, car.unit)),
        ("Seen", words.day(car.viewed)),
        ("Worked out as of", words.day(case.today)),
        ("How it is built", traits),
        ("Looked at", words.plural(len({f.check for f in case.finding}), "check")),
        (
            "Papers",
            f"{words.plural(len(case.work), 'entry', 'entries')} of work, {words.plural(len(case.test), 'test')}",
        ),
        ("Sums in", f"{a.currency}, prices of {a.price_year}, tax included"),
    ]
    return tuple((label, clean(text)) for label, text in rows if text)


def _sums(a: Assessment) -> tuple[SumRow, ...]:
    return tuple(
        SumRow(
            words.SUMS[s.name],
            words.WHEN[s.when],
            *(amount(x) for x in (s.figures.p10, s.figures.p50, s.figures.p90, s.figures.p95)),
        )
        for s in sums_of(a)
    )


def _own_line(c: ComponentResult, a: Assessment) -> bool:
    return c.found or c.mean_cost >= LITTLE * max(a.total.plan_year.mean, 1e-9)


def _systems(main: list[ComponentResult], a: Assessment) -> tuple[SystemBlock, ...]:
    blocks = []
    for system, name in words.SYSTEMS.items():
        own = [c for c in main if c.system == system and c.mean_cost > 0]
        if not own:
            continue
        lines = [c for c in own if _own_line(c, a)]
        rest = [c for c in own if not _own_line(c, a)]
        mean = sum(c.mean_cost for c in own)
        others = ""
        if rest:
            count = words.plural(len(rest), "other part", "other parts")
            others = f"{count}, together {words.about(sum(c.mean_cost for c in rest), a.currency)} on average"
        block = SystemBlock(name, words.about(mean, a.currency), tuple(_line(c, a) for c in lines), others)
        blocks.append((mean, block))
    return tuple(block for _, block in sorted(blocks, key=lambda one: -one[0]))


def _line(c: ComponentResult, a: Assessment) -> PartLine:
    cost = "seldom" if c.cost is None else words.span(c.cost["p10"], c.cost["p90"], a.currency)
    return PartLine(
        id=c.id,
        name=words.sentence(clean(c.name)),
        system=words.SYSTEMS.get(c.system, c.system),
        need=words.NEEDS[c.need],
        failure=clean(c.failure),
        found=c.found,
        now=_odds(c.p_spent),
        year=_odds(frames.year_chance(c)),
        cost=cost,
        mean=words.about(c.mean_cost, a.currency),
        why=_why(c),
    )


def _odds(chance: float) -> str:
    """As on the screen, but short enough for a column."""
    return words.odds(chance).replace("less than ", f"<{words.NBSP}").replace("more than ", f">{words.NBSP}")


def _why(c: ComponentResult) -> str:
    """Where the chance starts and what moved it most, in points of 100; they add up to the chance."""
    rows = frames.why(c).to_dict("records")
    (start, first), *moves = [
        (row["step"][:1].lower() + row["step"][1:], float(row["points"])) for row in rows
    ]
    large = sorted((one for one in moves if abs(one[1]) >= SMALL_STEP), key=lambda one: -abs(one[1]))[:STEPS]
    told = [
        f"{first:.0f} {start}",
        *(f"{words.signed(points)} {name}" for name, points in moves if (name, points) in large),
    ]
    rest = sum(points for name, points in moves if (name, points) not in large)
    if abs(rest) >= 0.5:
        told.append(f"{words.signed(rest)} all else")
    return f"{'; '.join(clean(one) for one in told)} = {words.percent(c.p_spent)}"


def _sources(a: Assessment, catalogue: Catalogue) -> tuple[str, ...]:
    parts = [catalogue.components[c.id] for c in a.components]
    means = [c.mean_cost for c in a.components]
    found = provenance(parts, mean_cost=means, variance=means, sources=catalogue.sources)
    kinds = [
        f"{KINDS[kind]} {words.percent(share)}"
        for kind, share in found.cost_by_kind.items()
        if share >= 0.005
    ]
    rows = [
        f"The expected cost rests on {words.listed(kinds)}; `estimator catalogue sources` lists every source."
    ]
    rows += [
        f"{catalogue.sources[key].title} ({words.percent(share)})"
        for key, share in list(found.cost_by_source.items())[:6]
        if share >= 0.01
    ]
    return tuple(rows) if kinds else ()


def _cautions(shown: list[ComponentResult], catalogue: Catalogue) -> tuple[str, ...]:
    """In full, those that go with the parts shown."""
    named = [c for part in shown for c in catalogue.components[part.id].cautions if c in catalogue.cautions]
    return tuple(catalogue.cautions[one].text for one in commonest_first(named))
