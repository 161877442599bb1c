"""plan, keep, record and fit on the command line: their JSON, their files, every kind of wrong input."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.command_line import CASE, refused, run

LIVES = "distance,failed\n6700,1\n6950,0\n9120,1\n12200,1\n14300,1\n17520,1\n20100,0\n"


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "car.toml"
    path.write_text(CASE, encoding="utf-8")
    return path


@pytest.fixture
def lives(tmp_path: Path) -> Path:
    path = tmp_path / "lives.csv"
    path.write_text(LIVES, encoding="utf-8")
    return path


def test_plan_writes_its_json_orders_and_cards(case, tmp_path, capsys):
    json_to, orders, cards = (tmp_path / n for n in ("plan.json", "orders.xlsx", "cards.html"))
    words = ("--draws", 200, "--monthly", 900, "--own-hours", 12, "--own-skill", 2, "--do", "brake-fluid")
    assert run("plan", case, *words, "--json", json_to, "--orders", orders, "--cards", cards) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "reserve" in out
    data = json.loads(json_to.read_text(encoding="utf-8"), parse_constant=pytest.fail)
    assert {"status", "months", "reserve", "while_apart", "orders"} <= set(data)
    assert len(data["months"]) == 12
    assert orders.read_bytes()[:2] == b"PK"
    assert "<article" in cards.read_text(encoding="utf-8")


def test_no_hours_and_no_money_is_a_plan_that_says_so(case, tmp_path, capsys):
    """By hand: nothing fits, what would free it is named; a plan without jobs has cards that say there are none."""
    none = ("--monthly", 0, "--in-hand", 0, "--own-hours", 0, "--draws", 100)
    assert run("plan", case, *none, "--do", "brake-fluid", "--cards", tmp_path / "cards.txt") == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "No job fits into the limits." in out
    assert "would let everything fit" in out
    assert run("plan", case, "--threshold", "0.999", "--draws", 100, "--cards", tmp_path / "no.txt") == 0
    assert "No single part is likely enough" in capsys.readouterr().out
    assert (tmp_path / "no.txt").read_text(encoding="utf-8") == "No jobs are planned.\n"


def test_keep_writes_its_json(case, capsys):
    assert run("keep", case, "--draws", 200, "--years", 3, "--json", "-") == 0
    data = json.loads(capsys.readouterr().out, parse_constant=pytest.fail)
    assert {"years", "nominal", "present", "per_distance", "per_year"} <= set(data)
    assert [y["year"] for y in data["years"]] == [1, 2, 3]


def test_record_adds_and_looks_back(case, tmp_path, capsys):
    words = ("--bought", "2026-12-05", "--paid", 6000, "--date", "2026-12-20", "--invoice", "brake-fluid")
    assert run("record", case, *words, "--price", 60, "--draws", 100, "--json", tmp_path / "out.json") == 0
    data = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"), parse_constant=pytest.fail)
    assert {"case", "added", "outlay"} <= set(data)
    assert [e["table"] for e in data["added"]] == ["bought", "work"]
    assert data["look_back"]["spent"] == 60
    assert data["look_back"]["bills"]["verdict"] is None  # one bill says nothing
    assert 'component = "brake-fluid"' in case.read_text(encoding="utf-8")
    capsys.readouterr()
    before = case.read_text(encoding="utf-8")
    text = refused(
        capsys, "record", case, "--date", "2026-12-20", "--invoice", "brake-fluid", "--no-forecast"
    )
    assert "recorded already" in text
    assert case.read_text(encoding="utf-8") == before


def test_fit_writes_its_json(lives, capsys):
    assert run("fit", lives, "--json", "-") == 0
    data = json.loads(capsys.readouterr().out, parse_constant=pytest.fail)
    assert {"clocks", "b10", "b50", "log_likelihood", "n", "failed", "level"} <= set(data)
    assert {"shape", "scale", "shape_interval", "scale_interval"} <= set(data["clocks"]["distance"])
    assert (data["n"], data["failed"]) == (7, 5)
    assert run("fit", lives, "--own", 10_000, 20_000) == 0
    assert "elicited" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("plan", "--months", 0), "from 1 to 36"),
        (("plan", "--monthly", "much"), "number"),
        (("plan", "--level", 1), "between 0 and 1"),
        (("plan", "--orders", "list.txt"), ".csv or .xlsx"),
        (("plan", "--cards", "cards.pdf"), ".html"),
        (("plan", "--months", 37), "from 1 to 36"),
        (("plan", "--own-hours", "-1"), "0 or more"),
        (("plan", "--do", "no-such-part", "--draws", 20), "no part of this car"),
        (("plan", "--by", "1999-01-01", "--draws", 20), "within the months planned"),
        (("keep", "--years", 0), "from 1 to 40"),
        (("keep", "--years", 200), "from 1 to 40"),
        (("keep", "--discount=-100%"), "above -50 %"),
        (("keep", "--discount", "-1"), "above -50 %"),
        (("keep", "--discount", "nan"), "above -50 %"),
        (("keep", "--inflation", "100%"), "below 100 %"),
        (("record",), "nothing to record"),
        (("record", "--paid", 100), "--bought"),
        (("record", "--price", 10), "--invoice or --done"),
        (
            ("record", "--finding", "brake-fluid=perhaps"),
            "of the part of that name: seen-sound, seen-worn or seen-spent; found",
        ),
        (("record", "--quote", "brake-fluid"), "PART:REMEDY:PRICE"),
        (
            ("record", "--currency", "EUR", "--date", "2026-11-20", "--done", "brake-fluid"),
            "the case is in GBP",
        ),
        (("record", "--date", "2026-11-20", "--done", "no-such-part"), "no-such-part"),
        (
            ("record", "--date", "2026-11-20", "--done", "brake-fluid", "--done", "brake-fluid"),
            "stands twice",
        ),
        (("record", "--date", "2026-11-20", "--done", "brake-fluid", "--price", "-5"), "0 or more"),
        (
            ("record", "--bought", "2026-12-05", "--date", "2026-11-20", "--invoice", "brake-fluid"),
            "before the purchase",
        ),
        (("record", "--date", "2026-12-24", "--done", "brake-fluid"), "add [bought]"),
        (("record", "--date", "20.11.2026", "--done", "brake-fluid"), "1998-06-11"),
    ],
)
def test_wrong_input_ends_in_two_with_a_message_and_the_file_as_it_was(case, capsys, words, said):
    verb, *rest = words
    assert said in refused(capsys, verb, case, *rest)
    assert case.read_text(encoding="utf-8") == CASE


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"), ("distance\n10\n", "column failed"), ("failed\n1\n", "distance, years or both"),
        ("distance,failed\n", "not a single row"), ("distance,failed\n-3,1\n5,1\n", "line 2, distance"),
        ("distance,failed\n3,2\n5,1\n", "line 2, failed"), ("distance,failed\n3,1\n,1\n", "line 3, distance: is empty"),
        ("distance,faild\n3,1\n", 'did you mean "failed"'), ("distance,failed\n3,0\n5,0\n", "two failures"),
        ("years,failed,entry_years\n3,1,4\n5,1,0\n", "entry_years"),
        ("years,failed,component\n3,1,a\n5,1,b\n", "several components"),
    ],
)  # fmt: skip
def test_wrong_files_of_lives(tmp_path, capsys, text, said):
    path = tmp_path / "lives.csv"
    path.write_text(text, encoding="utf-8")
    assert said in refused(capsys, "fit", path)


def test_fit_refuses_an_unknown_prior(lives, capsys):
    assert "unknown component" in refused(capsys, "fit", lives, "--prior", "water-pumps")
    assert "takes the place" in refused(capsys, "fit", lives, "--prior", "water-pump", "--own", 1, 2)
