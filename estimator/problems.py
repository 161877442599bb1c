"""Faults in what people wrote: where, what was found, what is allowed; and the words for saying so."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from estimator.toml_lines import KeyPath


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault (or warning) in something a person wrote.

    file: what they would open to mend it; line: 1-based, None where no line applies;
    key: the key as people write it, entries of a list counted from 1 ("work[2].component");
    text: what is wrong, what was found, what is allowed; path: the key as data (counted from 0).
    """

    file: str
    line: int | None
    key: str
    text: str
    path: KeyPath = field(default=(), compare=False)

    def __str__(self) -> str:
        where = [f"line {self.line}"] if self.line is not None else []
        if self.key:
            where.append(self.key)
        return f"{self.file}: {', '.join(where)}: {self.text}" if where else f"{self.file}: {self.text}"


class InputError(Exception):
    """Something a person wrote cannot be used. `problems` says why; str() is one line a problem."""

    def __init__(self, problems: Problem | tuple[Problem, ...] | list[Problem]) -> None:
        found = (problems,) if isinstance(problems, Problem) else tuple(problems)
        if not found:
            raise ValueError("an InputError needs at least one Problem")
        self.problems: tuple[Problem, ...] = found
        super().__init__("\n".join(str(problem) for problem in found))


@dataclass(frozen=True, slots=True)
class Document:
    """A TOML file as read: its name, its data, the line of every key, and its text."""

    path: str
    data: dict[str, Any]
    lines: Mapping[KeyPath, int]
    text: str = field(default="", repr=False)

    def line_of(self, path: KeyPath) -> int | None:
        """Line (1-based) of a key, or of the nearest table around it that stands in the file."""
        for length in range(len(path), 0, -1):
            line = self.lines.get(path[:length])
            if line is not None:
                return line
        return None

    def problem(self, path: KeyPath, text: str) -> Problem:
        """A Problem about one key of this document."""
        return Problem(self.path, self.line_of(path), key_text(path), text, path)


def key_text(path: KeyPath) -> str:
    """("work", 1, "component") -> "work[2].component": as people count, from one."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            plain = re.fullmatch(r"[A-Za-z0-9_-]+", part) is not None
            text += ("." if text else "") + (part if plain else f'"{part}"')
    return text


def nearest(word: object, allowed: Iterable[object], *, cutoff: float = 0.6) -> str | None:
    """The allowed word most like the one given, or None when none is close."""
    words = [str(one) for one in allowed]
    plain = str(word).strip().lower().replace("_", "-").replace(" ", "-")
    folded = {one.lower().replace("_", "-"): one for one in words}
    close = difflib.get_close_matches(plain, folded, n=1, cutoff=cutoff)
    return folded[close[0]] if close else None


def most_alike(word: str, names: Mapping[str, str], *, cutoff: float = 0.45) -> str | None:
    """The key whose words, or those of its name, match the ones given best, or None when none match well.

    names: key -> what people call it. Word by word, so that "timing belt" finds "timing-belt-tensioner-idlers" and not
    "timing-gears"; a word half or wholly written together ("waterpump") is found by its letters.
    """
    asked = _words(word)

    def score(key: str, name: str) -> float:
        own = _words(key)
        return max(_match(asked, own), _match(asked, _words(name)), _same("".join(asked), "".join(own)))

    scored = [(score(key, name), -at, key) for at, (key, name) in enumerate(names.items())]
    best = max(scored, default=(0.0, 0, ""))
    return best[2] if best[0] >= cutoff else None


def _words(text: str) -> tuple[str, ...]:
    """Its words, in small letters, without the s of the plural."""
    found = re.findall(r"[^\W_]+", text.lower())
    return tuple(one.removesuffix("s") if len(one) > 3 else one for one in found if one not in _SMALL)


_SMALL = ("and", "of", "the", "for", "a", "in", "on", "with")


def _match(asked: tuple[str, ...], there: tuple[str, ...]) -> float:
    """0 to 1: share of the words asked that are there, most of it, and of those there that were asked, the rest."""
    if not asked or not there:
        return 0.0
    found = sum(max(_same(one, other) for other in there) for one in asked)
    return 0.8 * found / len(asked) + 0.2 * min(found / len(there), 1.0)


def _same(one: str, other: str) -> float:
    """How much two words are the same: 1, less for a slip in one of them, 0 for others."""
    if one == other:
        return 1.0
    alike = difflib.SequenceMatcher(None, one, other)
    if alike.real_quick_ratio() < _SLIP or alike.quick_ratio() < _SLIP:
        return 0.0
    near = alike.ratio()
    return near if near >= _SLIP else 0.0


_SLIP = 0.75


def shown(value: object, *, width: int = 60) -> str:
    """A value as it would be written in TOML, shortened to `width` characters."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        text = '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'
    elif isinstance(value, Mapping):
        text = "a table with " + (", ".join(str(key) for key in value) or "nothing in it")
    elif isinstance(value, list | tuple):
        text = "[" + ", ".join(shown(one, width=width) for one in value[:20]) + "]"
    elif hasattr(value, "isoformat"):
        text = value.isoformat()
    elif isinstance(value, float):
        text = f"{value:.15g}"
    elif isinstance(value, int) and abs(value) >= 10**18:  # str() of a huge int is refused by Python
        text = "a whole number of more than 18 digits"
    else:
        text = str(value)
    return text if len(text) <= width else text[: width - 1] + "…"


def listed(words: Iterable[object], *, most: int = 12) -> str:
    """Words as a list for a message, cut with a count when there are many."""
    every = [str(word) for word in words]
    more = f" … ({len(every)} in all)" if len(every) > most else ""
    return ", ".join(every[:most]) + more
