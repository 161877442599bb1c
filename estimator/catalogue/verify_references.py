"""Names in a catalogue that lead nowhere, chains of steps that bite their tail, and names nobody uses."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from estimator.catalogue.expressions import parse_expression
from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import AccessStep, Check, Component, Kit
from estimator.problems import nearest

Name = tuple[str, str, str]  # key it stands under, kind of thing it names, the name itself

KINDS = {
    "component": "components",
    "step": "steps",
    "trait": "traits",
    "group": "groups",
    "caution": "cautions",
    "tool": "tools",
    "source": "sources",
    "kit": "kits",
    "check": "checks",
}


def place(catalogue: Catalogue, table: str, identifier: str) -> str:
    """ "data/components/fuel.toml: component fuel-tank": where a record stands, for a message."""
    home = Path(catalogue.home.get(f"{table} {identifier}", "catalogue"))
    for folder in catalogue.folders:
        if home.is_relative_to(folder):
            home = Path(Path(folder).name) / home.relative_to(folder)
            break
    return f"{home.as_posix()}: {table} {identifier}"


def problems(catalogue: Catalogue) -> Iterator[str]:
    """Every reference to something the catalogue does not hold, and every cycle of steps."""
    for table, identifier, names in _everything(catalogue):
        for key, kind, name in names:
            known: Mapping[str, Any] = getattr(catalogue, KINDS[kind])
            if name not in known:
                close = nearest(name, known)
                hint = f' (is "{close}" meant?)' if close else ""
                yield f'{place(catalogue, table, identifier)}: {key}: unknown {kind} "{name}"{hint}'
    yield from _settings(catalogue)
    yield from _memberships(catalogue)
    yield from _depths(catalogue)
    yield from _cycles(catalogue)


def unused(catalogue: Catalogue) -> Iterator[str]:
    """Sources, tools and cautions that nothing names: harmless, but a slip more often than not."""
    used = {(kind, name) for _, _, names in _everything(catalogue) for _, kind, name in names}
    used |= {("source", name) for _, name in _setting_sources(catalogue)}
    notes = " ".join(check.note for check in catalogue.checks.values())
    used |= {("source", s.id) for s in catalogue.sources.values() if s.id in notes or s.kind == "entered"}
    for kind in ("source", "tool", "caution"):
        idle = [one for one in getattr(catalogue, KINDS[kind]) if (kind, one) not in used]
        if idle:
            yield f"nothing names {kind} {', '.join(idle)}"


def _everything(catalogue: Catalogue) -> Iterator[tuple[str, str, Iterable[Name]]]:
    for component in catalogue.components.values():
        yield "component", component.id, _component(component)
    for step in catalogue.steps.values():
        yield "step", step.id, _step(step)
    for check in catalogue.checks.values():
        yield "check", check.id, _check(check)
    for kit in catalogue.kits.values():
        yield "kit", kit.id, _kit(kit)
    for group in catalogue.groups.values():
        otherwise = [("otherwise", "trait", group.otherwise)] if group.otherwise else []
        yield "group", group.id, [*otherwise, *_when("when", group.when)]
    for trait in catalogue.traits.values():
        excluded = [("excludes", "trait", other) for other in trait.excludes]
        yield (
            "trait",
            trait.id,
            [("group", "group", trait.group), *excluded, ("source", "source", trait.source)],
        )
    for caution in catalogue.cautions.values():
        yield "caution", caution.id, [("source", "source", caution.source)]


def _when(key: str, when: str) -> list[Name]:
    return [(key, "trait", trait) for trait in sorted(parse_expression(when).traits)]


def _common(record: Component | AccessStep) -> Iterator[Name]:
    yield from _when("when", record.when)
    yield from (("tools", "tool", tool) for tool in record.tools)
    yield from (("cautions", "caution", caution) for caution in record.cautions)
    for variant in record.variant:
        yield from _when("variant.when", variant.when)
    yield ("source", "source", record.source)


def _component(component: Component) -> Iterator[Name]:
    yield from _common(component)
    for use in component.access:
        yield ("access", "step", use.step)
        yield from _when("access.when", use.when)
    for damage in component.damages:
        yield ("damages", "component", damage.component)
    for figure, source in component.sources.items():
        yield (f"sources.{figure}", "source", source)
    for remedy in component.remedy:
        yield from _when("remedy.when", remedy.when)
        if remedy.source:
            yield ("remedy.source", "source", remedy.source)


def _step(step: AccessStep) -> Iterator[Name]:
    yield from _common(step)
    for disturbed in step.disturbs:
        yield from (("disturbs.of", "component", one) for one in disturbed.of)
    for use in step.after:
        yield ("after", "step", use.step)
        yield from _when("after.when", use.when)


def _check(check: Check) -> Iterator[Name]:
    yield from _when("when", check.when)
    for link in check.links:
        yield ("links", "component", link.component)
    if check.entry:
        yield from (("entry.components", "component", one) for one in check.entry.components)
        if check.entry.kit:
            yield ("entry.kit", "kit", check.entry.kit)
    yield from (("cautions", "caution", caution) for caution in check.cautions)
    if check.after:
        yield ("after", "check", check.after)
    yield ("source", "source", check.source)
    if check.reading:
        yield ("reading.source", "source", check.reading.source)


def _kit(kit: Kit) -> Iterator[Name]:
    for depth, parts in kit.depths.items():
        yield from ((f"depths.{depth}", "component", part) for part in parts)


def _setting_sources(catalogue: Catalogue) -> list[tuple[str, str]]:
    settings = catalogue.settings
    return [
        ("prices.toml: source", settings.prices.source),
        ("evidence.toml: source", settings.evidence.source),
        ("evidence.toml: odometer.source", settings.evidence.odometer.source),
        ("evidence.toml: distance.source", settings.evidence.distance.source),
        ("exposure.toml: source", settings.exposure.source),
    ]


def _settings(catalogue: Catalogue) -> Iterator[str]:
    for key, source in _setting_sources(catalogue):
        if source not in catalogue.sources:
            yield f'{key}: unknown source "{source}"'
    for component in catalogue.components.values():
        for figure in component.sources:
            if figure not in Component.model_fields:
                here = place(catalogue, "component", component.id)
                yield f'{here}: sources: "{figure}" is no key of a component'


def _memberships(catalogue: Catalogue) -> Iterator[str]:
    for group in catalogue.groups.values():
        here = place(catalogue, "group", group.id)
        members = catalogue.members[group.id]
        if not members:
            yield f"{here}: has no traits"
        if group.otherwise and group.otherwise in catalogue.traits and group.otherwise not in members:
            yield f'{here}: otherwise: "{group.otherwise}" belongs to another group'


def _depths(catalogue: Catalogue) -> Iterator[str]:
    for kit in catalogue.kits.values():
        here = place(catalogue, "kit", kit.id)
        if not kit.depths:
            yield f"{here}: depths: has none"
        for depth, parts in kit.depths.items():
            if not parts:
                yield f"{here}: depths.{depth}: covers no part"
            for part in sorted({p for p in parts if parts.count(p) > 1}):
                yield f'{here}: depths.{depth}: "{part}" stands twice'
    for check in catalogue.checks.values():
        entry = check.entry
        if entry is None:
            continue
        here = place(catalogue, "check", check.id)
        kit_named = catalogue.kits.get(entry.kit)
        if kit_named is not None and entry.depth not in kit_named.depths:
            allowed = ", ".join(kit_named.depths)
            yield f'{here}: entry.depth: kit {entry.kit} has no depth "{entry.depth}"; it has {allowed}'


def _cycles(catalogue: Catalogue) -> Iterator[str]:
    """Each cycle of `after` once, from the step of it that stands first in the files."""
    done: set[str] = set()
    for start in catalogue.steps:
        chain = _cycle_from(catalogue, start, [], done)
        if chain:
            yield f"{place(catalogue, 'step', chain[0])}: after: goes in a circle: {' after '.join(chain)}"


def _cycle_from(catalogue: Catalogue, step: str, path: list[str], done: set[str]) -> list[str]:
    if step in path:
        return [*path[path.index(step) :], step]
    if step in done or step not in catalogue.steps:
        return []
    for use in catalogue.steps[step].after:
        found = _cycle_from(catalogue, use.step, [*path, step], done)
        if found:
            done.update(path)
            done.add(step)
            return found
    done.add(step)
    return []
