"""Whether a catalogue hangs together: references, possible builds, orphans, figures that make sense.

`load_catalogue` refuses records that cannot be read; what it lets through can still be wrong as a whole,
and is named here, all of it at once, with file and id.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from estimator.catalogue import verify_figures, verify_reach, verify_references
from estimator.catalogue.load import Catalogue
from estimator.catalogue.reference import AGE_YEARS, TRAITS, reference

PAPERS = "papers-and-questions"


@dataclass(frozen=True)
class Report:
    """What a catalogue holds and what is wrong with it.

    counts: records by kind; `checks` are those at the car, `papers` those of the station papers and
    questions, `comfort` the components among `components` that are renewed for comfort and looks only.
    problems: to be mended; empty in a sound catalogue. notes: worth a look, allowed.
    """

    counts: dict[str, int]
    problems: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def clean(self) -> bool:
        return not self.problems


def verify(catalogue: Catalogue) -> Report:
    """Everything that is wrong with a catalogue as a whole."""
    references = tuple(verify_references.problems(catalogue))
    problems = [*references, *verify_figures.problems(catalogue)]
    if not references:  # who reaches whom can only be said when every name means something
        problems += verify_reach.problems(catalogue)
    notes = [*_notes(catalogue), *(() if references else _reference(catalogue))]
    return Report(count(catalogue), tuple(problems), tuple(notes))


def count(catalogue: Catalogue) -> dict[str, int]:
    """Records by kind."""
    papers = sum(check.station == PAPERS for check in catalogue.checks.values())
    return {
        "components": len(catalogue.components),
        "comfort": sum(c.need == "comfort" for c in catalogue.components.values()),
        "checks": len(catalogue.checks) - papers,
        "papers": papers,
        "access_steps": len(catalogue.steps),
        "traits": len(catalogue.traits),
        "remedies": sum(len(c.remedy) for c in catalogue.components.values()),
        "kits": len(catalogue.kits),
        "tools": len(catalogue.tools),
        "cautions": len(catalogue.cautions),
        "sources": len(catalogue.sources),
    }


def _notes(catalogue: Catalogue) -> Iterator[str]:
    components = catalogue.components.values()
    if components:
        remedies = sum(len(c.remedy) for c in components) / len(components)
        single = sum(len(c.remedy) == 1 for c in components)
        yield f"{remedies:.2f} remedies a component; {single} components have one only"
    yield from verify_references.unused(catalogue)
    yield from verify_figures.wide(catalogue)


def _reference(catalogue: Catalogue) -> Iterator[str]:
    """What a reference car would spend and put off: to be believed or not."""
    if not set(catalogue.traits) >= TRAITS:
        return
    found = reference(catalogue)
    base = catalogue.settings.prices.base
    dearest = ", ".join(f"{part} {amount:,.0f}" for part, amount in found.dearest[:5])
    car = f"{found.parts} parts, {AGE_YEARS:g} years, {found.annual_km:,.0f} km a year, ordinary care"
    spend, waiting = f"{found.yearly_spend:,.0f} {base}", f"{found.backlog:,.0f} {base}"
    yield (
        f"reference car ({car}): renewals of {spend} a year with tax, every part done for itself; work waits "
        f"{found.deferral_years:.1f} years on average, so {waiting} are waiting at any time (most: {dearest})"
    )
    each = ", ".join(f"{system} {spend:,.0f} / {waits:,.0f}" for system, spend, waits in found.by_system)
    yield f"reference car, {base} a year / waiting, by system: {each}"
