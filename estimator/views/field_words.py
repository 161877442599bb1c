"""What is wrong with an entry, in the words of the screen: labels of fields for keys of the file, no file, no line.

Messages are written for the file, where a key is what is looked for. On a page it is the label beside the field, and
what a sentence about the file would have one write there is chosen or typed.
"""

from __future__ import annotations

import re
from typing import Any

from estimator.case import Case
from estimator.files import InputError, KeyPath, Problem
from estimator.views import words

# Lists of the case: what a page calls each.
TITLES = {
    "work": "Work done",
    "reading": "Odometer",
    "test": "Tests",
    "lived": "How it was kept",
    "coverage": "Papers complete",
    "odometer_replaced": "Odometer replaced",
    "finding": "Inspection",
    "quote": "A price somebody quotes",
    "spare": "Spares",
}
# Labels by table and key, as they stand beside the fields (without the unit or currency behind them).
LABELS: dict[str, dict[str, str]] = {
    "car": {
        "name": "What you call it",
        "built": "First registered or built",
        "viewed": "Day you saw it",
        "viewer": "Looked at by",
        "odometer": "Odometer shows",
        "unit": "Distances in",
        "odometer_digits": "Whole figures on the odometer, tenths not counted",
        "runs": "The engine runs",
        "road_legal": "It may be driven on the road today",
        "traits": "How it is built",
        "storage": "Where it has stood, most of its life",
        "climate": "Climate",
        "use": "Use",
        "care": "Care it has had, as you judge it",
        "parts": "Parts for it are",
        "sale": "Sold by",
        "reason": "Why it is for sale, as far as known",
        "note": "Note",
    },
    "money": {
        "currency": "Currency",
        "asking": "Asking price",
        "budget": "Budget for purchase and first year together",
        "confidence": "How sure the budget is to hold, per cent",
        "sound_example": "What a good example sells for",
        "value_means": "Such a good one has",
        "labour_rate": "An hour in a workshop, before tax",
        "tax": "Tax on parts and labour, per cent",
        "annual_distance": "You plan to drive in a year",
        "own_hours_per_month": "Hours a month you would work on it yourself",
        "own_skill": "Your skill: 0 none, 1 handy, 2 experienced, 3 rebuilds gearboxes",
        "horizon": "A repair must last at least, years",
        "max_wait": "You would wait for a part at most, months",
        "monthly": "You can spend in a month",
        "risk_tolerance": "Largest even bet you would take: win this sum or lose half of it",
    },
    "bought": {"date": "When", "price": "What was paid"},
    "work": {
        "date": "When",
        "component": "Part",
        "kit": "Kit",
        "depth": "How far it went",
        "what": "What was done",
        "fitted": "What was fitted",
        "moulded": "Year its rubber was moulded",
        "evidence": "How it is known",
        "by": "Done by",
        "side": "Side",
        "odometer": "Odometer then",
        "price": "What it cost then",
        "note": "Note",
    },
    "reading": {"date": "When", "odometer": "Odometer showed", "note": "Note"},
    "test": {
        "date": "When",
        "result": "Result",
        "components": "Parts it advised on or refused for",
        "odometer": "Odometer then",
        "note": "Note",
    },
    "lived": {
        "from": "From",
        "to": "To",
        "use": "Use",
        "storage": "Where it stood",
        "climate": "Climate",
        "note": "Note",
    },
    "coverage": {
        "from": "From",
        "to": "To",
        "completeness": "Of all that was done, the papers hold, per cent",
        "own_work": "The owner's own work is written down too",
        "note": "Note",
    },
    "odometer_replaced": {
        "date": "When",
        "old": "The old one last showed",
        "new": "The new one started at",
        "note": "Note",
    },
    "quote": {
        "component": "Part",
        "remedy": "Way to put it right",
        "price": "Price, tax included",
        "covers": "It covers",
    },
}
PER_CENT = {("money", "confidence"), ("money", "tax"), ("coverage", "completeness")}

_TABLES = "|".join([*LABELS, *(table for table in TITLES if table not in LABELS)])
_KEY = re.compile(rf"\b({_TABLES})(?:\[(\d+)\])?\.([a-z_]+)\b")
_ENTRY = re.compile(rf"\b({'|'.join(TITLES)})\[(\d+)\]")
_HEAD = re.compile(rf"(?:.+?: )??(?:line \d+, )?({_TABLES})(?:\[(\d+)\])?(?:\.([a-z_]+)(?:\[\d+\])?)?: ")
_FILE_WORDS = (  # what a message says to do in the file -> what is done on the page
    (r"After buying, add \[bought\] \([^)]*\)", "After buying, write the purchase down first (The first year)"),
    (r"\(on the command line --history\)", "(the switch for a paper of the time before)"),
    (r"must be a date written 1998-06-11(?: \(or a bare year, 1998\))?(?:, without [^;]*)?",
     "must be a day written 1998-06-11, a month written 1998-06 or a year"),
    (r", without quotes", ""),
    (r"\bbought\.as_of\b", "the day everything is worked out as of"),
    (r" \(or \w+ = \[[^)]*\)", ""),
    (r", \[low, likely, high\]", ": low, likely and high"),
)  # fmt: skip


def spoken(said: InputError | Problem, case: Case | None = None) -> str:
    """A message, or several with a blank line between, as a page says it.

    case : the car as it stands, by which entries of its lists are named; those it does not have yet are only theirs
    who write them.
    """
    problems = said.problems if isinstance(said, InputError) else (said,)
    return "\n\n".join(_spoken(problem, case) for problem in problems)


def doubt_in_words(warning: str, case: Case | None = None) -> str:
    """A warning of a result, as text: label and entry in place of the file, the line and the key it may begin with."""
    head = _HEAD.match(warning)
    if head is None:
        return in_words(warning, case)
    table, number, key = head.groups()
    path: KeyPath = (table, *(() if number is None else (int(number) - 1,)), *(() if key is None else (key,)))
    return _spoken(Problem("", None, table, warning[head.end() :], path), case)


def label(path: KeyPath) -> str:
    """What a page calls a key: its label, or where it has none the key in plain letters."""
    table, key = str(path[0]), next((str(part) for part in path[1:] if isinstance(part, str)), "")
    if not key:
        return TITLES.get(table, table)
    return LABELS.get(table, {}).get(key, key.replace("_", " "))


def _spoken(problem: Problem, case: Case | None) -> str:
    path, text = problem.path, problem.text
    if not path:
        key = _KEY.fullmatch(problem.key)
        head_only = label((key[1], key[3])) if key else problem.key.replace("-", " ")
        return ": ".join(filter(None, (head_only, in_words(text, case))))
    listed = len(path) > 1 and isinstance(path[1], int) and path[0] in TITLES
    if path[0] == "bought" and len(path) > 1:
        return f"The purchase: {label(path)}: {in_words(text, case)}"
    head = [_entry(str(path[0]), int(path[1]), case) or _to_be(problem)] if listed else []
    if len(path) > len(head) + 1 or not head:
        head.append(label(path))
    text = re.sub(r"`(\w+)`", lambda found: f"\u201c{label((path[0], found[1]))}\u201d", text)
    if (path[0], path[-1]) in PER_CENT:
        text = _in_hundreds(text)
    return ": ".join([*filter(None, head), in_words(text, case)])


def _entry(table: str, index: int, case: Case | None) -> str:
    """An entry as the list on the page shows it: its day and what it is about; empty for one that is not kept yet."""
    entries = () if case is None else getattr(case, table)
    if index >= len(entries):
        return ""
    entry = entries[index]
    when = f"{words.day(entry.start)} to {words.day(entry.end)}" if hasattr(entry, "start") else entry.date
    about = next((getattr(entry, k) for k in ("component", "kit", "check") if getattr(entry, k, None)), "")
    told = when if isinstance(when, str) else words.day(when) if when is not None else ""
    return ", ".join(filter(None, (TITLES[table], told, about.replace("-", " "))))


def _to_be(problem: Problem) -> str:
    """What an entry that is not kept yet is about, where the message says it in place of the key."""
    own = not problem.key.startswith(str(problem.path[0]))
    return problem.key.partition(",")[0].replace("-", " ") if own else ""


def in_words(text: str, case: Case | None = None) -> str:
    """A sentence with labels in place of keys and entries in place of their numbers."""
    for pattern, instead in _FILE_WORDS:
        text = re.sub(pattern, instead, text)
    text = _KEY.sub(lambda found: f"\u201c{label((found[1], found[3]))}\u201d", text)
    return _ENTRY.sub(lambda found: _entry(found[1], int(found[2]) - 1, case) or TITLES[found[1]], text)


def _in_hundreds(text: str) -> str:
    """A share as the page asks for it: "must be 1 or less; found 9" -> "must be 100 or less; found 900"."""
    bare = re.sub(r" \(is .*\)$", "", text)
    return re.sub(r"(?<![\w.-])-?\d+(?:\.\d+)?(?![\w-])", lambda found: _times_100(found[0]), bare)


def _times_100(figure: str) -> str:
    return f"{float(figure) * 100:.6g}"


def changes(found: list[tuple[KeyPath, Any, Any]]) -> list[str]:
    """Where two states of a car differ, a line each: (key, what it says here, what it says there)."""
    return [_change(*one) for one in found]


def _change(path: KeyPath, here: Any, there: Any) -> str:
    if len(path) == 1:
        return f"{label(path)}: {_entries(here)} only here, {_entries(there)} only there"
    return f"{label(path)}: {_value(path, here)} here, {_value(path, there)} there"


def _entries(count: int) -> str:
    return words.plural(count, "entry", "entries")


def _value(path: KeyPath, value: Any) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if path[-1] == "traits":
        return ", ".join(str(one).replace("-", " ") for one in value) or "nothing"
    if isinstance(value, list | tuple):
        return ", ".join(_value(path, one) for one in value) or "nothing"
    if isinstance(value, int | float):
        return f"{value * 100:,.10g}" if tuple(path) in PER_CENT else f"{value:,.10g}"
    if hasattr(value, "isoformat"):
        return words.day(value)
    return words.CHOICES.get(str(path[-1]), {}).get(str(value), str(value))
