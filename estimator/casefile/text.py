"""A case as TOML text: written afresh, or edited with every comment left where it stands."""

from __future__ import annotations

import datetime
import difflib
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Table

from estimator.casefile.records import LISTS, TABLES, defaults
from estimator.files import InputError, KeyPath, Problem, key_text, parse_toml, shown

ADD = "+"


def dump_data(data: Mapping[str, Any]) -> str:
    """Plain data in the shape of a case file as TOML: scalars, then tables, then lists of tables."""
    blocks = ["".join(f"{key} = {toml_value(one)}\n" for key, one in data.items() if _is_plain(one))]
    for name, value in data.items():
        if isinstance(value, Mapping):
            blocks.append(f"[{name}]\n{_pairs(value)}")
        elif not _is_plain(value):
            blocks.extend(f"[[{name}]]\n{_pairs(entry)}" for entry in value)
    return "\n".join(block for block in blocks if block)


def _is_plain(value: Any) -> bool:
    tables = isinstance(value, list) and bool(value) and isinstance(value[0], Mapping)
    return not isinstance(value, Mapping) and not tables


def _pairs(table: Mapping[str, Any]) -> str:
    return "".join(f"{key} = {toml_value(value)}\n" for key, value in table.items())


def toml_value(value: Any) -> str:
    """One value as TOML. Whole floats are written as whole numbers, others so that they read back exactly."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(one) for one in value) + "]"
    return _quoted(str(value))


_SHORT = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r", "\b": "\\b", "\f": "\\f"}


def _quoted(text: str) -> str:
    """Text as a TOML basic string: quotation mark, backslash and control characters escaped."""
    return '"' + "".join(_SHORT.get(c) or (f"\\u{ord(c):04x}" if _control(c) else c) for c in text) + '"'


def _control(character: str) -> bool:
    return ord(character) < 0x20 or ord(character) == 0x7F


def edit_text(
    text: str, change: Mapping[Any, Any] | Sequence[tuple[KeyPath, Any]], *, name: str = "case"
) -> str:
    """`text` with values by key path changed, in order, or (a mapping with plain keys) made to say `change`."""
    old = parse_toml(text, name).data  # so that wrong TOML is reported in our words
    try:
        document = tomlkit.parse(text)
        if isinstance(change, Mapping) and not all(isinstance(key, tuple) for key in change):
            _become(document, old, change)
        else:
            for path, value in change.items() if isinstance(change, Mapping) else change:
                _set(document, path, value)
        made = tomlkit.dumps(document)
    except (TOMLKitError, KeyError, TypeError, AttributeError) as error:
        raise InputError(Problem(name, None, "", f"the text cannot be edited there ({error})")) from None
    return made if made.endswith("\n") or not text.endswith("\n") else made + "\n"


def _item(value: Any) -> Any:
    if isinstance(value, Mapping):
        table = tomlkit.table()
        for key, one in value.items():
            table.add(key, _item(one))
        return table
    return tomlkit.value(toml_value(value))


def _set(document: Any, path: KeyPath, value: Any) -> None:
    if not path:
        raise InputError(Problem("case", None, "", "a key is wanted, found none"))
    around = document
    for depth, part in enumerate(path[:-1]):
        if isinstance(part, str) and part not in around:
            around.add(part, tomlkit.aot() if path[depth + 1] == ADD else tomlkit.table())
        try:
            around = around[part]
        except IndexError:
            raise InputError(
                Problem("case", None, key_text(path), f"there is no such entry; found {shown(value)}")
            ) from None
    last = path[-1]
    if last == ADD:
        _append(around, _item(value))
    elif value is None:
        _remove(around, last)
    elif isinstance(around, AoT) and isinstance(last, int):
        around[last] = _item(value)
    else:
        _put(around, str(last), value)


def _append(entries: AoT, table: Table) -> None:
    """Add an entry with a blank line before it, also where the text ends without one."""
    table.trivia.indent = "\n"
    entries.append(table)


def _remove(around: Any, key: Any) -> None:
    if isinstance(around, AoT):
        del around[key]
    elif key in around:
        around.remove(key)


def _put(table: Any, key: str, value: Any) -> None:
    """Set one key, its comment kept."""
    item = _item(value)
    if key in table and hasattr(item, "trivia") and not isinstance(value, Mapping):
        before = table.item(key).trivia if hasattr(table, "item") else None
        if before is not None:
            item.trivia.comment_ws, item.trivia.comment = before.comment_ws, before.comment
            item.trivia.trail = before.trail
        table[key] = item
    elif key in table:
        table[key] = item
    else:
        table.add(key, item)


def _become(document: Any, old: Mapping[str, Any], new: Mapping[str, Any]) -> None:
    for key in [key for key in old if key not in new]:
        document.remove(key)
    for key, value in new.items():
        if key in old and _same(old[key], value):
            continue
        if isinstance(value, Mapping) and isinstance(old.get(key), Mapping):
            _become_table(document[key], old[key], value, defaults(TABLES[key]))
        elif not _is_plain(value) and isinstance(document.get(key), AoT):
            _become_list(document[key], old[key], value, defaults(LISTS[key]))
        elif not _is_plain(value) and not isinstance(value, Mapping):
            entries = tomlkit.aot()
            for entry in value:
                _append(entries, _item(entry))
            if key in old:
                document.remove(key)
            document.add(key, entries)
        else:
            _put(document, key, value)


def _become_table(
    table: Any, old: Mapping[str, Any], new: Mapping[str, Any], usual: Mapping[str, Any]
) -> None:
    """usual: the defaults of the table's keys; a default somebody wrote down stays written down."""
    for key in [key for key in old if key not in new]:
        if not _same(old[key], usual.get(key)):
            table.remove(key)
    for key, value in new.items():
        if key not in old or not _same(old[key], value):
            _put(table, key, value)


def _become_list(
    entries: AoT, old: list[dict[str, Any]], new: list[dict[str, Any]], usual: Mapping[str, Any]
) -> None:
    """Entries that stayed the same keep their comments, whatever was put in or taken out around them."""
    before, after = [_meaning(one, usual) for one in old], [_meaning(one, usual) for one in new]
    steps = difflib.SequenceMatcher(None, before, after, autojunk=False).get_opcodes()
    for kind, first, last, start, stop in reversed(steps):
        if kind == "equal":
            continue
        shared = min(last - first, stop - start)
        for offset in range(shared):
            _become_table(entries[first + offset], old[first + offset], new[start + offset], usual)
        for index in range(last - 1, first + shared - 1, -1):
            del entries[index]
        for offset, entry in enumerate(new[start + shared : stop]):
            table = _item(entry)
            table.trivia.indent = "\n"
            if first + shared + offset >= len(entries):
                entries.append(table)
            else:
                entries.insert(first + shared + offset, table)


def _meaning(entry: Mapping[str, Any], usual: Mapping[str, Any]) -> Any:
    """What an entry says: without defaults, bare years as dates."""
    said = {
        key: datetime.date(value, 7, 1) if key in _DATES and type(value) is int else value
        for key, value in entry.items()
        if not _same(value, usual.get(key))
    }
    return _canonical(said)


_DATES = ("date", "from", "to", "moulded")


def _canonical(value: Any) -> Any:
    """Hashable, and equal for values that read the same (1 and 1.0)."""
    if isinstance(value, Mapping):
        return tuple(sorted((key, _canonical(one)) for key, one in value.items()))
    if isinstance(value, list | tuple):
        return tuple(_canonical(one) for one in value)
    return f"{type(value).__name__}:{value!r}" if isinstance(value, bool) else toml_value(value)


def _same(old: Any, new: Any) -> bool:
    if new is None:
        return False
    if type(old) is int and isinstance(new, datetime.date):  # a bare year stays as it was written
        return new in (datetime.date(old, 1, 1), datetime.date(old, 7, 1)) if 1000 <= old <= 9999 else False
    return bool(_canonical(old) == _canonical(new))
