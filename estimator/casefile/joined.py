"""Documents that were not typed as TOML, and documents put together from several: messages name the right one."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from estimator.files import Document, KeyPath, Problem


@dataclass(frozen=True, slots=True)
class Cells(Document):
    """A document whose values stood in cells, where nothing is written in quotes."""

    def problem(self, path: KeyPath, text: str) -> Problem:
        """A Problem about one value."""
        bare = text.replace(", without quotes or a time", ", without a time").replace(", without quotes", "")
        return Document.problem(self, path, bare)


class OneRow(dict[KeyPath, int]):
    """Lines of a document that stands on one row: every key is on it."""

    def __init__(self, line: int) -> None:
        super().__init__()
        self.line = line

    def get(self, key: Any, default: Any = None) -> Any:
        """The row's line, whatever the key."""
        return self.line


@dataclass(frozen=True, slots=True)
class Joined(Document):
    """A document with entries of others added. first: the one they were added to; others: (table, index) here -> the
    document an entry comes from and its index there.
    """

    first: Document | None = None
    others: Mapping[KeyPath, tuple[Document, int]] = field(default_factory=dict)

    def line_of(self, path: KeyPath) -> int | None:
        """Line in the document that the key comes from."""
        home, there = self._home(path)
        return home.line_of(there)

    def problem(self, path: KeyPath, text: str) -> Problem:
        """A Problem that names the document the key comes from."""
        home, there = self._home(path)
        return dataclasses.replace(home.problem(there, text), path=path)

    def _home(self, path: KeyPath) -> tuple[Document, KeyPath]:
        found = self.others.get(path[:2])
        if found is None:
            return self.first or Document(self.path, self.data, self.lines, self.text), path
        return found[0], (path[0], found[1], *path[2:])


def joined(first: Document, *more: Document) -> Document:
    """`first` with the lists of tables of the others appended to its own."""
    if not more:
        return first
    data = dict(first.data)
    others: dict[KeyPath, tuple[Document, int]] = {}
    for document in more:
        for table, entries in document.data.items():
            before = data.get(table, [])
            if not isinstance(before, list):  # said when the whole is read
                continue
            for index in range(len(entries)):
                others[(table, len(before) + index)] = (document, index)
            data[table] = [*before, *entries]
    return Joined(first.path, data, first.lines, first.text, first, others)
