"""`estimator sheet` and `estimator report` from the command line: files, messages, exit codes. By hand."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from estimator import cli

SALOON = Path(__file__).resolve().parents[2] / "data" / "examples" / "small-saloon.toml"


@pytest.fixture
def case(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "saloon.toml"
    shutil.copy(SALOON, path)
    return path


def test_sheet_writes_both_beside_you(case, capsys):
    before = case.read_bytes()
    assert cli.main(["sheet", "saloon.toml", "--draws", "300"]) == 0
    said = capsys.readouterr()
    assert "saloon-sheet.pdf" in said.out
    assert Path("saloon-sheet.pdf").read_bytes().startswith(b"%PDF")
    assert Path("saloon-sheet.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    assert case.read_bytes() == before
    assert sorted(one.name for one in Path().iterdir()) == [
        "saloon-sheet.html",
        "saloon-sheet.pdf",
        "saloon.toml",
    ]


def test_sheet_of_one_station_as_json(case, capsys):
    words = [
        "sheet",
        "saloon.toml",
        "--draws",
        "300",
        "--html",
        "s.html",
        "--station",
        "road-test",
        "--json",
        "-",
    ]
    assert cli.main(words) == 0
    data = json.loads(capsys.readouterr().out)
    assert [s["id"] for s in data["stations"]] == ["road-test"]
    assert len(data["stations"][0]["checks"]) > 10
    assert not Path("saloon-sheet.pdf").exists()


def test_a_car_without_asking_price_gets_a_sheet(case):
    text = case.read_text(encoding="utf-8")
    rows = [row for row in text.splitlines() if not row.startswith(("asking", "seller", "sound_example"))]
    case.write_text("\n".join(rows), encoding="utf-8")
    assert cli.main(["sheet", "saloon.toml", "--draws", "300", "--html", "s.html"]) == 0


def test_report_writes_three(case, capsys):
    words = ["report", "saloon.toml", "--draws", "300", "--json", "r.json"]
    assert cli.main(words) == 0
    assert Path("saloon-report.pdf").read_bytes().startswith(b"%PDF")
    assert Path("saloon-report.xlsx").read_bytes().startswith(b"PK")
    assert "</html>" in Path("saloon-report.html").read_text(encoding="utf-8")
    data = json.loads(Path("r.json").read_text(encoding="utf-8"))
    assert data["files"]["xlsx"] == "saloon-report.xlsx"
    assert "outlay" in data


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["sheet", "saloon.toml", "--pdf", "saloon.toml"], "is the file that is read"),
        (["sheet", "saloon.toml", "--pdf", "-"], "wants a file name"),
        (["sheet", "saloon.toml", "--pdf", "a", "--html", "a"], "same file"),
        (["sheet", "saloon.toml", "--html", "no/such/s.html"], "no folder"),
        (["sheet", "nothing.toml"], "no such file"),
        (["sheet", "saloon.toml", "--station", "roadtest"], "did you mean road-test"),
        (["report", "saloon.toml", "--xlsx", "x", "--pdf", "./x"], "same file"),
        (["report", "saloon.toml", "--html", "."], "is a folder"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_written(case, capsys, words, said):
    assert cli.main(words) == 2
    error = capsys.readouterr().err
    assert said in error
    assert "Traceback" not in error
    assert [one.name for one in Path().iterdir()] == ["saloon.toml"]


def test_wrong_sides_end_in_2(capsys):
    with pytest.raises(SystemExit) as ended:
        cli.main(["sheet", "x", "--sides", "0"])
    assert ended.value.code == 2
    assert "1 to 40" in capsys.readouterr().err
