"""From a TOML document to a pydantic model, with every fault in our own words.

pydantic finds all the faults; the wording, the line, the nearest known key and the echo of what was
found are ours. Use it through `estimator.files`.
"""

from __future__ import annotations

import datetime
import functools
import math
import types
import typing
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, TypeVar

import pydantic

from estimator.problems import Document, InputError, Problem, listed, nearest, shown
from estimator.toml_lines import KeyPath

# Strict, so that "1971", true and 3.0 are not quietly taken for a number, one and three.
Number = Annotated[float, pydantic.Strict(), pydantic.AllowInfNan(False)]
Whole = Annotated[int, pydantic.Strict()]
Text = Annotated[str, pydantic.Strict()]
Flag = Annotated[bool, pydantic.Strict()]
Day = Annotated[datetime.date, pydantic.Strict()]

Model = TypeVar("Model")  # a pydantic model or a pydantic dataclass


class Record(pydantic.BaseModel):
    """Base for models of what people write: unknown keys are faults, records are frozen."""

    model_config = pydantic.ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


def validate(document: Document, model: type[Model], *, prefix: KeyPath = ()) -> Model:
    """The part of `document` under `prefix` as `model`; raises InputError with every fault in it."""
    made, problems = check_model(document, model, prefix=prefix)
    if made is None:
        raise InputError(problems)
    return made


def check_model(
    document: Document, model: type[Model], *, prefix: KeyPath = ()
) -> tuple[Model | None, tuple[Problem, ...]]:
    """Like `validate`, but returns (model, ()) or (None, problems): for gathering over many files."""
    data: Any = document.data
    for part in prefix:
        data = data[part]
    not_finite = dict(_not_finite(data))
    found = {path: [_NOT_FINITE.format(shown(value))] for path, value in not_finite.items()}
    made: Model | None = None
    try:
        made = pydantic.TypeAdapter(model).validate_python(data)
    except pydantic.ValidationError as error:
        for fault in error.errors(include_url=False):
            path = _path_in_data(fault, data)
            if path in not_finite:
                continue
            text = _words(fault, model, path, data)
            if text not in found.setdefault(path, []):
                found[path].append(text)
    if not found:
        return made, ()
    problems = [
        document.problem((*prefix, *path), " or, where several forms are allowed: ".join(texts))
        for path, texts in found.items()
    ]
    return None, tuple(sorted(problems, key=lambda one: (one.line or 0, one.key)))


_NOT_FINITE = "must be an ordinary number; found {}; not-a-number and infinity are not allowed"


def _not_finite(data: object, path: KeyPath = ()) -> Iterator[tuple[KeyPath, float]]:
    if isinstance(data, float) and not math.isfinite(data):
        yield path, data
    elif isinstance(data, Mapping):
        for key, value in data.items():
            yield from _not_finite(value, (*path, str(key)))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            yield from _not_finite(value, (*path, index))


def _path_in_data(fault: Mapping[str, Any], data: Any) -> KeyPath:
    """pydantic's location without the names of union members, which are no keys of the file."""
    path: KeyPath = ()
    steps = fault["loc"]
    for depth, part in enumerate(steps):
        last = depth == len(steps) - 1
        inside = (isinstance(data, Mapping) and part in data) or (
            isinstance(data, list) and isinstance(part, int) and part < len(data)
        )
        if inside:
            data = data[part]
            path += (part,)
        elif last and fault["type"].startswith("missing"):
            path += (part,)
    return path


def _words(fault: Mapping[str, Any], model: type, path: KeyPath, data: Any) -> str:
    kind, context = fault["type"], fault.get("ctx", {})
    if kind in ("missing", "missing_keyword_only_argument"):
        return _missing(path, data)
    found = shown(fault["input"])
    if kind in ("extra_forbidden", "unexpected_keyword_argument"):
        return _unknown_key(model, path, found)
    if kind in ("literal_error", "enum"):
        return _unknown_word(fault["input"], str(context.get("expected", "")))
    if kind in ("value_error", "assertion_error"):
        reason = str(context.get("error", fault["msg"]))
        return reason if isinstance(fault["input"], Mapping) else f"{reason}; found {found}"
    wanted = _WANTED.get(kind)
    if wanted is None:
        return f"{fault['msg'][:1].lower()}{fault['msg'][1:]}; found {found}"
    if isinstance(fault["input"], str) and kind in _NOT_TEXT:
        wanted += ", without quotes"
        if kind in ("int_type", "float_type") and any(c.isdigit() for c in fault["input"]):
            found += " (no marks between thousands, decimals with a point, no sign or unit: 1200 or 12.5)"
    if kind in ("list_type", "tuple_type") and isinstance(fault["input"], Mapping):
        wanted = f"must be one or more tables, each under [[{path[-1]}]] in double brackets"
    if kind in ("too_short", "too_long") and isinstance(fault["input"], list | str):
        found += f" ({len(fault['input'])})"
    if kind == "less_than_equal" and context["le"] == 1 and 1 < fault["input"] <= 100:
        found += f" (is {fault['input']:g} % meant? Write it as {fault['input'] / 100:g})"
    return f"{wanted.format(**{name: _plain(one) for name, one in context.items()})}; found {found}"


def _missing(path: KeyPath, data: Any) -> str:
    if isinstance(path[-1], int):
        around = functools.reduce(lambda inside, part: inside[part], path[:-1], data)
        return f"the list is too short; found {shown(around)}"
    return "this is missing and has to be there"


def _plain(value: Any) -> str:
    return f"{value:,.12g}" if isinstance(value, int | float) else str(value)


_NOT_TEXT = ("int_type", "int_parsing", "float_type", "float_parsing", "bool_type", "date_type")
_WANTED = {
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "int_parsing": "must be a whole number",
    "int_parsing_size": "must be a whole number of ordinary size",
    "float_type": "must be a number",
    "float_parsing": "must be a number",
    "finite_number": "must be an ordinary number, not infinity and not not-a-number",
    "string_type": 'must be text in "quotes"',
    "string_pattern_mismatch": "is not written as it should be (pattern {pattern})",
    "string_too_short": "must not be shorter than {min_length} characters",
    "string_too_long": "must not be longer than {max_length} characters",
    "bool_type": "must be true or false",
    "bool_parsing": "must be true or false",
    "date_type": "must be a date written 1998-06-11, without a time",
    "date_parsing": "must be a date written 1998-06-11",
    "date_from_datetime_inexact": "must be a date without a time, written 1998-06-11",
    "date_from_datetime_parsing": "must be a date written 1998-06-11",
    "list_type": "must be a list in [brackets]",
    "tuple_type": "must be a list in [brackets]",
    "set_type": "must be a list in [brackets]",
    "frozen_set_type": "must be a list in [brackets]",
    "dict_type": "must be a table of keys and values",
    "mapping_type": "must be a table of keys and values",
    "model_type": "must be a table of keys and values",
    "dataclass_type": "must be a table of keys and values",
    "model_attributes_type": "must be a table of keys and values",
    "too_short": "must have at least {min_length} entries",
    "too_long": "must have at most {max_length} entries",
    "greater_than": "must be more than {gt}",
    "greater_than_equal": "must be {ge} or more",
    "less_than": "must be less than {lt}",
    "less_than_equal": "must be {le} or less",
    "multiple_of": "must be a multiple of {multiple_of}",
    "none_required": "must be left out",
}


def _unknown_word(value: object, expected: str) -> str:
    words = [word.strip().strip("'") for word in expected.replace(" or ", ", ").split(", ")]
    close = nearest(value, words) if isinstance(value, str) else None
    hint = f' (did you mean "{close}"?)' if close else ""
    return f"is none of the words allowed here{hint}; found {shown(value)}; allowed: {', '.join(words)}"


def _unknown_key(model: type, path: KeyPath, found: str) -> str:
    name = str(path[-1]) if path else ""
    known = [key for one in _models_at(model, path[:-1]) for key in _keys(one)]
    close = nearest(name, known)
    if close:
        hint = f' (did you mean "{close}"?)'
    else:
        home = _home_of(model, name)
        hint = f" (it belongs under {home})" if home else ""
    allowed = listed(sorted(dict.fromkeys(known)), most=40)
    return f'unknown key "{name}"{hint}; found {found}; allowed: {allowed}'


def _keys(model: type) -> dict[str, Any]:
    fields: dict[str, Any] = getattr(model, "__pydantic_fields__", {})
    return {
        str(field.validation_alias or field.alias or name): field.annotation for name, field in fields.items()
    }


def _home_of(model: type, name: str) -> str | None:
    """The table one level down (or the top) that knows a key put in the wrong place."""
    if name in _keys(model):
        return "no table: put it at the top of the file, before any [table]"
    for key, annotation in _keys(model).items():
        several = any(typing.get_origin(part) in (list, tuple) for part in _parts(annotation))
        for inner in _models_in(annotation):
            if name in _keys(inner):
                return f"[[{key}]]" if several else f"[{key}]"
    return None


def _parts(annotation: Any) -> Iterator[Any]:
    """An annotation without Annotated and Union around it."""
    origin = typing.get_origin(annotation)
    if origin is Annotated:
        yield from _parts(typing.get_args(annotation)[0])
    elif origin in (typing.Union, types.UnionType):
        for one in typing.get_args(annotation):
            yield from _parts(one)
    elif origin is None and hasattr(annotation, "__value__"):  # type X = ...
        yield from _parts(annotation.__value__)
    else:
        yield annotation


def _models_in(annotation: Any) -> Iterator[type]:
    for part in _parts(annotation):
        if isinstance(part, type) and typing.get_origin(part) is None:
            if _is_model(part):
                yield part
        else:
            for argument in typing.get_args(part):
                if argument is not Ellipsis:
                    yield from _models_in(argument)


def _models_at(model: type, path: KeyPath) -> list[type]:
    """Models whose keys may stand at `path` (several under a union)."""
    here: list[Any] = [model]
    for part in path:
        inside: list[Any] = []
        for annotation in here:
            for one in _parts(annotation):
                inside.extend(_step(one, part))
        here = inside
    return [one for annotation in here for one in _parts(annotation) if _is_model(one)]


def _is_model(annotation: Any) -> bool:
    return isinstance(annotation, type) and hasattr(annotation, "__pydantic_fields__")


def _step(annotation: Any, part: str | int) -> list[Any]:
    if _is_model(annotation):
        inner = _keys(annotation).get(str(part))
        return [] if inner is None else [inner]
    arguments = [one for one in typing.get_args(annotation) if one is not Ellipsis]
    if typing.get_origin(annotation) in (list, tuple, set, frozenset):
        several = len(arguments) > 1 and typing.get_origin(annotation) is tuple
        if several and isinstance(part, int):
            return arguments[part : part + 1]
        return arguments[:1]
    return arguments[1:2]  # a mapping: its values
