"""Where each key of a TOML text stands: key path -> line.

tomllib gives data without positions, so this walks the text once more. It relies on tomllib having
accepted the text (TOML 1.0) and therefore checks nothing.
"""

from __future__ import annotations

import bisect
import re
import tomllib
from collections.abc import Iterator, Mapping
from functools import cached_property

KeyPath = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BASIC = re.compile(r'"(?:[^"\\\n]|\\.)*"')
_LITERAL = re.compile(r"'[^'\n]*'")
_LONG_BASIC = re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})', re.DOTALL)
_LONG_LITERAL = re.compile(r"'''.*?'''(?:'{0,2})", re.DOTALL)
_SCALAR = re.compile(r"[^,\]}#\r\n]+")


def key_lines(text: str) -> dict[KeyPath, int]:
    """Line (1-based) of every key, table header and list entry of a valid TOML text.

    Entries of lists are counted from 0: ("work", 1, "component"). For a key met more than once
    (a table opened by several dotted keys) the first line counts.
    """
    return _Walk(text).run()


class LazyLines(Mapping[KeyPath, int]):
    """`key_lines` of a text, walked only when somebody asks: most files are read without a fault."""

    def __init__(self, text: str) -> None:
        self._text = text

    @cached_property
    def _found(self) -> dict[KeyPath, int]:
        return key_lines(self._text)

    def __getitem__(self, path: KeyPath) -> int:
        return self._found[path]

    def __iter__(self) -> Iterator[KeyPath]:
        return iter(self._found)

    def __len__(self) -> int:
        return len(self._found)


class _Walk:
    def __init__(self, text: str) -> None:
        # tomllib reads \r\n as \n; both count the same lines, so the text is left as it is
        self.text = text
        self.at = 0
        self.breaks = [found.start() for found in re.finditer("\n", text)]
        self.lines: dict[KeyPath, int] = {}
        self.entries: dict[KeyPath, int] = {}

    def run(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        self._skip(_BLANK)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip(_BLANK)
        return self.lines

    def _header(self) -> KeyPath:
        several = self.text.startswith("[[", self.at)
        here = self.at
        self.at += 2 if several else 1
        names = self._key()
        self.at += 2 if several else 1
        path: KeyPath = ()
        for depth, name in enumerate(names):
            path += (name,)
            last = depth == len(names) - 1
            if last and several:
                self._mark(path, here)
                self.entries[path] = self.entries.get(path, -1) + 1
            if path in self.entries:
                path += (self.entries[path],)
            self._mark(path, here)
        return path

    def _pair(self, table: KeyPath) -> None:
        here = self.at
        path = table
        for name in self._key():
            path += (name,)
            self._mark(path, here)
        self.at += 1  # the equals sign
        self._skip(_SPACE)
        self._value(path)

    def _key(self) -> list[str]:
        names = []
        while True:
            self._skip(_SPACE)
            first = self.text[self.at]
            if first in "\"'":
                quoted = self._take(_BASIC if first == '"' else _LITERAL)
                names.append(str(tomllib.loads(f"k = {quoted}")["k"]) if first == '"' else quoted[1:-1])
            else:
                names.append(self._take(_BARE_KEY))
            self._skip(_SPACE)
            if self.text[self.at] != ".":
                return names
            self.at += 1

    def _value(self, path: KeyPath) -> None:
        first = self.text[self.at]
        if first == "[":
            self._list(path)
        elif first == "{":
            self._inline_table(path)
        elif self.text.startswith('"""', self.at):
            self._take(_LONG_BASIC)
        elif self.text.startswith("'''", self.at):
            self._take(_LONG_LITERAL)
        elif first == '"':
            self._take(_BASIC)
        elif first == "'":
            self._take(_LITERAL)
        else:
            self._take(_SCALAR)

    def _list(self, path: KeyPath) -> None:
        self.at += 1
        entry = 0
        self._skip(_BLANK)
        while self.text[self.at] != "]":
            self._mark((*path, entry), self.at)
            self._value((*path, entry))
            entry += 1
            self._skip(_BLANK)
            if self.text[self.at] == ",":
                self.at += 1
                self._skip(_BLANK)
        self.at += 1

    def _inline_table(self, path: KeyPath) -> None:
        self.at += 1
        self._skip(_BLANK)
        while self.text[self.at] != "}":
            self._pair(path)
            self._skip(_BLANK)
            if self.text[self.at] == ",":
                self.at += 1
                self._skip(_BLANK)
        self.at += 1

    def _mark(self, path: KeyPath, offset: int) -> None:
        if path not in self.lines:
            self.lines[path] = bisect.bisect_left(self.breaks, offset) + 1

    def _skip(self, pattern: re.Pattern[str]) -> None:
        found = pattern.match(self.text, self.at)
        if found is not None:
            self.at = found.end()

    def _take(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        if found is None:
            raise ValueError(f"not TOML (at line {bisect.bisect_left(self.breaks, self.at) + 1}, column 1)")
        self.at = found.end()
        return found.group()
