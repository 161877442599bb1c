"""What can never meet, and what nothing leads to: impossible builds, orphans, idle steps and traits."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from estimator.catalogue.expressions import Expression, both, parse_expression
from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import AccessStep, Check, Component
from estimator.catalogue.verify_references import place

Years = tuple[int, int] | None
DEEP = ("small-things-off", "laboratory")  # stations nobody gets to before buying


def problems(catalogue: Catalogue) -> Iterator[str]:
    """Everything impossible or out of reach. Every name in the catalogue must be known already."""
    yield from _builds(catalogue)
    yield from _links(catalogue)
    yield from _openers(catalogue)
    yield from _steps(catalogue)
    yield from _orphans(catalogue)
    yield from _idle_checks(catalogue)
    yield from _idle_steps(catalogue)
    yield from _idle_traits(catalogue)


def _together(catalogue: Catalogue, *whens: str) -> bool:
    return catalogue.questions.can_hold(both(parse_expression(when) for when in whens))


def _overlap(*years: Years) -> bool:
    given = [one for one in years if one]
    return not given or max(one[0] for one in given) <= min(one[1] for one in given)


def _builds(catalogue: Catalogue) -> Iterator[str]:
    for table, records in (
        ("component", catalogue.components),
        ("check", catalogue.checks),
        ("step", catalogue.steps),
        ("group", catalogue.groups),
    ):
        for record in records.values():
            here = place(catalogue, table, record.id)
            if not _together(catalogue, record.when):
                yield f'{here}: when: no car can be "{record.when}"'
                continue
            for variant in getattr(record, "variant", ()):
                if not _together(catalogue, record.when, variant.when):
                    yield f'{here}: variant.when: never holds: "{variant.when}" on a car with "{record.when}"'
    for component in catalogue.components.values():
        here = place(catalogue, "component", component.id)
        for number, remedy in enumerate(component.remedy, start=1):
            if not (
                _together(catalogue, component.when, remedy.when) and _overlap(component.built, remedy.built)
            ):
                yield f'{here}: remedy {number}: never on a car that has this part ("{remedy.when}")'


def _links(catalogue: Catalogue) -> Iterator[str]:
    for check in catalogue.checks.values():
        here = place(catalogue, "check", check.id)
        for link in check.links:
            part = catalogue.components[link.component]
            if not _meet(catalogue, check, part):
                yield (
                    f'{here}: links: "{part.id}" is never on the same car ("{check.when}" and "{part.when}")'
                )
        seen = [link.component for link in check.links]
        for twice in sorted({one for one in seen if seen.count(one) > 1}):
            yield f'{here}: links: "{twice}" stands twice'
        parts = [catalogue.components[one] for one in (check.entry.components if check.entry else ())]
        if parts and not any(_meet(catalogue, check, part) for part in parts):
            yield f"{here}: entry.components: none of them is ever on such a car"
    for component in catalogue.components.values():
        here = place(catalogue, "component", component.id)
        for damage in component.damages:
            other = catalogue.components[damage.component]
            if other.id == component.id:
                yield f"{here}: damages: itself"
            elif not _meet(catalogue, component, other):
                yield f'{here}: damages: "{other.id}" is never on the same car'


def _openers(catalogue: Catalogue) -> Iterator[str]:
    """Checks made only after another: it opens the place itself, and on every car they are meant for."""
    for check in catalogue.checks.values():
        if not check.after:
            continue
        here, head = place(catalogue, "check", check.id), catalogue.checks[check.after]
        if head.id == check.id:
            yield f"{here}: after: itself"
        elif head.after:
            yield f'{here}: after: "{head.id}" itself comes after "{head.after}"; name that one'
        elif not (
            catalogue.questions.implies(check.expression, head.expression)
            and (head.built, head.first_used) in ((None, None), (check.built, check.first_used))
        ):
            yield f'{here}: after: not every car it is meant for ("{check.when}") has "{head.id}" ("{head.when}")'


def _meet(catalogue: Catalogue, one: Check | Component, other: Component) -> bool:
    return _overlap(*_years(one), *_years(other)) and _together(catalogue, one.when, other.when)


def _years(record: Check | Component) -> tuple[Years, Years]:
    days = record.first_used if isinstance(record, Check) else None
    return record.built, (days[0].year, days[1].year) if days else None


def _steps(catalogue: Catalogue) -> Iterator[str]:
    for component in catalogue.components.values():
        for use in component.access:
            step = catalogue.steps[use.step]
            if not _together(catalogue, component.when, use.when, step.when):
                here = place(catalogue, "component", component.id)
                yield f'{here}: access: "{use.step}" never applies to a car that has this part'
    for step in catalogue.steps.values():
        for use in step.after:
            if not _together(catalogue, step.when, use.when, catalogue.steps[use.step].when):
                yield f'{place(catalogue, "step", step.id)}: after: "{use.step}" never applies to such a car'


def _orphans(catalogue: Catalogue) -> Iterator[str]:
    reached: dict[str, set[str]] = {}
    for check in catalogue.checks.values():
        for link in check.links:
            reached.setdefault(link.component, set()).add(check.station)
    for component in catalogue.components.values():
        stations = reached.get(component.id, set())
        if component.hidden_reason or stations - set(DEEP):
            continue
        where = f"only at {' and '.join(sorted(stations))}" if stations else "no check"
        yield (
            f"{place(catalogue, 'component', component.id)}: {where} reaches it; link a check to it "
            "or give hidden_reason"
        )


def _idle_checks(catalogue: Catalogue) -> Iterator[str]:
    for check in catalogue.checks.values():
        informs = (
            check.links or check.care or check.presentation or check.odometer or check.stop or check.entry
        )
        if not informs:
            yield (
                f"{place(catalogue, 'check', check.id)}: informs nothing: give it links, care, presentation, "
                "odometer, entry or stop"
            )


def _idle_steps(catalogue: Catalogue) -> Iterator[str]:
    """Steps that no part leads to, be it through other steps."""
    waiting = [use.step for component in catalogue.components.values() for use in component.access]
    used: set[str] = set()
    while waiting:
        step = waiting.pop()
        if step not in used:
            used.add(step)
            waiting += [use.step for use in catalogue.steps[step].after]
    for step in catalogue.steps:
        if step not in used:
            yield f"{place(catalogue, 'step', step)}: no component needs it"


def _idle_traits(catalogue: Catalogue) -> Iterator[str]:
    """Traits that change nothing. Where a question must be answered, one answer may go unmentioned: being
    none of the others, it changes what they change."""
    mentioned = {trait for one in _expressions(catalogue) for trait in one.traits}
    for trait in catalogue.traits.values():
        if trait.id in mentioned:
            continue
        group = catalogue.groups[trait.group]
        others = [one for one in catalogue.members[group.id] if one != trait.id]
        complement = group.choose == "one" and others and all(one in mentioned for one in others)
        otherwise = group.otherwise == trait.id and any(one in mentioned for one in others)
        if not (complement or otherwise):
            yield f"{place(catalogue, 'trait', trait.id)}: changes nothing: no when mentions it"


def _expressions(catalogue: Catalogue) -> Iterator[Expression]:
    whens: list[str] = [group.when for group in catalogue.groups.values()]
    whens += [check.when for check in catalogue.checks.values()]
    worked: Iterable[Component | AccessStep] = [*catalogue.components.values(), *catalogue.steps.values()]
    for record in worked:
        uses = record.access if isinstance(record, Component) else record.after
        whens += [record.when, *(variant.when for variant in record.variant), *(use.when for use in uses)]
    yield from (parse_expression(when) for when in dict.fromkeys(whens))
