"""Reading TOML: every key's line, every fault at once, in plain words.

Line numbers are by hand where written out; the mapper as a whole is checked by a second method: the same
file cut line by line and read by the standard library's tomllib.
"""

from __future__ import annotations

import contextlib
import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal

import pydantic
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.files import (
    Day,
    Flag,
    InputError,
    Number,
    Record,
    Text,
    Whole,
    check_model,
    key_text,
    nearest,
    parse_toml,
    read_toml,
    shown,
    validate,
)
from estimator.toml_lines import key_lines

TRICKY = '''\
# a comment with [a.table] and key = 1
top = 1
dotted.inner."quoted key" = { a = 1, b = [1,
  2, { c = 3 }] }

[car]
name = """
year = 1
[[finding]]
\\"""
"""  # not keys
year = 1971
'literal' = \'\'\'
fake = 2\'\'\'

[[finding]]
check = "a # b"
  [finding.detail]
  seen = 1998-06-11T07:32:00Z
[[finding]]
check = ['x', """y
z""",
  "w"]
[[finding.note]]
text = "one"
[[finding.note]]
text = "two"
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("top",), 2),
        (("dotted", "inner", "quoted key"), 3),
        (("dotted", "inner", "quoted key", "b"), 3),
        (("dotted", "inner", "quoted key", "b", 0), 3),
        (("dotted", "inner", "quoted key", "b", 1), 4),
        (("dotted", "inner", "quoted key", "b", 2, "c"), 4),
        (("car",), 6),
        (("car", "name"), 7),
        (("car", "year"), 12),
        (("car", "literal"), 13),
        (("finding",), 16),
        (("finding", 0), 16),
        (("finding", 0, "check"), 17),
        (("finding", 0, "detail", "seen"), 19),
        (("finding", 1), 20),
        (("finding", 1, "check", 1), 21),
        (("finding", 1, "check", 2), 23),
        (("finding", 1, "note", 0, "text"), 25),
        (("finding", 1, "note", 1, "text"), 27),
    ],
)
def test_line_of_each_key_by_hand(path: tuple[str | int, ...], line: int) -> None:
    assert key_lines(TRICKY)[path] == line


def test_fake_keys_in_text_are_no_keys() -> None:
    lines = key_lines(TRICKY)
    assert ("car", "fake") not in lines
    assert ("finding", 2) not in lines


def test_mapper_knows_exactly_the_keys_tomllib_reads() -> None:
    assert set(_paths(tomllib.loads(TRICKY))) == set(key_lines(TRICKY))


def _paths(data: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    found = [path] if path else []
    if isinstance(data, dict):
        for key, value in data.items():
            found += _paths(value, (*path, key))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            found += _paths(value, (*path, index))
    return found


VALUES = st.one_of(
    st.integers(-1000, 1000).map(str),
    st.sampled_from(["true", "1998-06-11", "1.5e3", "'its'", '"a\\"b # c"', '"""\nk = 1\n[x]\n"""']),
    st.sampled_from(["[1, 2,\n 3]", "{ a = 1, b.c = 'x' }", "[{ a = 1 },\n{ a = 2 }]", "'''\n[[y]]\n'''"]),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(["table", "list"]), st.lists(VALUES, max_size=4)), max_size=6))
def test_each_key_is_found_on_the_line_where_tomllib_needs_it(blocks: list[tuple[str, list[str]]]) -> None:
    """Second method: with the marked line taken for another key's name, tomllib must know that name there."""
    text = ""
    for number, (kind, values) in enumerate(blocks):
        text += f"[[list]] # {number}\n" if kind == "list" else f"[table{number}]\n"
        text += "".join(f"key{index} = {value}\n" for index, value in enumerate(values))
    lines = key_lines(text)
    rows = text.splitlines(keepends=True)
    assert set(lines) == set(_paths(tomllib.loads(text)))
    for path, line in lines.items():
        if isinstance(path[-1], str) and path[-1].startswith("key"):
            changed = [*rows]
            changed[line - 1] = changed[line - 1].replace(path[-1], "marked", 1)
            around: Any = tomllib.loads("".join(changed))
            for part in path[:-1]:
                around = around[part]
            assert "marked" in around


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_lines_count_alike_with_either_line_ending(ending: str) -> None:
    text = TRICKY.replace("\n", ending)
    assert key_lines(text) == key_lines(TRICKY)


class Inner(Record):
    year: Whole
    size: Number = 1.0
    day: Day | None = None
    old: Flag = False
    unit: Literal["miles", "km"] = "km"
    several: tuple[Number, Number, Number] | Number = 1.0
    share: Annotated[Number, pydantic.Field(ge=0, le=1)] = 0.5


class Outer(Record):
    car: Inner
    named: dict[str, Inner] = pydantic.Field(default_factory=dict)
    finding: tuple[Inner, ...] = ()
    note: Text = ""


def _problems(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        validate(parse_toml(text, "x.toml"), Outer)
    return str(caught.value).splitlines()


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ('year = "1971"', 'x.toml: line 2, car.year: must be a whole number, without quotes; found "1971"'),
        ("year = 19.5", "x.toml: line 2, car.year: must be a whole number; found 19.5"),
        ("year = true", "x.toml: line 2, car.year: must be a whole number; found true"),
        ("yaer = 1", 'x.toml: line 2, car.yaer: unknown key "yaer" (did you mean "year"?); found 1'),
        ("note = 1", "(it belongs under no table: put it at the top of the file"),
        ("size = nan", "car.size: must be an ordinary number; found nan; not-a-number and infinity"),
        ("size = -inf", "car.size: must be an ordinary number; found -inf"),
        ('unit = "mile"', '(did you mean "miles"?); found "mile"; allowed: miles, km'),
        ("day = 1998-06-11T10:00:00", "must be a date written 1998-06-11, without a time"),
        ('day = "1998-06-11"', "must be a date written 1998-06-11, without a time, without quotes"),
        ("share = 1.5", "car.share: must be 1 or less; found 1.5 (is 1.5 % meant? Write it as 0.015)"),
        ("share = -0.1", "car.share: must be 0 or more; found -0.1"),
        ('several = [1, 2, "a"]', 'car.several[3]: must be a number, without quotes; found "a"'),
        ("several = [1, 2]", "car.several[3]: the list is too short; found [1, 2]"),
    ],
)
def test_fault_in_plain_words(row: str, message: str) -> None:
    found = _problems(f"[car]\n{row}\n")
    assert any(message in line for line in found), found
    assert all(line.startswith("x.toml: line ") for line in found)


def test_all_faults_at_once_in_the_order_of_the_file() -> None:
    found = _problems(
        "note = 3\n[car]\nsize = 'x'\n[[finding]]\nyear = 1\n[[finding]]\nyer = 2\nsize = inf\n"
    )
    assert [line.split(":")[1].strip() for line in found] == [
        "line 1, note",
        "line 2, car.year",
        "line 3, car.size",
        "line 6, finding[2].year",
        "line 7, finding[2].yer",
        "line 8, finding[2].size",
    ]


def test_key_in_a_table_by_name_is_named() -> None:
    assert 'named."a b".yeer' in _problems('[car]\nyear = 1\n[named."a b"]\nyear = 1\nyeer = 1\n')[0]


def test_part_of_a_document_keeps_its_place() -> None:
    document = parse_toml("[[finding]]\nyear = 1\n[[finding]]\nyear = 'x'\n", "x.toml")
    model, problems = check_model(document, Inner, prefix=("finding", 1))
    assert model is None
    assert str(problems[0]).startswith("x.toml: line 4, finding[2].year:")
    assert validate(document, Inner, prefix=("finding", 0)).year == 1


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("a = 1\nb = hello\n", 2, 'text in "quotes"'),
        ("a = 1,5\n", 1, "decimals with a point"),
        ("a = 11.06.1998\n", 1, "dates as year-month-day"),
        ("\na = 2021-02-30\n", 2, "no such day"),
        ("a = 1\na = 2\n", 2, "may stand only once"),
        ("a = True\n", 1, "in small letters"),
        ('a = "x\nb = 1\n', 1, "not valid TOML"),
        ("[car\na = 1\n", 1, "not valid TOML"),
        ("a = " + "9" * 5000, 1, "too many digits"),
        ("a = " + "[" * 20_000, None, "nested too deeply"),
        ("a = [\n1,\n", 2, "not valid TOML"),
    ],
)
def test_wrong_toml_names_the_line_and_a_cure(text: str, line: int | None, words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_toml(text, "x.toml")
    (problem,) = caught.value.problems
    assert problem.line == line
    assert problem.file == "x.toml"
    assert words in problem.text


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b" \n\t\r\n", "empty"),
        (b"\xef\xbb\xbf", "empty"),
        (bytes(range(256)), "binary"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "binary"),
        ("ü = 1".encode("utf-16"), "UTF-16"),
        ("name = 'M\xfcller'\n".encode("latin-1"), "UTF-8"),
        (b"a = 1\n" * 10_000_000, "too large"),
    ],
    ids=["empty", "blank", "bom", "bytes", "picture", "utf16", "latin1", "sixty-megabytes"],
)
def test_files_that_are_no_text(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "case.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_toml(path)
    assert str(caught.value).startswith(str(path))
    assert words in str(caught.value)


def test_missing_file_folder_and_unreadable_names(tmp_path: Path) -> None:
    (tmp_path / "saloon.toml").write_text("a = 1")
    for path, words in (
        (tmp_path / "saloom.toml", "is " + str(tmp_path / "saloon.toml") + " meant?"),
        (tmp_path / "nowhere" / "x.toml", "no such file"),
        (tmp_path, "a folder, not a file; inside it there are saloon.toml"),
        (tmp_path / "saloon.toml" / "x", "cannot be read"),
        (Path("a\0b"), "cannot be read"),
        (Path("n" * 5000), "cannot be read"),
    ):
        with pytest.raises(InputError) as caught:
            read_toml(path)
        assert words in str(caught.value)


def test_byte_order_mark_is_harmless(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\n")
    assert read_toml(path).data == {"a": 1}


def test_size_is_checked_before_reading_on(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text("a = 1\n" * 10)
    with pytest.raises(InputError, match="allowed at most 20 bytes"):
        read_toml(path, max_bytes=20)
    path.write_text("a = 1\n")
    assert read_toml(path, max_bytes=6).data == {"a": 1}


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=300))
def test_no_bytes_make_it_fall_over(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    path = tmp_path_factory.mktemp("bytes") / "x.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:  # no Outer can be read from 300 random bytes: car is missing
        validate(read_toml(path), Outer)
    assert str(caught.value).startswith(str(path))


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet="ab=[]{}\"'\\#.,\n 1-_:T", max_size=60))
def test_no_text_makes_it_fall_over(text: str) -> None:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        data = None
    if not data:
        with contextlib.suppress(InputError):
            assert parse_toml(text, "x.toml").data == data
    else:
        document = parse_toml(text, "x.toml")
        assert document.data == data
        assert set(document.lines) == set(_paths(data))


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("x" * 100, '"' + "x" * 58 + "…"),
        ([1, 2.5, "a"], '[1, 2.5, "a"]'),
        ({"a": 1, "b": 2}, "a table with a, b"),
        ({}, "a table with nothing in it"),
        (True, "true"),
        (10**400, "a whole number of more than 18 digits"),
        ('a"\n', '"a\\"\\u000a"'),
    ],
)
def test_what_was_found_is_shown_short(value: object, text: str) -> None:
    assert shown(value) == text


def test_keys_are_written_as_people_count() -> None:
    assert key_text(("work", 1, "component")) == "work[2].component"
    assert key_text(("a b", 0)) == '"a b"[1]'


@pytest.mark.parametrize(
    ("word", "found"),
    [
        ("watter-pump", "water-pump"),
        ("Water_Pump", "water-pump"),
        ("water pump", "water-pump"),
        ("zzz", None),
    ],
)
def test_nearest_word(word: str, found: str | None) -> None:
    assert nearest(word, ["fuel-tank", "water-pump"]) == found
