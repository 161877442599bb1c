"""Every kind of wrong case file: one clear message naming file and line, and nothing but InputError.

By hand: each row is a slip a person makes, the line it stands on and what the message must say. The
catalogue here is a small stand-in, so that the messages do not hang on the real one's content.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.case import check_against, load_case, parse_case
from estimator.files import InputError
from estimator.starter import everything_on, starter_text

TOP = """\
format = 1
[car]
viewed = 2026-11-20
built = 1971-05-01
odometer = 68400
unit = "miles"
traits = ["front-engine-rear-drive", "live-axle", "carburettor"]
[money]
currency = "GBP"
asking = 18500
"""
AFTER = len(TOP.splitlines())  # a row added at the end stands on the next line


class StandIn:
    """As much of a catalogue as the case file needs to be checked against."""

    def __init__(self) -> None:
        self.needs = {
            "water-pump": set(),
            "half-shafts": {"independent-rear"},
            "pinion-seal": {"live-axle"},
            "radiator": set(),
        }
        self.components = {
            one: SimpleNamespace(id=one, name=one, when="all", remedy=[SimpleNamespace(kind="new")])
            for one in self.needs
        }
        reading = SimpleNamespace(unit="mm", low=0.0, high=12.0)
        words = {"present": "clonks", "absent": "quiet", "when": "all"}
        self.checks = {
            "tyre-tread": SimpleNamespace(id="tyre-tread", reading=reading, **words),
            "take-up": SimpleNamespace(id="take-up", reading=None, **words),
        }
        self.traits = {
            one: SimpleNamespace(id=one, group=group, excludes=excludes)
            for one, group, excludes in (
                ("front-engine-rear-drive", "layout", ()),
                ("front-drive", "layout", ("two-piece-prop-shaft",)),
                ("two-piece-prop-shaft", "prop-shaft", ()),
                ("live-axle", "rear-axle", ("independent-rear",)),
                ("independent-rear", "rear-axle", ()),
                ("carburettor", "fuel", ()),
                ("electronic-injection", "fuel", ("carburettor",)),
            )
        }
        self.groups = {
            one: SimpleNamespace(id=one, choose="one", otherwise="")
            for one in ("layout", "prop-shaft", "rear-axle", "fuel")
        }
        self.kits = {
            "brake-overhaul": SimpleNamespace(
                id="brake-overhaul", depths={"fluid": ("water-pump",), "hoses": ("radiator",)}
            ),
            "axle-kit": SimpleNamespace(id="axle-kit", depths={"full": ("half-shafts",)}),
        }

    def has(self, component: str, traits: Iterable[str], year: float | None = None) -> float:
        return float(self.needs[component] <= set(traits))


def _messages(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        parse_case(text, "car.toml", StandIn())  # type: ignore[arg-type]
    return str(caught.value).splitlines()


def _changed(old: str, new: str) -> str:
    assert old in TOP
    return TOP.replace(old, new)


def _added(rows: str) -> str:
    return TOP + rows


WORK = '[[work]]\ndate = 2009\ncomponent = "water-pump"\n'
SLIPS: list[tuple[str, str, int | None, tuple[str, ...]]] = [
    # what, text, line, words of the message
    ("wrong TOML", _changed("68400", "68,400"), 5, ("not valid TOML", "decimals with a point")),
    ("date as people write it", _changed("2026-11-20", "20/11/2026"), 3, ("not valid TOML", "1998-06-11")),
    ("text without quotes", _changed('"miles"', "miles"), 6, ("not valid TOML", '"quotes"')),
    ("table twice", _added("[car]\n"), 11, ("not valid TOML", "only once")),
    ("unknown key", _changed("odometer =", "odometr ="), 5, ('did you mean "odometer"', "found 68400")),
    ("key under the wrong table", _changed("asking", "storage"), 10, ("belongs under [car]",)),
    ("unknown table", _added("[[wrok]]\ndate = 1\n"), 11, ('did you mean "work"',)),
    (
        "single brackets",
        _added('[work]\ndate = 2009\ncomponent = "x"\n'),
        11,
        ("[[work]] in double brackets",),
    ),
    ("format of another program", _changed("format = 1", "format = 2"), 1, ("must be 1", "found 2")),
    ("unknown trait", _changed("live-axle", "live-axel"), 7, ('did you mean "live-axle"', "car.traits[2]")),
    (
        "impossible traits",
        _changed('"live-axle"', '"live-axle", "independent-rear"'),
        7,
        ("impossible together", '"live-axle"'),
    ),
    (
        "impossible over groups",
        _changed("front-engine-rear-drive", 'two-piece-prop-shaft", "front-drive'),
        7,
        ("impossible together", "two-piece-prop-shaft"),
    ),
    (
        "two of a group",
        _changed('"live-axle"', '"live-axle", "front-drive"'),
        7,
        ('only one of the group "layout"', '"front-engine-rear-drive"'),
    ),
    ("trait twice", _changed('"live-axle"', '"live-axle", "live-axle"'), 7, ("stands twice",)),
    (
        "unknown component",
        _added(WORK.replace("water-pump", "water-pmp")),
        13,
        ('did you mean "water-pump"',),
    ),
    ("unknown check", _added('[[finding]]\ncheck = "take-upp"\nresult = "absent"\n'), 12, ('"take-up"',)),
    ("unknown kit", _added('[[work]]\ndate = 2009\nkit = "brake-overhall"\n'), 13, ('"brake-overhaul"',)),
    ("kit without depth", _added('[[work]]\ndate = 2009\nkit = "brake-overhaul"\n'), 11, ("fluid, hoses",)),
    (
        "kit of parts it has not",
        _added('[[work]]\ndate = 2009\nkit = "axle-kit"\n'),
        13,
        ("none of the kit's",),
    ),
    (
        "work on a part it has not",
        _added(WORK.replace("water-pump", "half-shafts")),
        13,
        ("this car does not have", '"independent-rear" in place of "live-axle"'),
    ),
    (
        "quote for a part it has not",
        _added('[[quote]]\ncomponent = "half-shafts"\nremedy = "new"\nprice = 1\n'),
        12,
        ("a quote on a part",),
    ),
    (
        "quote for no remedy",
        _added('[[quote]]\ncomponent = "radiator"\nremedy = "made"\nprice = 1\n'),
        13,
        ("allowed: new",),
    ),
    (
        "test remark on nothing",
        _added('[[test]]\ndate = 2019\nresult = "refused"\ncomponents = ["radiator", "radiatr"]\n'),
        14,
        ("test[1].components[2]", '"radiator"'),
    ),
    ("no component and no kit", _added("[[work]]\ndate = 2009\n"), 11, ("either component or kit",)),
    ("both", _added(WORK + 'kit = "brake-overhaul"\ndepth = "fluid"\n'), 11, ("found both",)),
    (
        "reading instead of a result",
        _added('[[finding]]\ncheck = "take-up"\nvalue = 2\n'),
        13,
        ("nothing to read off", "clonks", "quiet"),
    ),
    (
        "result instead of a reading",
        _added('[[finding]]\ncheck = "tyre-tread"\nresult = "absent"\n'),
        13,
        ("write value", "mm"),
    ),
    (
        "reading that cannot be",
        _added('[[finding]]\ncheck = "tyre-tread"\nvalue = 21\n'),
        13,
        ("0 to 12 mm",),
    ),
    ("finding without result", _added('[[finding]]\ncheck = "take-up"\n'), 11, ("either result or value",)),
    (
        "contradiction",
        _added(
            '[[finding]]\ncheck = "take-up"\nresult = "absent"\n'
            + '[[finding]]\ncheck = "take-up"\nresult = "present"\n'
        ),
        14,
        ("contradicts", "line 11"),
    ),
    (
        "future",
        _added("[[reading]]\ndate = 2027-01-01\nodometer = 70000\n"),
        12,
        ("future", "2026-11-20", "found 2027-01-01", "[bought]"),
    ),
    (
        "future finding",
        _added('[[finding]]\ncheck = "take-up"\nresult = "absent"\ndate = 2026-12-01\n'),
        14,
        ("future",),
    ),
    ("future period", _added("[[coverage]]\nfrom = 1999\nto = 2031-01-01\n"), 13, ("future",)),
    (
        "future once bought",
        _added("[bought]\ndate = 2026-12-01\nas_of = 2026-12-05\n" + WORK.replace("2009", "2027-01-05")),
        15,
        ("future of bought.as_of",),
    ),
    (
        "as_of before the purchase",
        _added("[bought]\ndate = 2026-12-01\nas_of = 2026-11-25\n"),
        13,
        ("allowed from 2026-12-01",),
    ),
    ("before it was built", _added(WORK.replace("2009", "1965")), 12, ("before the car was built",)),
    ("seen before built", _changed("viewed = 2026", "viewed = 1966"), 3, ("before it was built",)),
    ("bought before built", _added("[bought]\ndate = 1966-01-01\n"), 12, ("before it was built",)),
    ("period backwards", _added("[[lived]]\nfrom = 2003\nto = 1988\n"), 13, ("later than `from`",)),
    (
        "periods overlap",
        _added("[[lived]]\nfrom = 1990\nto = 2000\n[[lived]]\nfrom = 1985\nto = 1991\n"),
        12,
        ("overlaps", "line 14"),
    ),
    (
        "papers overlap",
        _added("[[coverage]]\nfrom = 1990\nto = 2000\n[[coverage]]\nfrom = 1999\nto = 2004\n"),
        15,
        ("overlaps",),
    ),
    ("no such car", _changed("1971-05-01", "1871-05-01"), 4, ("1900 to 2030",)),
    ("date with a time", _changed("1971-05-01", "1971-05-01T10:00:00"), 4, ("without quotes or a time",)),
    ("date in quotes", _changed("1971-05-01", '"1971-05-01"'), 4, ("without quotes",)),
    ("no such day", _changed("1971-05-01", "1971-02-30"), 4, ("no such day",)),
    ("negative reading", _changed("68400", "-68400"), 5, ("0 or more", "found -68400")),
    ("absurd reading", _changed("68400", "68400000"), 5, ("2,000,000 or less",)),
    (
        "more than the dial can show",
        _changed("68400", "168400"),
        5,
        ("5 digits", "99,999", "odometer_digits"),
    ),
    ("reading in quotes", _changed("68400", '"68400"'), 5, ("without quotes",)),
    ("not a number", _changed("68400", "nan"), 5, ("ordinary number", "found nan")),
    ("infinity", _changed("18500", "inf"), 10, ("ordinary number", "found inf")),
    ("huge number", _changed("18500", "9" * 400), 10, ("found a whole number of more than 18 digits",)),
    ("negative price", _changed("18500", "-1"), 10, ("0 or more",)),
    ("chance above one", _added("confidence = 1.2\n"), 11, ("less than 1",)),
    ("certainty", _added("confidence = 1.0\n"), 11, ("less than 1",)),
    ("percent", _added("tax = 20\n"), 11, ("20 % meant", "0.2")),
    (
        "completeness above one",
        _added("[[coverage]]\nfrom = 1999\nto = 2004\ncompleteness = 1.5\n"),
        14,
        ("1 or less",),
    ),
    (
        "sure below nought",
        _added('[[finding]]\ncheck = "take-up"\nresult = "absent"\nsure = -1\n'),
        14,
        ("0 or more",),
    ),
    ("range out of order", _added("sound_example = [26000, 22000, 19000]\n"), 11, ("low, likely, high",)),
    ("rates out of order", _added("labour_rate = [55, 50, 70]\n"), 11, ("low, likely, high",)),
    ("seller out of order", _added("seller = [3, 2, 1]\n"), 11, ("low, likely, high",)),
    ("range too short", _added("sound_example = [19000, 22000]\n"), 11, ("too short",)),
    ("no distance", _added("annual_distance = 0\n"), 11, ("more than 0",)),
    ("no risk at all", _added("risk_tolerance = 0\n"), 11, ("more than 0",)),
    ("no such month", _added("season = [4, 13]\n"), 11, ("12 or less",)),
    ("half a skill", _added("own_skill = 1.5\n"), 11, ("whole number",)),
    ("wrong word", _added('value_means = "sold"\n'), 11, ("allowed: as-sold, nothing-to-do",)),
    ("currency in words", _changed('"GBP"', '"pounds"'), 9, ("ISO 4217",)),
    ("yes for true", _changed('unit = "miles"', 'unit = "miles"\nruns = "yes"'), 7, ("true or false",)),
    ("old stock without saying so", _added(WORK + "moulded = 1985\n"), 14, ('fitted = "old-stock"',)),
    (
        "moulded after it was fitted",
        _added(WORK + 'fitted = "old-stock"\nmoulded = 2015\n'),
        15,
        ("moulded after",),
    ),
    ("nothing at all", "# only a note\n", None, ("car: this is missing",)),
]


@pytest.mark.parametrize(("text", "line", "words"), [slip[1:] for slip in SLIPS], ids=[s[0] for s in SLIPS])
def test_each_slip_names_file_line_and_cure(text: str, line: int | None, words: tuple[str, ...]) -> None:
    found = _messages(text)
    assert all(message.startswith("car.toml: ") for message in found), found
    right = [message for message in found if all(word in message for word in words)]
    assert right, found
    if line is not None:
        assert right[0].startswith(f"car.toml: line {line}"), right


def test_the_text_the_slips_start_from_is_good() -> None:
    case = parse_case(TOP, "car.toml", StandIn())  # type: ignore[arg-type]
    assert case.warnings == ()
    assert check_against(case, StandIn()) == ((), ())  # type: ignore[arg-type]


def test_everything_wrong_is_said_at_once_from_top_to_bottom() -> None:
    text = (
        _changed("68400", "168400").replace("live-axle", "live-axel")
        + "confidence = 7\n"
        + WORK.replace("2009", "2029")
        + "colour = 1\n"
        + '[[work]]\ndate = 2029\ncomponent = "water-pump"\n'
        + '[[finding]]\ncheck = "take-upp"\nresult = "absent"\n'
    )
    found = _messages(text)
    lines = [int(message.split("line ")[1].split(",")[0]) for message in found]
    assert lines == [5, 7, 11, 15, 17, 20]
    assert "work[2].date" in found[4]  # counted as in the file, although work[1] could not be read


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("[[reading]]\ndate = 1998\nodometer = 90000\n", ("the odometer falls", "68,400", "90,000", "miles")),
        ("[[reading]]\ndate = 2026-11-20\nodometer = 68100\n", ("two different readings on one day",)),
        ("[[reading]]\ndate = 2026-11-18\nodometer = 41000\n", ("impossible distance", "digit")),
        ("budget = 15000\n", ("below the asking price",)),
        (WORK + WORK, ("the same work",)),
        ('[[finding]]\ncheck = "take-up"\nresult = "absent"\n' * 2, ("the same finding", "counts once")),
        ("[bought]\ndate = 2026-11-01\n", ("bought before it was seen",)),
    ],
)
def test_doubts_are_warnings_with_their_line(rows: str, words: tuple[str, ...]) -> None:
    case = parse_case(_added(rows), "car.toml", StandIn())  # type: ignore[arg-type]
    found = [str(warning) for warning in case.warnings]
    assert len(found) == 1
    assert all(word in found[0] for word in words), found
    assert found[0].startswith("car.toml: line ")


def test_a_falling_odometer_is_no_doubt_when_it_was_replaced() -> None:
    rows = "[[reading]]\ndate = 1998\nodometer = 90000\n[[odometer_replaced]]\ndate = 1999\nold = 91000\n"
    assert parse_case(_added(rows)).warnings == ()


@pytest.mark.parametrize("year", [1948, 2004])
def test_cars_the_catalogue_is_not_made_for_are_doubted(year: int) -> None:
    case = parse_case(_changed("1971-05-01", str(year)))
    assert "1955 to 1999" in str(case.warnings[0])


def test_unreadable_files(tmp_path: Path) -> None:
    good, folder = tmp_path / "good.toml", tmp_path / "folder"
    good.write_text(TOP)
    folder.mkdir()
    assert load_case(good).money.asking == 18500
    for name, content, words in (
        ("empty.toml", b"", "empty"),
        ("picture.toml", b"\x89PNG\r\n\x1a\n\0\0\0", "binary"),
        ("big.toml", b"#" * 50_000_000, "too large: found 50.0 MB"),
        ("windows.toml", TOP.encode("utf-16"), "UTF-16"),
    ):
        path = tmp_path / name
        path.write_bytes(content)
        with pytest.raises(InputError) as caught:
            load_case(path)
        assert str(path) in str(caught.value)
        assert words in str(caught.value)
    for path, words in (
        (folder, "folder"),
        (tmp_path / "god.toml", "no such file; is"),
        (good / "x", "read"),
    ):
        with pytest.raises(InputError, match=words) as caught:
            load_case(path)
        assert str(path) in str(caught.value)


def test_in_python_wrong_records_do_not_come_to_be() -> None:
    from estimator.case import Car, case_from_data

    with pytest.raises(ValueError, match="odometer"):
        Car(viewed=2026, built=1971, odometer=-1.0, unit="miles")  # type: ignore[arg-type]
    with pytest.raises(InputError, match=r"car\.odometer"):
        case_from_data({"format": 1, "car": {"odometer": -1}, "money": {"currency": "GBP"}})


FULL = everything_on(starter_text()).splitlines()


@settings(max_examples=150, deadline=None)
@given(
    st.integers(0, len(FULL) - 1),
    st.sampled_from(
        [
            "nan",
            "inf",
            "-1",
            "1e400",
            '""',
            '"x"',
            "[]",
            "{}",
            "true",
            "0",
            "9999-12-31",
            "[[1]]",
            "0001-01-01",
            "07:30:00",
            "1979-05-27T07:32:00Z",
            '"\\u0000"',
            "99999999999999999999",
            "[nan]",
            "{ a = 1 }",
        ]
    ),
)
def test_no_value_anywhere_makes_it_fall_over(row: int, value: str) -> None:
    """Any key of a full file given any kind of value: read, or refused with the file's name."""
    rows = [*FULL]
    if "=" in rows[row]:
        rows[row] = f"{rows[row].split('=')[0]}= {value}"
    _read_or_refused("\n".join(rows))


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_no_missing_or_doubled_rows_make_it_fall_over(data: Any) -> None:
    rows = data.draw(st.lists(st.sampled_from(FULL), max_size=60))
    _read_or_refused("\n".join(rows))


def _read_or_refused(text: str) -> None:
    problems: tuple[Any, ...] = ()
    try:
        parse_case(text, "car.toml", StandIn())  # type: ignore[arg-type]
    except InputError as error:
        problems = error.problems
    assert all(problem.file == "car.toml" and problem.text for problem in problems)
