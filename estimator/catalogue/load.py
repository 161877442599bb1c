"""Reading the catalogue: a folder of TOML files, perhaps with a user's own folder laid over it."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from estimator.catalogue.builds import Questions
from estimator.catalogue.cache import keep, recall, stamp_of
from estimator.catalogue.expressions import Expression, parse_expression
from estimator.catalogue.records import (
    AccessStep,
    Caution,
    Check,
    Component,
    Group,
    Kit,
    Record,
    Source,
    Tool,
    Trait,
)
from estimator.catalogue.settings import Evidence, ExposureRates, Prices, Settings
from estimator.files import Document, InputError, Problem, check_model, read_toml, shown

MAX_BYTES = 5_000_000
RUNNING, USUAL = "running.toml", "usual.toml"  # read by the modules of these names
PACKAGE = Path(__file__).resolve().parent.parent
TABLES: dict[str, tuple[str, type[Any]]] = {
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
SETTINGS: dict[str, tuple[str, type[Record]]] = {
    "prices.toml": ("prices", Prices),
    "evidence.toml": ("evidence", Evidence),
    "exposure.toml": ("exposure", ExposureRates),
}
Parts = tuple[dict[str, dict[str, Any]], Settings, dict[str, str]]  # records by table, settings, home of each


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
    def questions(self) -> Questions:
        """Groups and traits, to be asked what goes together."""
        return Questions(self.groups, self.traits)

    @property
    def members(self) -> Mapping[str, tuple[str, ...]]:
        """Traits of each group."""
        return self.questions.members

    @cached_property
    def expressions(self) -> Mapping[str, Expression]:
        """Parsed `when` of every component."""
        return {c.id: parse_expression(c.when) for c in self.components.values()}

    def complete_traits(self, traits: frozenset[str]) -> frozenset[str]:
        """The named traits and the else-member of every group that has one and has no member named."""
        return self.questions.complete(traits)

    def open_groups(self, traits: frozenset[str]) -> tuple[str, ...]:
        """One-of groups that apply to the car and were left unanswered."""
        return self.questions.open_groups(traits)

    def shares(self, group: str, *, year: float, named: frozenset[str]) -> dict[frozenset[str], float]:
        """Possible answers to an open group for cars of that year, impossible ones left out; sums to 1."""
        return self.questions.shares(group, year=year, named=named)

    def has_expression(
        self, expression: Expression, traits: frozenset[str], *, year: float = 1975.0
    ) -> float:
        """Chance that a car with these traits satisfies an expression, open groups mixed by their shares."""
        return self.questions.chance(expression, traits, year=year)

    def has(self, component: str, traits: frozenset[str], year: float | None = None) -> float:
        """Chance (0 impossible, 1 certain) that a car of that build, and year if given, has the component."""
        record = self.components[component]
        if year is not None and record.built and not record.built[0] <= year <= record.built[1] + 0.999:
            return 0.0
        return self.has_expression(self.expressions[component], traits, year=year or 1975.0)


def _files(folder: Path) -> list[Path]:
    """The catalogue's files in a folder, in order; example cases and what others read are none."""
    found = [p for p in sorted(folder.rglob("*.toml")) if "examples" not in p.relative_to(folder).parts]
    return [p for p in found if p.name not in (RUNNING, USUAL)]


def _merge(base: Any, over: Any) -> Any:
    if isinstance(base, dict) and isinstance(over, dict):
        return {**base, **{k: _merge(base.get(k), v) for k, v in over.items()}}
    return over


@dataclass
class _Read:
    """What has been read so far: records by table, settings by file name, and everything wrong."""

    records: dict[str, dict[str, Any]] = field(default_factory=lambda: {a: {} for a, _ in TABLES.values()})
    settings: dict[str, Document] = field(default_factory=dict)
    home: dict[str, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def folder(self, folder: Path) -> None:
        """Read one folder over what stands already; within it nothing may stand twice."""
        places: dict[tuple[str, str], str] = {}
        for path in _files(folder):
            document = read_toml(path, max_bytes=MAX_BYTES)
            if path.name in SETTINGS:
                below = self.settings.get(path.name)
                merged = _merge(below.data, document.data) if below else document.data
                self.settings[path.name] = replace(document, data=merged)
            else:
                self._tables(document, places)

    def _tables(self, document: Document, places: dict[tuple[str, str], str]) -> None:
        shared = {k: v for k, v in document.data.items() if k in ("system", "station")}
        data = {
            table: [{**shared, **row} if isinstance(row, dict) else row for row in rows]
            if isinstance(rows, list)
            else rows
            for table, rows in document.data.items()
            if table not in shared
        }
        patched = replace(document, data=data)
        for table, rows in data.items():
            if table not in TABLES or not isinstance(rows, list):
                allowed = ", ".join(f"[[{t}]]" for t in TABLES)
                self.problems.append(document.problem((table,), f"unknown table; allowed are {allowed}"))
                continue
            for index in range(len(rows)):
                self._row(patched, table, index, places)

    def _row(self, document: Document, table: str, index: int, places: dict[tuple[str, str], str]) -> None:
        attribute, model = TABLES[table]
        record, faults = check_model(document, model, prefix=(table, index))
        if record is None:
            self.problems.extend(faults)
            return
        identifier: str = record.id
        first = places.setdefault((table, identifier), document.path)
        if identifier in self.records[attribute] and self.home[f"{table} {identifier}"] == first:
            where = "in this file" if first == document.path else f"in {first}"
            text = f"{shown(identifier)} stands twice: already {where}; an id may stand once in a folder"
            self.problems.append(document.problem((table, index, "id"), text))
        self.records[attribute][identifier] = record
        self.home[f"{table} {identifier}"] = document.path


def load_catalogue(overlay: str | os.PathLike[str] | None = None) -> Catalogue:
    """The catalogue that ships with the program, with a user's own folder laid over it if given.

    In the user's folder an entry with an id of ours replaces ours, a new id adds an entry, and
    prices.toml, evidence.toml and exposure.toml override single keys.

    Raises
    ------
    InputError
        Naming file, line and key of everything that is wrong in either folder.
    """
    folders = [data_folder()]
    if overlay is not None:
        folders.append(_own_folder(os.fspath(overlay)))
    stamp = stamp_of([(folder, _files(folder)) for folder in folders])
    return _load(tuple(folders), stamp)


def _own_folder(name: str) -> Path:
    if not Path(name).is_dir():
        text = "is not a folder; --catalogue takes a folder of TOML files"
        raise InputError(Problem(name, None, "", text))
    return Path(name)


@lru_cache(maxsize=4)
def _load(folders: tuple[Path, ...], stamp: str) -> Catalogue:
    parts = recall(stamp)
    if parts is None:
        parts = _parts(folders)
        keep(stamp, parts)
    return _catalogue(folders, parts)


def read_catalogue(*folders: str | os.PathLike[str]) -> Catalogue:
    """The catalogue of these folders, each laid over those before it; ours is not under them.

    Raises InputError like `load_catalogue`. Nothing is kept for the next time.
    """
    paths = tuple(_own_folder(os.fspath(folder)) for folder in folders)
    return _catalogue(paths, _parts(paths))


def _catalogue(folders: tuple[Path, ...], parts: Parts) -> Catalogue:
    records, settings, home = parts
    return Catalogue(
        **{attribute: MappingProxyType(rows) for attribute, rows in records.items()},
        settings=settings,
        folders=tuple(str(f) for f in folders),
        home=MappingProxyType(home),
    )


def _parts(folders: tuple[Path, ...]) -> Parts:
    read = _Read()
    for folder in folders:
        read.folder(folder)
    settings: dict[str, Any] = {}
    for name, (attribute, model) in SETTINGS.items():
        if name not in read.settings:
            read.problems.append(Problem(str(folders[0] / name), None, "", "this file is missing"))
            continue
        settings[attribute], faults = check_model(read.settings[name], model)
        read.problems.extend(faults)
    if read.problems:
        raise InputError(read.problems)
    return read.records, Settings.model_construct(**settings), read.home
