"""Cars, their entries and lives from pandas. Second method: the same car written as TOML. By hand: the messages."""

from __future__ import annotations

import dataclasses
import tomllib

import numpy as np
import pandas as pd
import pytest

import estimator
from estimator.casefile.cells import native
from estimator.catalogue.load import data_folder, load_catalogue
from estimator.problems import InputError

EXAMPLES = sorted((data_folder() / "examples").glob("*.toml"))
ROW = {
    "name": "blue", "viewed": "2026-11-20", "built": 1971, "odometer": 68400, "unit": "miles", "currency": "GBP",
    "asking": 7500, "sound_example": "8000 9500 11500", "traits": "monocoque live-axle", "runs": "yes",
}  # fmt: skip
LISTS = ("reading", "odometer_replaced", "lived", "test", "coverage", "work", "finding", "quote", "spare")


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


def frame_of(entries):
    """Entries as a spreadsheet hands them over: days as time stamps, gaps as NaN."""
    frame = pd.DataFrame(entries)
    for column in ("date", "from", "to"):
        if column in frame:
            days = [
                pd.Timestamp(str(d) if not isinstance(d, int) else f"{d}-07-01") if d == d else None
                for d in frame[column]
            ]
            frame[column] = pd.to_datetime(pd.Series(days))
    return frame


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_frames_say_what_the_file_says(path, catalogue):
    data = tomllib.loads(path.read_text("utf-8"))
    tables = {name: frame_of(data[name]) for name in LISTS if name in data}
    row = pd.DataFrame([{**data["car"], **data["money"]}]).iloc[0]
    rest = {name: data[name] for name in ("bought", "warranty") if name in data}
    typed = estimator.load_case(path, catalogue)
    assert len(tables) >= 3
    assert estimator.load_case({**row.to_dict(), **rest}, catalogue, **tables) == typed
    assert estimator.load_case(row, catalogue, **tables) == dataclasses.replace(
        typed, bought=None, warranty=None
    )
    assert estimator.load_case(data, catalogue) == typed


def test_the_same_assessment_from_a_spreadsheet_as_from_a_file(tmp_path, catalogue):
    work = pd.DataFrame(
        {
            "date": pd.to_datetime(["2009-03-20", "2015-06-01"]),
            "component": ["water-pump", "radiator"],
            "evidence": ["invoice", None],
            "price": [np.nan, 180.0],
        }
    )
    finding = pd.DataFrame(
        {"check": ["oil-level-look", "oil-wet-top-of-engine"], "result": ["present", "absent"]}
    )
    file = tmp_path / "car.toml"
    file.write_text(
        'format = 1\n[car]\nname = "blue"\nviewed = 2026-11-20\nbuilt = 1971\nodometer = 68400\nunit = "miles"\n'
        'traits = ["monocoque", "live-axle"]\nruns = true\n[money]\ncurrency = "GBP"\nasking = 7500\n'
        "sound_example = [8000, 9500, 11500]\n"
        '[[work]]\ndate = 2009-03-20\ncomponent = "water-pump"\nevidence = "invoice"\n'
        '[[work]]\ndate = 2015-06-01\ncomponent = "radiator"\nprice = 180\n'
        + "".join(
            f'[[finding]]\ncheck = "{c}"\nresult = "{r}"\n' for c, r in finding.itertuples(index=False)
        ),
        "utf-8",
    )
    one, two = (
        estimator.assess(case, catalogue, draws=500)
        for case in (
            estimator.load_case(file, catalogue),
            estimator.load_case(ROW, catalogue, work=work, finding=finding),
        )
    )
    assert one.as_dict() == two.as_dict()


def test_entries_beside_a_file_are_added_to_its_own(tmp_path, catalogue):
    history = tmp_path / "papers.csv"
    history.write_text(
        "kind,date,component,odometer,from,to,completeness,check,result\n"
        "work,2009,water-pump,47120,,,,,\nreading,1998-06-11,,31250,,,,,\n"
        "coverage,,,,1996,2024-12-31,0.8,,\nfinding,,,,,,,oil-level-look,absent\n",
        "utf-8",
    )
    first = estimator.load_case(ROW, catalogue, work=[{"date": 2001, "component": "radiator"}])
    both = estimator.load_case(
        ROW, catalogue, history=history, work={"date": [2001], "component": ["radiator"]}
    )
    assert [w.component for w in both.work] == ["water-pump", "radiator"]
    assert both.work[1] == first.work[0]
    assert both.reading[0].odometer == 31250
    assert str(both.coverage[0].end) == "2024-12-31"
    assert both.coverage[0].completeness == 0.8
    assert both.finding[0].check == "oil-level-look"
    assert estimator.load_case(
        ROW, catalogue, history=pd.read_csv(history), work=[{"date": "2001", "component": "radiator"}]
    ) == both  # fmt: skip


def test_a_fault_in_added_entries_names_where_it_is(tmp_path, catalogue):
    file, history = tmp_path / "car.toml", tmp_path / "papers.csv"
    file.write_text(
        'format = 1\n[car]\nviewed = 2026-11-20\nbuilt = 1971\nodometer = 68400\nunit = "miles"\n[money]\n'
        'currency = "GBP"\n[[work]]\ndate = 2009-03-20\ncomponent = "water-pmp"\n',
        "utf-8",
    )
    history.write_text("kind,date,component\nwork,2001-02-03,radiatr\n", "utf-8")
    with pytest.raises(InputError) as caught:
        estimator.load_case(
            file, catalogue, history=history, work=[{"date": 2002, "component": "clutch-plte"}]
        )
    said = sorted(str(one) for one in caught.value.problems)
    assert [one.partition(": ")[0].rpartition("/")[2] for one in said] == [
        "car.toml",
        "papers.csv",
        "table work",
    ]
    assert "line 11, work[1].component" in said[0]
    assert "line 2, work[1].component" in said[1]
    assert "work[1].component" in said[2]
    assert all("did you mean" in one for one in said[:2])


def test_a_clash_between_two_sources_names_both(tmp_path, catalogue):
    history = tmp_path / "papers.csv"
    history.write_text("kind,from,to\ncoverage,1990,1999\n", "utf-8")
    with pytest.raises(InputError) as caught:
        estimator.load_case(ROW, catalogue, history=history, coverage=[{"from": 1998, "to": 2004}])
    said = str(caught.value)
    assert said.startswith(
        "table coverage: coverage[1].from: overlaps the period of the [[coverage]] at line 2 of "
    )
    assert "papers.csv, which ends 1999-07-01; found 1998-07-01" in said


@pytest.mark.parametrize(
    ("change", "tables", "words"),
    [
        ({"odometer": "ninety"}, {}, ("blue: car.odometer: must be a number", 'found "ninety"')),
        ({"odometer": np.inf}, {}, ("car.odometer", "infinity")),
        ({"odometer": np.nan}, {}, ("car.odometer", "missing")),
        ({"viewed": pd.Timestamp("2026-11-20 10:30")}, {}, ("car.viewed", "date written 1998-06-11", "without a time")),
        ({"odometr": 3}, {}, ('unknown key "odometr"', 'did you mean "odometer"')),
        ({"unit": 5}, {}, ("car.unit", 'found "5"', "miles, km")),
        ({"runs": 2}, {}, ("car.runs", "true or false", "found 2")),
        ({"car": 3}, {}, ("car", "must be a table of keys")),
        ({"work": "clutch"}, {}, ("table work", "a table is wanted", "found str")),
        ({}, {"wrok": []}, ('unknown table "wrok"', 'did you mean "work"')),
        ({}, {"work": pd.DataFrame({"dat": [1]})}, ("table work", 'unknown column "dat"', 'did you mean "date"')),
        ({}, {"work": pd.DataFrame([[1, 2]], columns=["date", "date"])}, ('"date" is there twice',)),
        ({}, {"work": {"date": [1, 2], "component": ["radiator"]}}, ("one length", "date 2, component 1")),
        ({}, {"work": {"date": 2001}}, ("table work: date", "a column of values", "found int")),
        ({}, {"work": [3]}, ("table work, row 1", "mapping of keys")),
        ({}, {"work": [{"component": "radiator"}]}, ("work[1].date", "missing")),
        ({}, {"finding": [{"check": "x", "result": "presnt"}]}, ("finding[1].result", 'did you mean "present"')),
        ({}, {"history": pd.DataFrame({"kind": ["wrk"], "date": [2001]})}, ("history, row 1", "kind", "work, reading")),
    ],
)  # fmt: skip
def test_bad_frames_give_one_clear_message(change, tables, words, catalogue):
    with pytest.raises(InputError) as caught:
        estimator.load_case({**ROW, **change}, catalogue, **tables)
    assert len(caught.value.problems) == 1, str(caught.value)
    assert all(word in str(caught.value) for word in words), str(caught.value)


@pytest.mark.parametrize("source", [3, None, [1, 2], b"x"])
def test_what_is_no_car_is_refused(source):
    with pytest.raises(InputError, match="a mapping of keys and values is wanted"):
        estimator.load_case(source)


@pytest.mark.parametrize(
    ("value", "kind", "wanted"),
    [
        (np.int64(3), float, 3), (np.float32(2.5), float, 2.5), (np.float64("nan"), float, None), (pd.NA, str, None),
        (pd.NaT, str, None), ("  ", str, None), (7, str, "7"), (7.0, str, "7"), (3.0, int, 3), (3.5, int, 3.5),
        (np.bool_(False), bool, False), (0.0, bool, False), ("no", bool, False), (True, float, True),
        (np.array(["a", "b"]), tuple[str, ...], ["a", "b"]), ("a b", tuple[str, ...], ["a", "b"]),
        (("a",), tuple[str, ...], ["a"]), ((1.0, 2.5), tuple[float, ...], [1.0, 2.5]),
    ],
)  # fmt: skip
def test_values_become_pythons_own(value, kind, wanted):
    made = native(value, kind)
    assert made == wanted
    assert type(made) is type(wanted)


def test_days_in_every_dress():
    import datetime

    day = datetime.date(1998, 6, 11)
    for value in (
        day,
        "1998-06-11",
        pd.Timestamp(day),
        np.datetime64("1998-06-11"),
        np.datetime64("1998-06-11", "ns"),
    ):
        assert native(value, datetime.date) == day
        assert type(native(value, datetime.date)) is datetime.date
    assert native(np.datetime64("NaT"), datetime.date) is None
    assert native(1998.0, datetime.date) == 1998


def test_a_frame_of_cars_is_screened_as_the_file_is(tmp_path, catalogue):
    rows = [ROW, {**ROW, "name": "red", "odometer": "ninety"}, {**ROW, "name": "green", "asking": None}]
    frame = pd.DataFrame(rows)
    path = tmp_path / "cars.csv"
    frame.to_csv(path, index=False)
    one, two = (estimator.screen(cars, catalogue, draws=300, workers=1) for cars in (frame, path))
    assert "list of cars, row 2: car.odometer" in one["error"][1]
    assert list(one["ok"]) == [True, False, True]
    pd.testing.assert_frame_equal(one.drop(columns="error"), two.drop(columns="error"))
    with pytest.raises(InputError, match='list of cars: unknown column "colour"'):
        estimator.screen(frame.assign(colour="red"), catalogue, workers=1)


def test_lives_from_a_frame_and_from_a_file_fit_alike(tmp_path):
    frame = pd.DataFrame(
        {
            "years": [3.0, 5.5, 8.0, 9.0, 12.0, 15.0],
            "failed": [True, True, False, True, False, True],
            "count": [np.nan, 2, 1, 1, np.nan, 1],
        }
    )
    path = tmp_path / "lives.csv"
    frame.to_csv(path, index=False)
    one, two = estimator.fit_life(frame), estimator.fit_life(path)
    assert one.as_dict() == two.as_dict()
    assert (one.n, one.failed) == (7, 5)  # by hand
    assert estimator.fit_life(frame.to_dict("list")).b50 == one.b50


@pytest.mark.parametrize(
    ("frame", "settings", "words"),
    [
        ({"years": [1, 2]}, {}, ("lives", "a column failed is needed")),
        ({"failed": [1, 0]}, {}, ("lives", "a column distance, years or both")),
        ({"years": [1.0, -2.0], "failed": [1, 1]}, {}, ("lives, row 2: years", "number above 0", "found -2")),
        ({"years": [1.0, None], "failed": [1, 1]}, {}, ("lives, row 2: years", "is empty")),
        ({"years": [1.0, "two"], "failed": [1, 1]}, {}, ("row 2: years", "found 'two'")),
        ({"years": [1.0, 2.0], "failed": [1, 2]}, {}, ("row 2: failed", "1 (failed) or 0", "found 2")),
        ({"yeers": [1.0, 2.0], "failed": [1, 1]}, {}, ('unknown column "yeers"', 'did you mean "years"')),
        ({"years": [], "failed": []}, {}, ("not a single row",)),
        ({"years": [1.0, 1.0], "failed": [1, 1]}, {}, ("At least two failures at different lives",)),
        ({"years": [1.0, 2.0], "failed": [1, 1]}, {"level": 1.0}, ("level must lie inside 0 to 1",)),
    ],
)
def test_bad_lives_give_one_clear_message(frame, settings, words):
    with pytest.raises(InputError) as caught:
        estimator.fit_life(pd.DataFrame(frame), **settings)
    assert len(caught.value.problems) == 1, str(caught.value)
    assert all(word in str(caught.value) for word in words), str(caught.value)
