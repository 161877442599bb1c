"""Whether a case and the catalogue agree: ids, how the car is built, what can be read at all."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from estimator.casefile import history
from estimator.casefile.records import Finding, Work
from estimator.casefile.sense import Report
from estimator.files import Document, KeyPath, Problem, listed, shown
from estimator.problems import most_alike

if TYPE_CHECKING:
    from estimator.case import Case
    from estimator.catalogue.load import Catalogue


PRICES_HOLD_YEARS = (
    3  # a catalogue is not laid out anew every year; after that its prices are of another time
)


@dataclasses.dataclass(frozen=True, slots=True)
class _Look:
    """What every rule below needs. possible: the traits are those of a car that can exist."""

    case: Case
    catalogue: Catalogue
    report: Report
    possible: bool = False

    @property
    def traits(self) -> frozenset[str]:
        return frozenset(self.case.car.traits)

    def has(self, component: str) -> float:
        if not self.possible:  # of an impossible build nothing can be said
            return 1.0
        return float(self.catalogue.has(component, self.traits, self.case.car.built.year))


def check_against(
    case: Case, catalogue: Catalogue, report: Report | None = None
) -> tuple[tuple[Problem, ...], tuple[Problem, ...]]:
    """(faults, warnings) of a case against a catalogue; `report` knows the lines and gathers them."""
    report = report or Report(Document(case.name, {}, {}, ""))
    look = _Look(case, catalogue, report)
    _currency(look)
    _prices_of_its_time(look)
    look = dataclasses.replace(look, possible=_traits(look))
    _parts(look)
    for index, work in enumerate(case.work):
        _kit(look, work, ("work", index))
    for index, finding in enumerate(case.finding):
        _finding(look, finding, ("finding", index))
    _remedies(look)
    return tuple(report.problems), tuple(report.warnings)


def unknown_id(word: str, known: Mapping[str, Any], *, what: str) -> str:
    """ "unknown component; found ...": with the known id whose words or whose name's match best, or some of those that
    hold its words. known: id -> record, by its `name` where it has one."""
    every = list(known)
    close = most_alike(word, {one: str(getattr(record, "name", "")) for one, record in known.items()})
    if close:
        return f'unknown {what} (did you mean "{close}"?); found {shown(word)}'
    pieces = [piece for piece in word.lower().replace("_", "-").split("-") if len(piece) > 2]
    like = [one for one in every if any(piece in one.split("-") for piece in pieces)]
    some = f"; like it: {listed(like, most=6)}" if like else ""
    return f"unknown {what}; found {shown(word)}{some}; `estimator catalogue` lists all {len(every)}"


def _currency(look: _Look) -> None:
    prices = getattr(getattr(look.catalogue, "settings", None), "prices", None)
    known = getattr(prices, "currency", None)
    if known and look.case.money.currency not in known:
        look.report.fault(
            ("money", "currency"),
            f"there are no prices in this currency; found {shown(look.case.money.currency)}; "
            f"allowed: {listed(known, most=40)}",
        )


def _prices_of_its_time(look: _Look) -> None:
    """A case years ahead of the prices is a slip of the year, or the prices are of old: either must be said."""
    prices = getattr(getattr(look.catalogue, "settings", None), "prices", None)
    year, today = getattr(prices, "price_year", None), look.case.today
    if year is None or today.year - year <= PRICES_HOLD_YEARS:
        return
    days = [*history.reference_days(look.case), *history.recorded_days(look.case)]  # type: ignore[arg-type]
    path = next(path for path, day in days if day == today)
    look.report.doubt(
        path,
        f"everything is worked out as of this day, {today.year - year} years after the year of the prices here "
        f"({year}): is the year right? If it is, what things cost has moved since; found {today}",
    )


def _traits(look: _Look) -> bool:
    """Faults of the list of traits; True when it describes a car that can exist."""
    known, before = look.catalogue.traits, len(look.report.problems)
    every = look.case.car.traits
    named = [(index, trait) for index, trait in enumerate(every) if trait not in every[:index]]
    for index, trait in named:
        if trait not in known:
            look.report.fault(("car", "traits", index), unknown_id(trait, known, what="trait"))
    members: dict[str, list[str]] = {}
    for index, trait in named:
        if trait not in known:
            continue
        path: KeyPath = ("car", "traits", index)
        for other in (one for _, one in named[:index] if one in known):
            if other in known[trait].excludes or trait in known[other].excludes:
                look.report.fault(
                    path, f'impossible together with "{other}"; found {shown(trait)}; take one of the two out'
                )
                break
        else:
            group = look.catalogue.groups.get(known[trait].group)
            if group is not None and group.choose == "one" and members.get(group.id):
                look.report.fault(
                    path,
                    f'only one of the group "{group.id}" can be true, and "{members[group.id][0]}" is named '
                    f"too; found {shown(trait)}",
                )
        members.setdefault(known[trait].group, []).append(trait)
    return len(look.report.problems) == before


def _named_parts(case: Case) -> Iterator[tuple[KeyPath, str, str]]:
    """(key, component id, what the entry says of it) of everything that names a component."""
    for index, work in enumerate(case.work):
        if work.component is not None:
            yield ("work", index, "component"), work.component, "work"
    for index, test in enumerate(case.test):
        for place, component in enumerate(test.components):
            yield ("test", index, "components", place), component, "a test remark"
    for index, quote in enumerate(case.quote):
        yield ("quote", index, "component"), quote.component, "a quote"
    for index, spare in enumerate(case.spare):
        yield ("spare", index, "component"), spare.component, "a spare"


def _parts(look: _Look) -> None:
    known = look.catalogue.components
    for path, component, what in _named_parts(look.case):
        if component not in known:
            look.report.fault(path, unknown_id(component, known, what="component"))
        elif look.has(component) == 0:
            look.report.fault(
                path,
                f"{what} on a part this car does not have; found {shown(component)}; "
                + how_to_have(look.catalogue, component, look.traits, look.case.car.built.year),
            )


def how_to_have(catalogue: Catalogue, component: str, traits: frozenset[str], year: int) -> str:
    """Which change of car.traits would give the car a component, in words."""
    if catalogue.has(component, traits) > 0:
        return f"cars built in {year} do not have it"
    adding, instead = [], []
    for trait in catalogue.traits.values():
        clash = [one for one in traits if one in trait.excludes or trait.id in _excludes(catalogue, one)]
        if trait.id in traits or catalogue.has(component, (traits - set(clash)) | {trait.id}, year) == 0:
            continue
        if clash:
            instead.append(f'"{trait.id}" in place of {" and ".join(shown(one) for one in sorted(clash))}')
        else:
            adding.append(f'"{trait.id}"')
    if adding:
        return f"it comes with {listed(adding, most=6)} in car.traits"
    if instead:
        return f"it comes with {listed(instead, most=4)} in car.traits"
    return f"it is fitted to cars with: {getattr(catalogue.components[component], 'when', 'other traits')}"


def _excludes(catalogue: Catalogue, trait: str) -> tuple[str, ...]:
    return tuple(catalogue.traits[trait].excludes) if trait in catalogue.traits else ()


def _kit(look: _Look, work: Work, path: KeyPath) -> None:
    if work.kit is None:
        return
    kits = look.catalogue.kits
    if work.kit not in kits:
        look.report.fault((*path, "kit"), unknown_id(work.kit, kits, what="kit"))
        return
    depths: dict[str, Any] = dict(kits[work.kit].depths)
    depth = kit_depth(work, depths)
    if depth is None:
        found = "none" if work.depth is None else shown(work.depth)
        look.report.fault(
            (*path, "depth"),
            f'the kit "{work.kit}" needs one of its depths; found {found}; allowed: {listed(depths)}',
        )
    elif not any(one in look.catalogue.components and look.has(one) for one in depths[depth]):
        look.report.fault((*path, "kit"), f"this car has none of the kit's parts; found {shown(work.kit)}")


def kit_depth(work: Work, depths: dict[str, Any]) -> str | None:
    """The depth a kit was done to: as written; left out, "full" or the only one; None when unclear."""
    if work.depth is not None:
        return work.depth if work.depth in depths else None
    if "full" in depths:
        return "full"
    return next(iter(depths)) if len(depths) == 1 else None


def _finding(look: _Look, finding: Finding, path: KeyPath) -> None:
    known = look.catalogue.checks
    if finding.check not in known:
        look.report.fault((*path, "check"), unknown_id(finding.check, known, what="check"))
        return
    check = known[finding.check]
    reading = check.reading
    if finding.value is not None and reading is None:
        look.report.fault(
            (*path, "value"),
            f"this check has nothing to read off; found {finding.value:g}; write result = "
            f'"present" ({check.present}) or "absent" ({check.absent})',
        )
    elif reading is not None and finding.result in ("present", "absent"):
        look.report.fault(
            (*path, "result"),
            f"this check needs the reading itself: write value = ... in {reading.unit}; found "
            f'{shown(finding.result)}; allowed without a reading: "could-not-try", "refused"',
        )
    elif finding.value is not None and reading is not None and not _readable(finding.value, reading):
        look.report.fault(
            (*path, "value"),
            f"cannot be read on this check; found {finding.value:g}; allowed: {reading.low:g} to "
            f"{reading.high:g} {reading.unit}",
        )
    when = getattr(check, "when", "all")
    if when != "all" and finding.result != "could-not-try" and not _applies(look, check):
        look.report.doubt(
            (*path, "check"),
            f"this check is for cars with {when}: the finding is left out; found {shown(finding.check)}",
        )


def _readable(value: float, reading: Any) -> bool:
    return bool(reading.low <= value <= reading.high)


def _applies(look: _Look, check: Any) -> bool:
    if not (look.possible and hasattr(look.catalogue, "has_expression")):
        return True
    year = look.case.car.built.year
    return bool(look.catalogue.has_expression(check.expression, look.traits, year=year) > 0)


def _remedies(look: _Look) -> None:
    for index, quote in enumerate(look.case.quote):
        component = look.catalogue.components.get(quote.component)
        kinds = list(dict.fromkeys(one.kind for one in getattr(component, "remedy", ())))
        if kinds and quote.remedy not in kinds:
            look.report.fault(
                ("quote", index, "remedy"),
                f'no such way to put "{quote.component}" right is known; found {shown(quote.remedy)}; '
                f"allowed: {listed(kinds)}",
            )
