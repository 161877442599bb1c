"""The verbs next, offer, compare: their JSON, their text, wrong input. Keys are the contract."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.command_line import CASE, refused, run

PRICED = CASE + "budget = 9000\nrisk_tolerance = 3000\n"


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "car.toml"
    path.write_text(PRICED, encoding="utf-8")
    return path


def said(path: Path) -> dict:
    return json.loads(path.read_text(encoding="utf-8"), parse_constant=pytest.fail)


def test_next(case, tmp_path, capsys):
    out = tmp_path / "out.json"
    words = ("next", case, "--minutes", 20, "--station", "walk-round", "--draws", 2000, "--json", out)
    assert run(*words) == 0
    data = said(out)
    assert {"checks", "stop_after", "perfect_information"} <= set(data)
    assert {c["station"] for c in data["checks"]} == {"walk-round"}
    assert sum(c["minutes"] for c in data["checks"][: data["stop_after"]]) <= 20
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 80


def test_readings_are_valued_by_ranges(case, tmp_path):
    """By hand: tread 1.6 mm at least, told to 0.2 mm, so that two errors either side leave doubt."""
    out = tmp_path / "out.json"
    assert run("next", case, "--station", "walk-round", "--draws", 2000, "--json", out) == 0
    tread = next(c for c in said(out)["checks"] if c["id"] == "tyre-tread-three-points-each-wheel")
    told = [r["result"] for r in tread["results"]]
    assert told == ["below 1.2 mm", "1.2 to 1.6 mm", "1.6 to 2 mm", "2 mm or more"]
    assert sum(r["probability"] for r in tread["results"]) == pytest.approx(1)
    limits = [r["walk_away"] for r in tread["results"]]
    assert limits == sorted(limits)


def test_offer_and_its_sheet(case, tmp_path, capsys):
    out, page = tmp_path / "out.json", tmp_path / "sheet.html"
    assert run("offer", case, "--draws", 2000, "--json", out, "--sheet", page) == 0
    data = said(out)
    assert {
        "fair", "opening", "target", "walk_away", "binds", "highest_bid", "reference_outlay", "known_work",
        "hidden_allowance", "chance_budget_holds", "stops",
    } <= set(data)  # fmt: skip
    assert data["opening"] <= data["target"] <= data["walk_away"]
    assert data["highest_bid"] is None
    assert {"price", "chance"} == set(data["chance_budget_holds"][0])
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
    text = capsys.readouterr().out
    assert ("Walk away above" in text) == (data["walk_away"] > 0)
    assert ("Make no offer" in text) == (data["walk_away"] == 0)
    assert max(map(len, text.splitlines())) <= 80


def test_compare(case, tmp_path, capsys):
    other = tmp_path / "other.toml"
    other.write_text(
        PRICED.replace("68400", "21000").replace("A saloon of our own", "Another"), encoding="utf-8"
    )
    out = tmp_path / "out.json"
    assert run("compare", case, other, "--draws", 2000, "--json", out) == 0
    data = said(out)
    assert [c["case"] for c in data["cases"]] == ["A saloon of our own", "Another"]
    assert {"case", "outlay", "regret"} <= set(data["cases"][0])
    assert len(data["p_cheaper"]) == len(data["p_cheaper"][0]) == 2
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 80


def test_json_to_the_terminal_is_all_there_is(case, capsys):
    assert run("next", case, "--draws", 500, "--station", "cabin", "--json", "-") == 0
    assert "checks" in json.loads(capsys.readouterr().out)


def test_wrong_input(case, tmp_path, capsys):
    assert "at least two" in refused(capsys, "compare", case)
    assert "must be a number" in refused(capsys, "next", case, "--minutes", "soon")
    assert "there is no" in refused(capsys, "next", case, "--without", "a lamp")
    assert "there is no" in refused(capsys, "next", case, "--station", "cellar")
    bare = tmp_path / "bare.toml"
    bare.write_text(CASE.replace("asking = 6500\n", ""), encoding="utf-8")
    for verb in ("next", "offer"):
        assert "money.asking" in refused(capsys, verb, bare)
    euro = tmp_path / "euro.toml"
    euro.write_text(PRICED.replace("GBP", "EUR"), encoding="utf-8")
    assert "two currencies" in refused(capsys, "compare", case, euro)
    small = tmp_path / "small.toml"
    dear = PRICED.replace("[6000, 8000, 9500]", "[60000, 80000, 95000]")  # never down to scrap
    small.write_text(dear.replace("3000", "3"), encoding="utf-8")
    assert "too small" in refused(capsys, "offer", small, "--draws", 1000)
