"""The case file: what it means, its units, its defaults, and that writing and reading lose nothing."""

from __future__ import annotations

import dataclasses
import datetime
import pickle
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator import case as public
from estimator import clock
from estimator.case import (
    Case,
    case_data,
    case_from_data,
    dump_case,
    edit_case_text,
    load_case,
    parse_case,
    recheck,
)
from estimator.casefile import records, words
from estimator.casefile.text import toml_value
from estimator.catalogue.load import data_folder, load_catalogue
from estimator.files import InputError, parse_toml, validate
from estimator.starter import everything_on, starter_text

SMALL = """\
format = 1
[car]
viewed = 2026-11-20
built = 1971-05-01
odometer = 68400
unit = "miles"
[money]
currency = "GBP"
"""


# --- meaning and units -------------------------------------------------------------------------------


def test_mile_is_the_international_mile() -> None:
    """Published: international yard 0.9144 m (1959), 1,760 yards a mile."""
    assert pytest.approx(1760 * 0.9144 / 1000, abs=1e-12) == words.KM_PER_MILE


def test_inside_it_is_kilometres_and_years() -> None:
    case = parse_case(SMALL + "annual_distance = 1000\n")
    assert case.odometer_km == pytest.approx(68400 * 1.609344)
    assert case.annual_km == pytest.approx(1609.344)
    assert case.age_years == pytest.approx(55.556, abs=1e-3)  # by hand: 20,292 days / 365.25
    assert parse_case(SMALL.replace("miles", "km")).odometer_km == 68400


def test_only_six_keys_are_required() -> None:
    case = parse_case(SMALL)
    assert case.car.viewer == "handy"
    assert case.money.confidence == 0.8
    assert case.annual_km is None
    for key in ("viewed", "built", "odometer", "unit", "currency", "format"):
        lines = [row for row in SMALL.splitlines() if not row.startswith(key)]
        with pytest.raises(InputError, match=rf"{key}: this is missing"):
            parse_case("\n".join(lines))


def test_a_bare_year_is_a_date() -> None:
    case = parse_case(SMALL.replace("1971-05-01", "1971") + "[[reading]]\ndate = 1998\nodometer = 31000\n")
    assert case.car.built == datetime.date(1971, 1, 1)
    assert case.reading[0].date == datetime.date(1998, 7, 1)


def test_as_of_the_viewing_and_once_bought_as_of_the_latest_record() -> None:
    assert parse_case(SMALL).today == datetime.date(2026, 11, 20)
    bought = SMALL + "[bought]\ndate = 2026-12-05\n"
    assert parse_case(bought).today == datetime.date(2026, 12, 5)
    later = bought + '[[work]]\ndate = 2027-02-01\ncomponent = "radiator"\n'
    assert parse_case(later).today == datetime.date(2027, 2, 1)
    stated = later.replace("date = 2026-12-05\n", "date = 2026-12-05\nas_of = 2027-03-01\n")
    assert parse_case(stated).today == datetime.date(2027, 3, 1)


def test_readings_in_order_with_replaced_odometers_added() -> None:
    """By hand: 50,000 miles on the old one, replaced by one at 100; later 900 shown is 50,800."""
    case = parse_case(
        SMALL.replace("odometer = 68400", "odometer = 900")
        + """
[[test]]
date = 2000-01-01
result = "passed"
odometer = 300
[[reading]]
date = 1985-01-01
odometer = 80467.2
unit = "km"
[[odometer_replaced]]
date = 1990-01-01
new = 100
"""
    )
    readings = case.dated_readings
    assert [one.source[0] for one in readings] == ["reading", "test", "car"]
    miles = [one.km / words.KM_PER_MILE for one in readings]
    assert miles == pytest.approx([50_000, 50_200, 50_800])
    assert readings[-1].shown_km == pytest.approx(900 * words.KM_PER_MILE)
    assert case.warnings == ()


def test_defaults_that_move_a_price_are_named_until_written_down() -> None:
    keys = {one.key for one in parse_case(SMALL).defaults_used}
    assert {"car.storage", "car.care", "money.labour_rate", "money.annual_distance"} <= keys
    said = SMALL.replace('unit = "miles"', 'unit = "miles"\nstorage = "unknown"')  # the default, but said
    assert "car.storage" not in {one.key for one in parse_case(said).defaults_used}
    work = SMALL + '[[work]]\ndate = 1999\ncomponent = "radiator"\n'
    assert "work.evidence" in {one.key for one in parse_case(work).defaults_used}
    proven = work + 'evidence = "note"\nfitted = "unknown"\n'
    assert not {one.key for one in parse_case(proven).defaults_used} & {"work.evidence", "work.fitted"}


def test_cases_are_frozen_hashable_and_travel_to_workers() -> None:
    case = parse_case(everything_on(starter_text(datetime.date(2026, 11, 20))))
    assert hash(case) == hash(parse_case(dump_case(case)))
    assert pickle.loads(pickle.dumps(case)) == case
    with pytest.raises(dataclasses.FrozenInstanceError):
        case.money = case.money  # type: ignore[misc]
    with pytest.raises(dataclasses.FrozenInstanceError):
        case.car.odometer = 1.0  # type: ignore[misc]
    assert not hasattr(case.car, "__dict__")


def test_words_are_those_of_the_catalogue() -> None:
    """A word a case may use and the catalogue does not know would fail later and worse."""
    catalogue = load_catalogue()
    exposure, evidence = catalogue.settings.exposure, catalogue.settings.evidence
    assert set(words.STORAGES) == set(exposure.storage)
    assert set(words.CLIMATES) == set(exposure.climate)
    assert set(words.USES) == set(exposure.use) | {"laid-up"} == set(exposure.driven)
    assert set(words.REASONS) == set(evidence.for_sale.reason)
    assert set(words.get_args(words.Sale)) == set(evidence.for_sale.sale)
    assert set(words.get_args(words.Evidence)) == set(evidence.credibility)


# --- the starter -------------------------------------------------------------------------------------


def test_starter_loads_as_it_stands() -> None:
    case = parse_case(starter_text(), "new.toml", load_catalogue())
    assert case.warnings == ()


def test_starter_explains_every_key_there_is() -> None:
    text = everything_on(starter_text(datetime.date(2026, 11, 20)))
    data = parse_toml(text, "starter").data
    for table, record in records.TABLES.items():
        known = {words_key(field.name) for field in dataclasses.fields(record)}
        assert set(data[table]) == known, table
    for table, record in records.LISTS.items():
        known = {words_key(field.name) for field in dataclasses.fields(record)}
        written = {key for entry in data[table] for key in entry}
        optional_twins = {"kit", "depth"} if table == "work" else {"note"}
        assert known - written <= optional_twins | {"note"}, table
    assert parse_case(text).warnings == ()


def test_starter_states_the_defaults_as_they_are() -> None:
    """A default in the starter's comments that the code does not keep would be a lie."""
    text = everything_on(starter_text(datetime.date(2026, 11, 20)))
    for row in text.splitlines():
        if "(default" not in row or "=" not in row or not row[0].isalpha():
            continue
        key, said = row.split("=")[0].strip(), row.rsplit("(default", 1)[1].strip(" :)")
        true = {
            toml_value(default).strip('"')
            for record in (*records.TABLES.values(), *records.LISTS.values())
            for name, default in records.defaults(record).items()
            if name == key and default is not None
        }
        assert said.split(":")[0] in true or said in NOT_IN_RECORDS, row


NOT_IN_RECORDS = {  # taken from elsewhere when the key is left out
    "5 % of a low good one", "no limit", "neutral", "as usual there", "usual in the currency", "usual",
    "what cars of this age usually do", "all year", "viewer above", "viewed above",
    "the latest day in this file", "from three quarters of the asking price up to all of it",
}  # fmt: skip


def words_key(name: str) -> str:
    return records.FILE_KEYS.get(name, name)


# --- writing and reading -----------------------------------------------------------------------------


def _dates(first: int, last: int) -> st.SearchStrategy[datetime.date]:
    return st.dates(datetime.date(first, 1, 1), datetime.date(last, 12, 31))


FREE = st.text(st.characters(exclude_categories=("Cs",)), max_size=30)
SUM = st.floats(0, 1e9)
ID = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=12)
BY_NAME: dict[str, st.SearchStrategy[Any]] = {
    "currency": st.sampled_from(["GBP", "EUR"]),
    "traits": st.lists(ID, max_size=3, unique=True).map(tuple),
    "components": st.lists(ID, max_size=3).map(tuple),
    "season": st.none() | st.tuples(st.integers(1, 12), st.integers(1, 12)),
    "value": st.none() | st.floats(allow_nan=False, allow_infinity=False),
    "odometer_digits": st.integers(4, 7),
    "own_skill": st.integers(0, 3),
    "confidence": st.floats(0.001, 0.999),
    "risk_tolerance": st.none() | st.floats(1e-9, 1e9),
    "annual_distance": st.none() | st.floats(1e-9, 200_000),
    "own_hours_per_month": st.floats(0, 744),
    "horizon": st.floats(0, 50),
    "max_wait": st.floats(0, 120),
    "months": st.floats(0, 120),
    "odometer": st.floats(0, 2_000_000),
}


def _of_type(name: str, kind: Any, required: bool) -> st.SearchStrategy[Any]:
    if name in BY_NAME:
        return BY_NAME[name] if name != "odometer" or required else st.none() | BY_NAME[name]
    text = str(kind)
    if "Literal" in text:
        allowed = [word for word in _words_in(kind)]
        return st.sampled_from(allowed) if "None" not in text else st.none() | st.sampled_from(allowed)
    if "date" in text:
        made: st.SearchStrategy[Any] = _dates(1960, 1990)
    elif "tuple" in text:
        made = st.tuples(SUM, SUM, SUM)
    elif "bool" in text:
        made = st.booleans()
    elif "float" in text:
        made = st.floats(0, 1)
    elif name in ("component", "kit", "depth", "check"):
        made = ID
    else:
        made = FREE
    return st.none() | made if "None" in text else made


def _words_in(kind: Any) -> list[str]:
    found = []
    for part in words.get_args(kind):
        if isinstance(part, str):
            found.append(part)
        else:
            found += _words_in(part)
    return found


def records_of(record: Any) -> st.SearchStrategy[Any]:
    fields = record.__pydantic_fields__
    return st.builds(
        record,
        **{name: _of_type(name, info.annotation, info.is_required()) for name, info in fields.items()},
    )


CASES = st.builds(
    Case,
    **{table: records_of(record) for table, record in records.TABLES.items() if table in ("car", "money")},
    bought=st.none() | records_of(records.Bought),
    warranty=st.none() | records_of(records.Warranty),
    **{table: st.lists(records_of(record), max_size=2).map(tuple) for table, record in records.LISTS.items()},
)


@settings(max_examples=150, deadline=None)
@given(CASES)
def test_every_value_survives_writing_and_reading(case: Case) -> None:
    form = validate(parse_toml(dump_case(case), "dumped"), records.CaseForm)
    for table in (*records.TABLES, *records.LISTS):
        assert getattr(form, table) == getattr(case, table), table
    values = {table: getattr(form, table) for table in (*records.TABLES, *records.LISTS)}
    again = Case(**values, given=public.written(parse_toml(dump_case(case), "x").data))
    assert again == case
    assert hash(again) == hash(case)
    assert dump_case(again) == dump_case(case)


@settings(max_examples=60, deadline=None)
@given(CASES, CASES)
def test_an_edited_text_says_what_the_new_case_says(old: Case, new: Case) -> None:
    text = edit_case_text(dump_case(old), new)
    form = validate(parse_toml(text, "edited"), records.CaseForm)
    for table in (*records.TABLES, *records.LISTS):
        assert getattr(form, table) == getattr(new, table), table


def test_sensible_cases_come_back_equal_through_the_front_door() -> None:
    case = parse_case(everything_on(starter_text(datetime.date(2026, 11, 20))))
    assert parse_case(dump_case(case)) == case
    assert case_from_data(case_data(case)) == case
    assert recheck(case) == case


# --- editing keeps what people wrote -----------------------------------------------------------------

COMMENTED = """\
# my notes on the blue one
format = 1

[car]
name = "the blue one"   # as in the advertisement
viewed = 2026-11-20
built = 1971
odometer = 68_400       # looks honest
unit = "miles"

[money]
currency = "GBP"
asking = 18500          # firm, he says

# the folder, thick
[[work]]
date = 2009-03-20       # invoice on top
component = "radiator"

[[work]]
date = 2011
component = "clutch"    # paid in cash

# found on the day
[[finding]]
check = "brake-pedal"   # soft?
result = "absent"
"""


def test_setting_one_key_changes_one_line() -> None:
    text = edit_case_text(COMMENTED, {("money", "asking"): 17500})
    before, after = COMMENTED.splitlines(), text.splitlines()
    changed = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    assert changed == [("asking = 18500          # firm, he says", "asking = 17500          # firm, he says")]


def test_adding_and_taking_out() -> None:
    new = {"check": "clutch-down", "result": "present"}
    text = edit_case_text(
        COMMENTED,
        {
            ("finding", "+"): new,
            ("money", "asking"): None,
            ("quote", "+"): {"component": "clutch", "remedy": "new", "price": 99.5},
        },
    )
    case = parse_case(text)
    assert [one.check for one in case.finding] == ["brake-pedal", "clutch-down"]
    assert case.money.asking is None
    assert case.quote[0].price == 99.5
    for note in ("# my notes on the blue one", "# invoice on top", "# soft?", "# looks honest"):
        assert note in text


def test_a_changed_case_keeps_comments_of_what_stayed() -> None:
    old = parse_case(COMMENTED)
    new = dataclasses.replace(
        old,
        money=dataclasses.replace(old.money, asking=17000.0),
        work=(old.work[1], dataclasses.replace(old.work[0], component="fuel-tank")),
        finding=(*old.finding, records.Finding(check="clutch-down", result="present")),
    )
    text = edit_case_text(COMMENTED, new)
    assert parse_case(text) == new
    for note in (
        "# my notes",
        "# as in the",
        "# looks honest",
        "# firm, he says",
        "# paid in cash",
        "# soft?",
    ):
        assert note in text


def test_nothing_changed_is_nothing_changed() -> None:
    assert edit_case_text(COMMENTED, parse_case(COMMENTED)) == COMMENTED
    assert edit_case_text(COMMENTED, {}) == COMMENTED


@pytest.mark.parametrize(
    "change", [{("work", 7, "what"): "renewed"}, {("format", "x"): 1}, {("car", "name", "x"): 1}, {(): 1}]
)
def test_an_impossible_edit_is_a_clear_message(change: dict[Any, Any]) -> None:
    with pytest.raises(InputError):
        edit_case_text(COMMENTED, change)


def test_editing_wrong_toml_says_so() -> None:
    with pytest.raises(InputError, match="not valid TOML"):
        edit_case_text("format = \n", {("format",): 1})


# --- the examples that ship ---------------------------------------------------------------------------

EXAMPLES = sorted((data_folder() / "examples").glob("*.toml"))


def test_there_are_three_examples() -> None:
    assert {path.stem for path in EXAMPLES} >= {"small-saloon", "estate", "coupe"}


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_examples_agree_with_the_catalogue_and_survive_everything(path: Path) -> None:
    catalogue = load_catalogue()
    case = load_case(path, catalogue)
    assert case.warnings == ()
    assert catalogue.open_groups(frozenset(case.car.traits)) == ()
    assert case.money.asking is not None
    assert case.money.sound_example is not None
    assert len(case.finding) >= 25
    assert parse_case(dump_case(case), path.name, catalogue) == case
    assert edit_case_text(path.read_text("utf-8"), case) == path.read_text("utf-8")
    changed = edit_case_text(path.read_text("utf-8"), {("money", "asking"): 1234.5})
    assert parse_case(changed).money.asking == 1234.5
    assert len(changed.splitlines()) == len(path.read_text("utf-8").splitlines())


def test_examples_are_three_different_stories() -> None:
    cases = {path.stem: load_case(path) for path in EXAMPLES}
    assert cases["small-saloon"].car.unit == "miles"
    assert cases["estate"].money.currency == "EUR"
    assert "two-piece-prop-shaft" in cases["estate"].car.traits
    assert not cases["coupe"].car.runs
    assert cases["small-saloon"].coverage
    assert not cases["estate"].coverage


# --- days that have not come yet ---------------------------------------------------------------------


FAR = 'format = 1\n[car]\nviewed = {viewed}\nbuilt = 1971-05-01\nodometer = 68400\nunit = "miles"\n' + (
    '[money]\ncurrency = "GBP"\n'
)


def test_a_day_far_ahead_of_the_prices_is_doubted_whatever_the_clock_says(monkeypatch):
    """By hand: 2072 is 47 years after prices of 2025; a warning that goes into JSON must not know the clock."""
    catalogue = load_catalogue()
    year = catalogue.settings.prices.price_year
    for day in ("2026-11-25", "2080-01-01"):
        monkeypatch.setenv("ESTIMATOR_TODAY", day)
        case = parse_case(FAR.format(viewed="2072-11-20"), "car.toml", catalogue)
        told = [str(one) for one in case.warnings if "years after the year of the prices" in one.text]
        assert len(told) == 1
        assert told[0].startswith("car.toml: line 3, car.viewed: ")
        assert f"{2072 - year} years after" in told[0]
    near = parse_case(FAR.format(viewed=f"{year + 3}-11-20"), "car.toml", catalogue)
    assert not [one for one in near.warnings if "prices" in one.text]


def test_a_year_no_car_lives_to_see_is_refused():
    with pytest.raises(InputError, match=r"line 3, car.viewed: more than 140 years after it was built"):
        parse_case(FAR.format(viewed="2206-11-20"), "car.toml")


def test_a_day_that_has_not_come_is_doubted_apart_from_the_warnings(monkeypatch):
    """By hand: tomorrow is somebody's today elsewhere; the day after is not."""
    monkeypatch.setenv("ESTIMATOR_TODAY", "2026-11-25")
    assert clock.today() == datetime.date(2026, 11, 25)
    case = parse_case(FAR.format(viewed="2026-11-26"), "car.toml")
    assert case.not_come_yet(clock.today()) == ()
    late = parse_case(FAR.format(viewed="2026-11-27"), "car.toml")
    told = [str(one) for one in late.not_come_yet(clock.today(), file="car.toml")]
    assert told == [
        "car.toml: car.viewed: has not come yet (today is 2026-11-25): is the year right? Found 2026-11-27"
    ]
    assert late.warnings == ()
    work = '[bought]\ndate = 2026-11-26\n[[work]]\ndate = 2062-01-01\ncomponent = "water-pump"\n'
    slip = parse_case(FAR.format(viewed="2026-11-26") + work, "car.toml")
    assert [one.key for one in slip.not_come_yet(clock.today())] == ["work[1].date"]


def test_a_clock_that_cannot_be_read_is_passed_over(monkeypatch):
    monkeypatch.setenv("ESTIMATOR_TODAY", "soon")
    assert abs((clock.today() - datetime.date.today()).days) <= 1
