"""Cars and histories as CSV. By hand: what stands in the cells and on which line."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from estimator.case import cases_from, parse_case, with_history_csv
from estimator.files import InputError
from estimator.starter import starter_text

HEADER = "name,viewed,built,odometer,unit,currency,asking,traits,runs,sound_example\n"


def _write(tmp_path: Path, text: str, name: str = "list.csv") -> Path:
    path = tmp_path / name
    path.write_text(text, "utf-8")
    return path


def test_each_row_is_a_car(tmp_path: Path) -> None:
    rows = (
        'blue,2026-11-20,1971,68400,miles,GBP,7500,monocoque live-axle,yes,"8000 9500 11500"\n'
        "2,2026-11-20,1980-05-01,99000,km,EUR,,,no,\n"
    )
    path = _write(tmp_path, HEADER + rows)
    found = dict(cases_from(path))
    blue, second = found["blue"], found["2"]
    assert not isinstance(blue, InputError)
    assert blue.car.traits == ("monocoque", "live-axle")
    assert blue.money.sound_example == (8000, 9500, 11500)
    assert blue.car.runs is True
    assert not isinstance(second, InputError)
    assert second.car.name == "2"
    assert second.money.asking is None
    assert second.car.built == datetime.date(1980, 5, 1)
    assert second.car.runs is False


def test_semicolons_and_byte_order_mark_as_spreadsheets_write_them(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_bytes(
        b"\xef\xbb\xbfname;viewed;built;odometer;unit;currency;asking\r\nred;2026-11-20;1971;5;km;EUR;7500.5\r\n"
    )
    ((name, case),) = cases_from(path)
    assert name == "red"
    assert not isinstance(case, InputError)
    assert case.money.asking == 7500.5


def test_a_bad_row_spoils_only_itself_and_names_its_line(tmp_path: Path) -> None:
    rows = (
        "good,2026-11-20,1971,68400,miles,GBP,,,,\n\n"
        '"two\nlines",2026-11-20,1971,ninety,miles,GBP,,,maybe,\n'
        "late,2026-11-20,2027,1,miles,GBP,,,,\n"
    )
    found = list(cases_from(_write(tmp_path, HEADER + rows)))
    assert not isinstance(found[0][1], InputError)
    text = str(found[1][1])
    assert 'list.csv: line 4, car.odometer: must be a number; found "ninety"' in text
    assert "line 4, car.runs: must be true or false" in text
    assert "list.csv: line 6" in str(found[2][1])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("name,odometr\nx,1\n", ('line 1: unknown column "odometr" (did you mean "odometer"?)',)),
        ("name,name\nx,1\n", ("line 1", "twice")),
        ("name,unit\nx,1,2\n", ("line 2", "3 values for 2 columns")),
        ('name,unit\n"x,1\n', ("not valid CSV",)),
        ("", ("empty",)),
    ],
)
def test_a_list_that_cannot_be_read(tmp_path: Path, text: str, words: tuple[str, ...]) -> None:
    with pytest.raises(InputError) as caught:
        list(cases_from(_write(tmp_path, text)))
    assert all(word in str(caught.value) for word in ("list.csv", *words))


def test_a_folder_says_more_and_the_row_goes_before_it(tmp_path: Path) -> None:
    (tmp_path / "blue").mkdir()
    (tmp_path / "blue" / "case.toml").write_text(
        starter_text(datetime.date(2026, 11, 20)) + "\n[[reading]]\ndate = 1998\nodometer = 31000\n", "utf-8"
    )
    ((_, case),) = cases_from(_write(tmp_path, "name,asking,folder\nblue,6100,blue\n"))
    assert not isinstance(case, InputError)
    assert case.money.asking == 6100
    assert case.car.name == "blue"
    assert case.reading[0].odometer == 31000
    with pytest.raises(InputError, match=r"case\.toml"):
        list(cases_from(_write(tmp_path, "name,folder\nblue,red\n")))


HISTORY = """\
kind,date,odometer,component,what,evidence,result,components,note
reading,1998-06-11,31250,,,,,,
work,2009,47120,water-pump,renewed,invoice,,,"one, two"
,2010-03-01,,radiator,seen-worn,,,,
test,2019-07-02,60120,,,,refused,brake-pipes-rigid-set tyres-set,
"""


def test_a_history_is_added_to_a_case(tmp_path: Path) -> None:
    case = parse_case(starter_text(datetime.date(2026, 11, 20)))
    more = with_history_csv(case, _write(tmp_path, HISTORY))
    assert more.reading[0].odometer == 31250
    assert [work.component for work in more.work] == ["water-pump", "radiator"]
    assert more.work[0].note == "one, two"
    assert more.work[1].what == "seen-worn"
    assert more.test[0].components == ("brake-pipes-rigid-set", "tyres-set")
    twice = with_history_csv(more, _write(tmp_path, HISTORY.replace("2009", "2008")))
    assert len(twice.work) == 4


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("reading,1998", "raeding,1998", ("line 2, kind", "allowed: work, reading, test")),
        ("2009", "2031", ("line 3, work[1].date", "future")),
        ("seen-worn", "seen-worm", ("line 4, work[2].what", 'did you mean "seen-worn"')),
        ("60120", "sixty", ("line 5, test[1].odometer", "must be a number; found")),
        (
            "work,2009,47120,water-pump,renewed",
            "work,2009,47120,water-pump,renewed,x,x,x,x,x",
            ("line 3", "columns"),
        ),
    ],
)
def test_wrong_rows_of_a_history_name_their_line(
    tmp_path: Path, old: str, new: str, words: tuple[str, ...]
) -> None:
    case = parse_case(starter_text(datetime.date(2026, 11, 20)))
    with pytest.raises(InputError) as caught:
        with_history_csv(case, _write(tmp_path, HISTORY.replace(old, new)))
    assert all(word in str(caught.value) for word in ("list.csv", *words)), str(caught.value)


@pytest.mark.parametrize("figure", ["100.000", "1.250.000", '"100,000"', "£120", "12 miles"])
def test_a_figure_that_may_be_read_two_ways_is_refused_not_read_as_a_hundred(
    tmp_path: Path, figure: str
) -> None:
    """Common practice: half the world writes a hundred thousand as 100.000; read as 100 it would be taken silently."""
    path = _write(tmp_path, f"kind,date,odometer\nreading,2009-05-01,{figure}\n")
    case = parse_case(starter_text(datetime.date(2026, 11, 20)), "car.toml")
    with pytest.raises(InputError) as error:
        with_history_csv(case, path)
    assert "line 2, reading[1].odometer: must be a number" in str(error.value)
    assert "no marks between thousands, decimals with a point" in str(error.value)


def test_a_reading_of_a_check_may_have_three_decimals(tmp_path: Path) -> None:
    """Common practice: the acid of a charged battery weighs 1.280."""
    path = _write(tmp_path, "kind,date,check,value\nfinding,2026-11-01,acid,1.280\n")
    case = with_history_csv(parse_case(starter_text(datetime.date(2026, 11, 20)), "car.toml"), path)
    assert case.finding[-1].value == 1.28


def test_heads_of_columns_may_be_written_as_in_a_spreadsheet(tmp_path: Path) -> None:
    path = _write(tmp_path, "Kind,Date, Component \nwork,2009-05-01,water-pump\n")
    case = with_history_csv(parse_case(starter_text(datetime.date(2026, 11, 20)), "car.toml"), path)
    assert case.work[-1].component == "water-pump"
    with pytest.raises(InputError, match='the column "date" is there twice'):
        with_history_csv(case, _write(tmp_path, "date,Date\n2009,2010\n"))
