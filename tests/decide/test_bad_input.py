"""What people write wrongly, from the command line: a message and exit 2, or a stated, sensible answer. By hand."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from tests.command_line import CASE, refused, run

PRICED = CASE + "budget = 9000\nconfidence = 0.8\nrisk_tolerance = 3000\n"
VERBS = ("next", "offer")
FEW = ("--draws", 1500)


def written(tmp_path: Path, *changes: tuple[str, str], name: str = "car.toml") -> Path:
    text = PRICED
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("verb", VERBS)
@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("asking = 6500\n", "", "money.asking"),
        ("asking = 6500", "asking = -1", "asking"),
        ("asking = 6500", "asking = nan", "asking"),
        ("asking = 6500", 'asking = "6500"', "asking"),
        ("sound_example = [6000, 8000, 9500]\n", "", "money.sound_example"),
        ("[6000, 8000, 9500]", "[9500, 8000, 6000]", "sound_example"),
        ("[6000, 8000, 9500]", "[8000, 6000, 9500]", "sound_example"),
        ("[6000, 8000, 9500]", "[6000, 9500]", "sound_example"),
        ("[6000, 8000, 9500]", "[0, 0, 0]", "sound_example"),
        ("[6000, 8000, 9500]", '"8000"', "sound_example"),
        ("confidence = 0.8", "confidence = 0", "confidence"),
        ("confidence = 0.8", "confidence = 1", "confidence"),
        ("confidence = 0.8", "confidence = 80", "confidence"),
        ("risk_tolerance = 3000", "risk_tolerance = 0", "risk_tolerance"),
        ("risk_tolerance = 3000", "risk_tolerance = -5", "risk_tolerance"),
        ("budget = 9000", "budget = -9000", "budget"),
        ('currency = "GBP"', 'currency = "XYZ"', "XYZ"),
    ],
)
def test_refused_with_the_key(verb, old, new, said, tmp_path, capsys):
    text = refused(capsys, verb, written(tmp_path, (old, new)), *FEW)
    assert said in text


@pytest.mark.parametrize("verb", VERBS)
def test_a_tolerance_too_small_for_the_draws_says_which_would_do(verb, tmp_path, capsys):
    dear = ("[6000, 8000, 9500]", "[60000, 80000, 95000]")  # never down to scrap
    text = refused(
        capsys, verb, written(tmp_path, dear, ("risk_tolerance = 3000", "risk_tolerance = 3")), *FEW
    )
    assert "too small" in text
    enough = float(text.split("allowed here is about ")[1].split(" ")[0].replace(",", ""))
    again = written(tmp_path, dear, ("risk_tolerance = 3000", f"risk_tolerance = {enough + 1:.0f}"))
    assert run(verb, again, *FEW) == 0


def test_a_tolerance_beyond_what_doubles_hold_is_refused_with_one_that_does(tmp_path, capsys):
    """By hand: exp(-worth / tolerance) over a span of worths overflows past 709; numpy used to warn of it."""
    path = written(tmp_path, ("risk_tolerance = 3000", "risk_tolerance = 0.000001"))
    text = refused(capsys, "next", path, *FEW)
    assert "1e-06 is too small" in text
    enough = float(text.split("allowed here is about ")[1].split(" ")[0].replace(",", ""))
    assert (
        run("next", written(tmp_path, ("risk_tolerance = 3000", f"risk_tolerance = {enough + 1:.0f}")), *FEW)
        == 0
    )
    assert "Warning" not in capsys.readouterr().err


def test_scrap_above_a_poor_good_example_is_refused(tmp_path, capsys):
    text = refused(capsys, "offer", written(tmp_path, ("asking = 6500", "asking = 6500\nscrap = 6001")), *FEW)
    assert "scrap" in text
    assert "up to" in text
    assert run("offer", written(tmp_path, ("asking = 6500", "asking = 6500\nscrap = 6000")), *FEW) == 0


def answered(capsys, *words: object) -> dict:
    """JSON of a command that must do, every figure in it a number."""
    assert run(*words, "--json", "-") == 0
    return json.loads(capsys.readouterr().out, parse_constant=pytest.fail)


@pytest.mark.parametrize("verb", VERBS)
@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("asking = 6500", "asking = 0"),
        ("asking = 6500", "seller = [5000, 6000, 6500]"),
        ("asking = 6500", "asking = 6500\nseller = [5000, 6000, 9000]"),
        ("budget = 9000", "budget = 1000"),  # below what is asked
        ("budget = 9000", "budget = 0"),
        ("[6000, 8000, 9500]", "[8000, 8000, 8000]"),
        ("[6000, 8000, 9500]", "8000"),  # one figure is a range of no width
        ("confidence = 0.8", "confidence = 0.999"),
    ],
)
def test_odd_but_possible_is_answered(verb, old, new, tmp_path, capsys):
    data = answered(capsys, verb, written(tmp_path, (old, new)), *FEW)
    assert data["walk_away"] >= 0
    if verb == "next":
        assert all(math.isfinite(c["value"]) and c["value"] >= 0 for c in data["checks"])
    else:
        assert 0 <= data["opening"] <= data["target"] + 1e-9
        assert data["target"] <= data["walk_away"] + 1e-9


def test_a_gift_and_a_budget_below_the_asking_price_are_said(tmp_path, capsys):
    assert run("offer", written(tmp_path, ("asking = 6500", "asking = 0")), *FEW) == 0
    assert "gift" in capsys.readouterr().out
    assert run("offer", written(tmp_path, ("budget = 9000", "budget = 1000")), *FEW) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "below the asking price" in out


def test_comparing_one_car_two_currencies_or_the_same_file_twice(tmp_path, capsys):
    one = written(tmp_path)
    assert "at least two" in refused(capsys, "compare", one)
    euro = written(tmp_path, ('"GBP"', '"EUR"'), name="euro.toml")
    assert "two currencies" in refused(capsys, "compare", one, euro)
    free = written(tmp_path, ("asking = 6500\n", ""), name="free.toml")
    assert "money.asking" in refused(capsys, "compare", one, free)
    twice = answered(capsys, "compare", one, one, *FEW)
    assert twice["p_cheaper"][0][1] == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize("verb", [*VERBS, "sheet", "compare"])
def test_a_car_with_nothing_found_and_one_without_a_trait(verb, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    bare = written(tmp_path, ('traits = ["monocoque", "front-engine-rear-drive", "one-piece-prop-shaft", "live-axle", '
                              '"carburettor"]\n', ""))  # fmt: skip
    cars = (bare, written(tmp_path, name="other.toml")) if verb == "compare" else (bare,)
    assert run(verb, *cars, "--draws", 500) == 0
    assert capsys.readouterr().err == ""


def test_limits_of_a_visit(tmp_path, capsys):
    case = written(tmp_path)
    for words in (("--minutes", -1), ("--money", "much"), ("--minutes", "nan"), ("--draws", 0)):
        refused(capsys, "next", case, *words)
    none = answered(capsys, "next", case, "--minutes", 0, *FEW)
    assert none["stop_after"] == 0
