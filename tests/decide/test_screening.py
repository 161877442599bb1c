"""Many cars at once: every row answered, in order, whatever is wrong with its neighbours."""

from __future__ import annotations

import csv
import json

import pytest

from estimator.decide.screening import COLUMNS, screen
from estimator.problems import InputError
from tests.command_line import refused, run

LIST = """name,viewed,built,odometer,unit,currency,asking,sound_example,traits
first,2026-05-01,1980-01-01,80000,miles,GBP,5000,4000 6000 8000,front-engine-rear-drive live-axle
second,2026-05-01,1975-06-01,not-known,miles,GBP,5000,4000 6000 8000,
third,2026-05-01,1985-01-01,120000,km,XAF,5000,,
fourth,2026-05-01,1990-01-01,90000,km,EUR,,,monocoque
"""


@pytest.fixture
def path(tmp_path):
    made = tmp_path / "cars.csv"
    made.write_text(LIST, encoding="utf-8")
    return made


def test_a_row_for_every_car_and_none_stops_another(path):
    frame = screen(path, draws=400, workers=1)
    assert list(frame.columns) == list(COLUMNS)
    assert list(frame["case"]) == ["first", "second", "third", "fourth"]
    assert list(frame["ok"]) == [True, False, False, True]
    assert "odometer" in frame["error"][1]
    assert "XAF" in frame["error"][2]
    assert frame["p50"][0] > 0
    assert frame["walk_away"][0] >= 0
    assert frame["walk_away"].isna()[3]


def test_processes_change_nothing(path):
    one, two = (screen(path, draws=300, workers=w) for w in (1, 2))
    assert one.equals(two)


def test_csv_and_json_lines(path, tmp_path):
    out, lines = tmp_path / "out.csv", tmp_path / "out.jsonl"
    assert run("screen", path, "--draws", 300, "--workers", 1, "--out", out, "--json", lines) == 0
    with out.open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    said = [
        json.loads(row, parse_constant=pytest.fail) for row in lines.read_text(encoding="utf-8").splitlines()
    ]
    assert [r["case"] for r in rows] == [r["case"] for r in said] == ["first", "second", "third", "fourth"]
    assert {"case", "ok", "error", "p50", "p80", "walk_away"} <= set(said[0])


def test_a_list_that_cannot_be_read_is_refused(tmp_path, capsys):
    with pytest.raises(InputError):
        screen(tmp_path / "missing.csv", workers=1)
    bad = tmp_path / "bad.csv"
    bad.write_text("name,colour\nx,red\n", encoding="utf-8")
    assert "colour" in refused(capsys, "screen", bad)
