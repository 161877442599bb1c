"""Job cards: one page a job, the largest both sides of a leaf, to lie beside the car. What comes off in which order,
marks, what is always renewed, compounds, tightening, ride height, road test; cautions first, and who may do it.

The words come from the catalogue's cards of parts and steps; what is said here for every job is common practice.
The maker's manual rules; the general torque table only shows a misread figure.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import AccessStep, Component
from estimator.decide.order_lines import same_as
from estimator.decide.plan_records import Plan, PlannedJob
from estimator.money.torque import ASSUMPTION, general_table
from estimator.report.plain_words import commonest_first

SKILLS = (
    "no special skill",
    "handy with tools",
    "has done such work before",
    "trade or specialist only",
)
# What the most demanding work is, by a caution or tool that goes with it, else by system: the first that fits.
_TRADES = (
    (frozenset(("refrigerant", "airbag")), "licensed or trained people only"),
    (frozenset(("welding-set", "body-jig")), "welder's and body shop's work"),
)
_TRADE_OF = {
    "wheels-and-tyres": "tyre or wheel fitter's machine",
    "soft-top-and-trim": "trimmer's work",
    "structure-and-body": "body shop's or painter's work",
    "clutch-and-gearbox": "rebuilds gearboxes and the like: a specialist's work for most",
    "axle-and-hubs": "sets up axles and the like: a specialist's work for most",
    "engine": "rebuilds engines, with a machine shop at hand",
}
_BOLTED = re.compile(r"\b(bolts?|(?<!wheel )nuts?|studs?|thread ?lock)\b", re.I)
# Work in which a slip hurts somebody, by the caution that goes with it: who may do it or must check it.
WHO = {
    "refrigerant": "Only a certified person with recovery equipment opens the air conditioning: law nearly everywhere.",
    "airbag": "Airbags and pretensioners: only a trained person, under local explosives and waste rules.",
    "hydropneumatic-pressure": "The pressure system: only someone who knows it.",
    "brakes": "Brakes: done or checked by a competent person before the car moves on the road.",
    "welding": "Load-bearing welds: a competent welder, and tested.",
    "springs": "Loaded springs: a competent workshop unless the right compressor fits properly.",
    "fuel": "Hot work on tanks and lines: specialists only.",
    "asbestos": "Crumbling asbestos: licensed people, by local rules.",
}
_SAFETY_CHECK = (
    "This is work that safety or the law hangs on: have it done or checked by a competent person, and tested where "
    "your country asks for it, before the car goes on the road."
)
_MARK = re.compile(
    r"\b(paint-?mark|mark(s|ed)?|punch|photograph|write down|note (the|which|down|how)|"
    r"count (the )?(turns|threads|shims|leaves|teeth))\b",
    re.I,
)
_COMPOUND = re.compile(
    r"\b(sealant|sealer|sealing compound|compound|thread ?lock|grease[ds]?|copper|wax|dry|oiled?)\b", re.I
)
_TIGHTEN = re.compile(
    r"\b(torque|tighten(ed|ing)?|newton metres|nm|preload|stages|cross(wise| pattern)|tab|stake|refit|going back|"
    r"paint a line)\b",
    re.I,
)
_RUBBER = re.compile(r"\b(bush(es)?|rubber|mount(s|ings?)?|coupling|link|sliding|wishbone|arm)\b", re.I)
_CAR_UP = "car-lift"  # ids of the steps that raise the car; an engine lifted on its mounts does not
_TURNING = ("driveline", "axle-and-hubs", "clutch-and-gearbox")
_RUNNING = (*_TURNING, "suspension", "steering", "brakes", "wheels-and-tyres")
MARK_ALWAYS = (
    "Shaft halves and every flange: paint or centre-punch across the joint before a bolt moves, and a photograph.",
    "A nut that sets a preload: count threads showing and the turns it comes off.",
)
COMPOUND_ALWAYS = (
    "Sealing compound only where the maker asks for it, a thin even film on clean dry faces; none on seal lips, "
    "O-rings, rubber, preload spacers, brake or fuel parts. Threads as the maker says: his torque belongs to dry, "
    "oiled or locked threads, not to any of them."
)
STAGES = (
    "Tighten in stages, a third, two thirds, full, crosswise on flanges, to the maker's figure for this car. A line "
    "of paint over each nut that is done."
)
RIDE_HEIGHT = (
    "Rubber-bushed and sliding joints: nip up, wheels on the ground, car settled at ride height and rolled a length, "
    "then final tightening. Tightened hanging, the rubber is wound up and torn within months."
)
ROAD_TEST = (
    "First at walking pace on private ground: brakes, steering, noises, smells, leaks. Then a quiet road, only if the "
    "car is legal and safe to be there.",
    "Stop after a few minutes: hand near (not on) hubs and drums for heat, look beneath for drips.",
    "Recheck every fastening of this job after 50 to 100 km with the car cold, wheel nuts with them.",
)
WRITE_DOWN = "Write it into the papers with date, odometer and bills: `estimator record CASE --done ...`."


@dataclass(frozen=True)
class CardStep:
    """One step of strip-down: what, trade hours (low, likely, high), what it says, what may go wrong."""

    name: str
    hours: tuple[float, float, float]
    lines: tuple[str, ...]
    snag: str


@dataclass(frozen=True)
class JobCard:
    """Everything on one card, in the order in which it is wanted. Every field is text to print as it is."""

    id: str
    title: str
    head: tuple[str, ...]
    who: tuple[str, ...]
    cautions: tuple[str, ...]
    have_ready: tuple[str, ...]
    steps: tuple[CardStep, ...]
    marks: tuple[str, ...]
    renew: tuple[str, ...]
    look: tuple[str, ...]
    always: tuple[str, ...]
    parts: tuple[tuple[str, tuple[str, ...]], ...]
    compounds: tuple[str, ...]
    tighten: tuple[str, ...]
    torque: tuple[tuple[str, str, float, float], ...]
    torque_note: str
    road_test: tuple[str, ...]


def job_cards(plan: Plan, catalogue: Catalogue) -> tuple[JobCard, ...]:
    """A card for every planned job, in the order of the plan; also for those that did not fit."""
    return tuple(job_card(plan, job, catalogue) for job in (*plan.jobs, *plan.left_out))


def job_card(plan: Plan, job: PlannedJob, catalogue: Catalogue) -> JobCard:
    """The card of one job."""
    parts = [catalogue.components[c] for c in (*job.components, *job.neighbours)]
    steps = [catalogue.steps[s] for s in job.steps]
    said = _said(parts, steps)
    cautions = _cautions(job, parts, steps)
    lines = [line for line in plan.orders if line.job == job.id]
    bolted = _is_bolted(parts, steps)
    when = f"month {job.month} of the plan" if job.month else "does not fit the plan's limits"
    return JobCard(
        id=job.id,
        title=_first_up(job.name),
        head=(
            f"{when}, by the {job.by}" if job.month else when,
            f"about {job.hours:.1f} hours in the trade"
            + (f", about {job.own_hours:.0f} of yours" if job.own_hours else ""),
            f"skill: {skill_words(job.skill, parts, steps)}",
            *(["the car stays off the road until this is done"] if job.urgent else []),
        ),
        who=(*([_SAFETY_CHECK] if job.need == "safety" else []), *(WHO[c] for c in cautions if c in WHO)),
        cautions=tuple(catalogue.cautions[c].text for c in cautions if c in catalogue.cautions),
        have_ready=_have_ready(job, parts, steps, catalogue, ordered=bool(lines)),
        steps=_made_safe(cautions, steps)
        + tuple(
            CardStep(
                name=s.name,
                hours=s.hours,
                lines=tuple(t for t in s.card if not _is_mark(t)),
                snag="" if s.snag is None else s.snag.what,
            )
            for s in steps
        ),
        marks=(*(MARK_ALWAYS if any(p.system in _TURNING for p in parts) else ()), *said.marks),
        renew=_renewed(plan, job, parts),
        look=_look(plan, job, catalogue),
        always=_always(parts, steps),
        parts=tuple((p.name, tuple(said.rest[p.id])) for p in parts if said.rest[p.id]),
        compounds=(*([COMPOUND_ALWAYS] if bolted or said.compounds else []), *said.compounds),
        tighten=(
            "Back in the reverse order of coming off.",
            *([STAGES] if bolted else []),
            *said.tighten,
            *([RIDE_HEIGHT] if _rides_on_rubber(parts) else []),
        ),
        torque=general_table() if bolted else (),
        torque_note=ASSUMPTION if bolted else "",
        road_test=(
            *(ROAD_TEST if any(p.system in _RUNNING for p in parts) else ROAD_TEST[:2]),
            *_after(catalogue),
            WRITE_DOWN,
        ),
    )


def skill_words(skill: int, parts: Iterable[Component], steps: Iterable[AccessStep]) -> str:
    """What a job asks of whoever does it; of the most demanding, the trade of its first such part or step."""
    if skill < len(SKILLS) - 1:
        return SKILLS[skill]
    things: list[Component | AccessStep] = [*parts, *steps]
    found = []
    for one in (one for one in things if one.skill == skill):
        marks = {*one.cautions, *one.tools}
        named = next((text for wanted, text in _TRADES if wanted & marks), None)
        found.append(named or _TRADE_OF.get(getattr(one, "system", ""), SKILLS[skill]))
    return "; ".join(_once(found)) or SKILLS[skill]


def _is_bolted(parts: Sequence[Component], steps: Sequence[AccessStep]) -> bool:
    """Whether bolts besides wheel nuts are undone or tightened, by what parts and steps say."""
    parts = [p for p in parts if p.system != "wheels-and-tyres"]  # their nuts are the wheels'
    things: list[Component | AccessStep] = [*parts, *steps]
    said = [text for one in things for text in one.card]
    said += [one.snag.what for one in steps if one.snag is not None]
    said += [item for part in parts for item in part.single_use]
    said += [thing.item for one in steps for thing in one.disturbs]
    return any(_BOLTED.search(text) for text in said)


def _made_safe(cautions: Iterable[str], steps: list[AccessStep]) -> tuple[CardStep, ...]:
    """Getting the car up comes first wherever somebody goes beneath it, unless the catalogue's steps say it."""
    if "under-car" not in cautions or any(s.id.startswith(_CAR_UP) for s in steps):
        return ()
    line = "Lift, or axle stands as said under Care, on marked points; battery off where cables or fuel are near."
    return (CardStep(name="car up and made safe", hours=(0.2, 0.3, 0.5), lines=(line,), snag=""),)


@dataclass(frozen=True)
class _Said:
    marks: tuple[str, ...]
    compounds: tuple[str, ...]
    tighten: tuple[str, ...]
    rest: dict[str, list[str]]


def _said(parts: list[Component], steps: list[AccessStep]) -> _Said:
    """The catalogue's card lines, sorted by what they are about; nothing is left out. Where a job has several parts
    a line says whose it is; one that several parts have stands once with all their names.
    """
    marks = [t for s in steps for t in s.card if _is_mark(t)]
    sorts: dict[str, dict[str, list[str]]] = {"marks": {}, "compounds": {}, "tighten": {}}
    rest: dict[str, list[str]] = {p.id: [] for p in parts}
    for part in parts:
        for text in part.card:
            if _is_mark(text):
                kind = "marks"
            elif _TIGHTEN.search(text):
                kind = "tighten"
            elif _COMPOUND.search(text):
                kind = "compounds"
            else:
                rest[part.id].append(text)
                continue
            sorts[kind].setdefault(text, []).append(part.name)
    told = {kind: _by_part(texts, several=len(parts) > 1) for kind, texts in sorts.items()}
    return _Said(_once([*marks, *told["marks"]]), told["compounds"], told["tighten"], rest)


def _by_part(texts: dict[str, list[str]], *, several: bool) -> tuple[str, ...]:
    """Lines gathered by the parts they are about."""
    whose: dict[str, list[str]] = {}
    for text, names in texts.items():
        whose.setdefault(" / ".join(names), []).append(text)
    return tuple(
        f"{names}: {' '.join(lines)}" if several else " ".join(lines) for names, lines in whose.items()
    )


def _is_mark(text: str) -> bool:
    """Whether a line says what to mark, count or photograph before it is apart."""
    return bool(_MARK.search(text)) and not _TIGHTEN.search(text)


def _once(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(texts))


def _cautions(job: PlannedJob, parts: list[Component], steps: list[AccessStep]) -> tuple[str, ...]:
    """Cautions of the parts and steps, those of most of them first; a road test after running gear."""
    everything: list[Component | AccessStep] = [*parts, *steps]
    ranked = commonest_first(c for one in everything for c in one.cautions)
    if job.need in ("safety", "to-drive") and "road-test" not in ranked:
        ranked.append("road-test")
    return tuple(ranked)


def _have_ready(
    job: PlannedJob, parts: list[Component], steps: list[AccessStep], catalogue: Catalogue, *, ordered: bool
) -> tuple[str, ...]:
    everything: list[Component | AccessStep] = [*parts, *steps]
    tools = _once(t for one in everything for t in one.tools)
    named = [catalogue.tools[t].name for t in tools if t in catalogue.tools]
    out = (
        ["everything on the order list for this job is on the bench before the first bolt moves"]
        if ordered
        else []
    )
    if job.wait_weeks >= 1:
        weeks = round(job.wait_weeks)
        out.append(f"longest likely wait for parts: {weeks} {'week' if weeks == 1 else 'weeks'}")
    if named:
        out.append("special tools: " + "; ".join(named))
    out.append("the maker's workshop manual for this car, with its torque figures")
    return tuple(out)


def _look(plan: Plan, job: PlannedJob, catalogue: Catalogue) -> tuple[str, ...]:
    """Neighbours put back: what to look for, and the verdict if they are found so."""
    out = []
    for apart in plan.while_apart:
        if apart.job != job.id or apart.renew_now or apart.component in job.neighbours:
            continue
        part = catalogue.components[apart.component]
        edge = "never" if apart.break_even >= 1 else f"from {100 * apart.break_even:.0f} in 100"
        out.append(f"{part.name} (look for: {part.failure}): {100 * apart.chance:.0f} in 100; {edge}")
    if not out:
        return ()
    head = (
        "Found as said in brackets, renew it while it is apart. Else it goes back: of 100 such parts so many need it "
        f"within {plan.horizon_years:g} years; then from how many in 100 renewing it unseen would pay."
    )
    return (head, *out)


def _renewed(plan: Plan, job: PlannedJob, parts: list[Component]) -> tuple[str, ...]:
    """Each part with the way it is put right, as ordered."""
    ways = {
        line.component: line.item.removeprefix(f"{part.name}: ")
        for part in parts
        for line in plan.orders
        if line.job == job.id and line.component == part.id and line.kind in ("part", "specialist's work")
    }
    return tuple(p.name if ways.get(p.id, p.name) == p.name else f"{p.name} ({ways[p.id]})" for p in parts)


def _always(parts: list[Component], steps: list[AccessStep]) -> tuple[str, ...]:
    """Single-use things by what they belong to; of what strip-down spoils, what is on no part's own list."""
    single = [f"{p.name}: {', '.join(p.single_use)}" for p in parts if p.single_use]
    spoilt = []
    for step in steps:
        items = [
            d.item
            for d in step.disturbs
            if same_as(d.item, parts) is None and not d.item.startswith("carriage")
        ]
        if items:
            spoilt.append(f"{step.name}: {', '.join(items)}")
    return _once([*single, *spoilt])


def _rides_on_rubber(parts: list[Component]) -> bool:
    return any(p.system in _RUNNING and _RUBBER.search(p.name) for p in parts)


def _after(catalogue: Catalogue) -> tuple[str, ...]:
    step = catalogue.steps.get("road-test-recheck-retorque-after")
    return step.card if step is not None else ()


def _first_up(text: str) -> str:
    return text[:1].upper() + text[1:]
