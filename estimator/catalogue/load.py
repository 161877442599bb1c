"""Reading the catalogue: a folder of TOML files, perhaps with a user's own folder laid over it."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from itertools import product
from pathlib import Path
from types import MappingProxyType
from typing import Any

from estimator.catalogue.expressions import Expression, parse_expression, probability
from estimator.catalogue.records import (
    AccessStep,
    Caution,
    Check,
    Component,
    Group,
    Kit,
    Source,
    Tool,
    Trait,
)
from estimator.catalogue.settings import Evidence, ExposureRates, Prices, Settings
from estimator.files import Document, InputError, Problem, check_model, read_toml

PACKAGE = Path(__file__).resolve().parent.parent
TABLES = {
    "component": ("components", Component),
    "check": ("checks", Check),
    "step": ("steps", AccessStep),
    "group": ("groups", Group),
    "trait": ("traits", Trait),
    "kit": ("kits", Kit),
    "tool": ("tools", Tool),
    "caution": ("cautions", Caution),
    "source": ("sources", Source),
}
SETTINGS: dict[str, tuple[str, type]] = {
    "prices.toml": ("prices", Prices),
    "evidence.toml": ("evidence", Evidence),
    "exposure.toml": ("exposure", ExposureRates),
}


def data_folder() -> Path:
    """Where the catalogue lies: beside the package in a checkout, inside it in an installed wheel."""
    inside = PACKAGE / "_data"
    return inside if inside.is_dir() else PACKAGE.parent / "data"


@dataclass(frozen=True)
class Catalogue:
    """The trade's knowledge: every mapping is id -> record, in file order."""

    components: Mapping[str, Component]
    checks: Mapping[str, Check]
    steps: Mapping[str, AccessStep]
    groups: Mapping[str, Group]
    traits: Mapping[str, Trait]
    kits: Mapping[str, Kit]
    tools: Mapping[str, Tool]
    cautions: Mapping[str, Caution]
    sources: Mapping[str, Source]
    settings: Settings
    folders: tuple[str, ...] = ()
    home: Mapping[str, str] = field(default_factory=dict)  # "component id" -> file it stands in

    @cached_property
    def members(self) -> Mapping[str, tuple[str, ...]]:
        """Traits of each group."""
        found: dict[str, list[str]] = {group: [] for group in self.groups}
        for trait in self.traits.values():
            found.setdefault(trait.group, []).append(trait.id)
        return {group: tuple(ids) for group, ids in found.items()}

    @cached_property
    def expressions(self) -> Mapping[str, Expression]:
        """Parsed `when` of every component."""
        return {c.id: parse_expression(c.when) for c in self.components.values()}

    def complete_traits(self, traits: frozenset[str]) -> frozenset[str]:
        """The named traits and the else-member of every group that has one and has no member named."""
        named = set(traits)
        for group in self.groups.values():
            if group.otherwise and not named & set(self.members[group.id]) and self._asked(group, named):
                named.add(group.otherwise)
        if "no-prop-shaft" in self.traits and named & {"front-drive", "rear-engine", "mid-engine"}:
            named.add("no-prop-shaft")
        return frozenset(named)

    def _asked(self, group: Group, named: set[str] | frozenset[str]) -> bool:
        return parse_expression(group.when).holds(frozenset(named))

    def open_groups(self, traits: frozenset[str]) -> tuple[str, ...]:
        """One-of groups that apply to the car and were left unanswered."""
        named = self.complete_traits(traits)
        return tuple(
            g.id
            for g in self.groups.values()
            if g.choose == "one"
            and not g.otherwise
            and not named & set(self.members[g.id])
            and self._asked(g, named)
        )

    def shares(self, group: str, *, year: float, named: frozenset[str]) -> dict[frozenset[str], float]:
        """Possible answers to an open group for cars of that year, impossible ones left out; sums to 1."""
        import numpy as np

        weights: dict[frozenset[str], float] = {}
        for trait_id in self.members[group]:
            trait = self.traits[trait_id]
            share = float(np.interp(year, [y for y, _ in trait.share], [s for _, s in trait.share]))
            clash = bool(set(trait.excludes) & named) or any(
                trait_id in self.traits[t].excludes for t in named if t in self.traits
            )
            if share > 0 and not clash:
                weights[frozenset({trait_id})] = share
        total = sum(weights.values())
        if total == 0:
            return {frozenset(): 1.0}
        return {k: v / total for k, v in weights.items()}

    def has_expression(
        self, expression: Expression, traits: frozenset[str], *, year: float = 1975.0
    ) -> float:
        """Chance that a car with these traits satisfies an expression, open groups mixed by their shares."""
        named = self.complete_traits(traits)
        unknown = [self.shares(g, year=year, named=named) for g in self.open_groups(traits)]
        return probability(expression, named=named, unknown=unknown)

    def has(self, component: str, traits: frozenset[str], year: float | None = None) -> float:
        """Chance (0 impossible, 1 certain) that a car of that build, and year if given, has the component."""
        record = self.components[component]
        if year is not None and record.built and not record.built[0] <= year <= record.built[1] + 0.999:
            return 0.0
        return self.has_expression(self.expressions[component], traits, year=year or 1975.0)


def _documents(folder: Path) -> Iterator[Document]:
    for path in sorted(folder.rglob("*.toml")):
        if "examples" not in path.relative_to(folder).parts:
            yield read_toml(path, max_bytes=5_000_000)


def _merge(base: Any, over: Any) -> Any:
    if isinstance(base, dict) and isinstance(over, dict):
        return {**base, **{k: _merge(base.get(k), v) for k, v in over.items()}}
    return over


def _records(document: Document, found: dict[str, dict[str, Any]], home: dict[str, str]) -> list[Problem]:
    shared = {k: v for k, v in document.data.items() if k in ("system", "station")}
    data = {
        table: [{**shared, **row} for row in rows] if isinstance(rows, list) else rows
        for table, rows in document.data.items()
        if table not in shared
    }
    patched = replace(document, data=data)
    problems: list[Problem] = []
    seen_here: set[tuple[str, str]] = set()
    for table, rows in data.items():
        if table not in TABLES or not isinstance(rows, list):
            allowed = ", ".join(f"[[{t}]]" for t in TABLES)
            problems.append(document.problem((table,), f"unknown table; allowed are {allowed}"))
            continue
        attribute, model = TABLES[table]
        for index in range(len(rows)):
            record, faults = check_model(patched, model, prefix=(table, index))
            if record is None:
                problems.extend(faults)
                continue
            if (table, record.id) in seen_here:
                problems.append(document.problem((table, index, "id"), f"{record.id!r} stands here twice"))
            seen_here.add((table, record.id))
            found[attribute][record.id] = record
            home[f"{table} {record.id}"] = document.path
    return problems


def load_catalogue(overlay: str | os.PathLike[str] | None = None) -> Catalogue:
    """The catalogue that ships with the program, with a user's own folder laid over it if given.

    In the user's folder an entry with an id of ours replaces ours, a new id adds an entry, and
    prices.toml, evidence.toml and exposure.toml override single keys.

    Raises
    ------
    InputError
        Naming file, line and key of everything that is wrong in either folder.
    """
    return _load(None if overlay is None else os.fspath(overlay))


@lru_cache(maxsize=4)
def _load(overlay: str | None) -> Catalogue:
    folders = [data_folder()]
    if overlay is not None:
        path = Path(overlay)
        if not path.is_dir():
            raise InputError(
                (Problem(overlay, None, "", "is not a folder; --catalogue takes a folder of TOML files"),)
            )
        folders.append(path)
    found: dict[str, dict[str, Any]] = {attribute: {} for attribute, _ in TABLES.values()}
    settings: dict[str, Any] = {}
    documents: dict[str, Document] = {}
    home: dict[str, str] = {}
    problems: list[Problem] = []
    for folder in folders:
        for document in _documents(folder):
            name = Path(document.path).name
            if name in SETTINGS:
                settings[name] = _merge(settings.get(name), document.data)
                documents[name] = document
            else:
                problems.extend(_records(document, found, home))
    parts: dict[str, Any] = {}
    for name, (attribute, model) in SETTINGS.items():
        made, faults = check_model(replace(documents[name], data=settings[name]), model)
        parts[attribute] = made
        problems.extend(faults)
    if problems:
        raise InputError(tuple(problems))
    return Catalogue(
        **{attribute: MappingProxyType(records) for attribute, records in found.items()},
        settings=Settings.model_construct(**parts),
        folders=tuple(str(f) for f in folders),
        home=MappingProxyType(home),
    )


def possible_builds(
    catalogue: Catalogue, groups: tuple[str, ...], *, year: float
) -> Iterator[frozenset[str]]:
    """Every combination of answers to some one-of groups possible in that year (for checks and tests)."""
    options = [list(catalogue.shares(g, year=year, named=frozenset())) for g in groups]
    for combination in product(*options):
        traits = frozenset().union(*combination)
        if not any(set(catalogue.traits[t].excludes) & traits for t in traits):
            yield traits
