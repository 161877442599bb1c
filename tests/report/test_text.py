"""The text of an assessment: stops first, figures as computed, 80 columns, plain characters."""

from __future__ import annotations

import dataclasses
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.assess import assess
from estimator.case import parse_case
from estimator.catalogue.load import load_catalogue
from estimator.report.plain_words import amount, chance, clean, money, table_step
from estimator.report.text import assessment_text, nice_width, sentence, why
from estimator.views.words import rounded

CASE = """\
format = 1
[car]
name = "A saloon of our own"
viewed = 2026-11-20
built = 1971-05-01
odometer = 68400
unit = "miles"
[money]
currency = "EUR"
asking = 6500
"""


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


@pytest.fixture(scope="module")
def found(catalogue):
    return assess(parse_case(CASE, "car", catalogue), catalogue, draws=400)


def lines(text: str) -> list[str]:
    return text.splitlines()


def test_fits_80_columns_in_plain_characters(found, catalogue):
    for everything in (False, True):
        text = assessment_text(found, catalogue, everything=everything)
        assert max(map(len, lines(text))) <= 80
        assert text.isascii()
        assert "\033" not in text
        assert not any(row != row.rstrip() for row in lines(text))


def test_open_stops_stand_before_any_figure(found, catalogue):
    text = assessment_text(found, catalogue)
    assert found.open_stops
    assert text.startswith("NOT LOOKED AT YET")
    assert text.index(catalogue.checks[found.open_stops[0]].name) < text.index("EUR")


def test_failed_stops_come_first_of_all(found, catalogue):
    stopped = dataclasses.replace(found, stops=(("numbers", "The numbers do not agree: do not buy."),))
    rows = lines(assessment_text(stopped, catalogue))
    assert rows[0].startswith("STOP")
    assert "The numbers do not agree" in rows[1]


def test_a_failed_stop_of_the_catalogue_reaches_the_text(catalogue):
    check = next(c for c in catalogue.checks.values() if c.stop and c.when == "all" and not c.reading)
    text = CASE + f'\n[[finding]]\ncheck = "{check.id}"\nresult = "present"\n'
    stopped = assess(parse_case(text, "car", catalogue), catalogue, draws=20)
    assert stopped.stops == ((check.id, check.stop),)
    assert assessment_text(stopped, catalogue).startswith("STOP")


def test_the_sentence_says_likely_one_in_five_and_worst(found):
    year = found.total.plan_year
    said = [float(x.replace(",", "")) for x in re.findall(r"EUR ([\d,]+)", sentence(found))]
    assert said == [rounded(year.p50), rounded(year.p80), rounded(year.p95)]
    assert year.p50 < year.p80 < year.p95


def test_table_holds_the_figures_of_the_assessment(found, catalogue):
    text = assessment_text(found, catalogue)
    step = table_step(found.total.plan_year.p95)
    table = text[text.index("now\n") : text.index("Only the means")]
    rows = [re.split(r"\s{2,}", row.strip()) for row in lines(table)]
    figures = {row[0]: row[1:] for row in rows[rows.index(["first year, now included"]) :] if len(row) == 4}
    for name, key in (("likely", "p50"), ("one in five is dearer than", "p80"), ("mean", "mean")):
        expected = [
            amount(getattr(split.plan_year, key), step=step)
            for split in (found.known, found.hidden, found.total)
        ]
        assert figures[name] == expected


def test_picture_shows_twenty_outcomes_each_in_its_column(found, catalogue):
    """By hand: dots at 50, 150 (twice) and 950 in columns 100 wide."""
    text = assessment_text(found, catalogue)
    picture = text[text.index("Twenty equally") : text.index("Dearest parts")]
    assert sum(row.count("  o") for row in lines(picture)[1:]) == 20
    few = dataclasses.replace(found, dots=(50.0, 150.0, 150.0, 950.0))
    text = assessment_text(few, catalogue)
    rows = lines(text[text.index("Twenty equally") : text.index("Dearest parts")])
    assert rows[1] == "         o"
    assert rows[2] == "    o    o" + " " * 39 + "o"
    assert rows[4].split()[:3] == ["0", "200", "400"]


@pytest.mark.parametrize("worth", [0.0, 3.0, 1e9])
def test_picture_of_nothing_little_and_very_much(worth, found, catalogue):
    text = assessment_text(dataclasses.replace(found, dots=(worth,) * 20), catalogue)
    assert text.count("\n    ") > 0
    assert max(map(len, lines(text))) <= 80


def test_parts_are_the_dearest_of_the_total_and_comfort_stands_apart(found, catalogue):
    text = assessment_text(found, catalogue, top=3)
    parts = text[text.index("Dearest parts") : text.index("more: --all")]
    inside = [c for c in found.components if c.need != "comfort"][:3]
    assert all(c.name.split()[0] in parts for c in inside)
    looks = next(c for c in found.components if c.need == "comfort")
    assert looks.name not in parts
    assert looks.name in text[text.index("Apart from the total") :]


def test_everything_shows_every_part_and_every_warning(found, catalogue):
    short, full = (assessment_text(found, catalogue, everything=e) for e in (False, True))
    assert "--all shows every one" in short
    assert "--all shows every one" not in full
    flat = " ".join(full.split())
    assert all(" ".join(warning.split()) in flat for warning in found.warnings)


def test_why_starts_from_the_base_and_ends_at_the_chance(found):
    part = found.components[0]
    text = why(part)
    assert f"{100 * part.why[0].points:.0f} any such part" in text
    assert f"= {100 * part.p_spent:.0f}" in text


def test_suspects_are_named_with_their_parts(found, catalogue):
    from estimator.known import SuspectGroup

    two = tuple((c.id, c.p_spent) for c in found.components[:2])
    text = assessment_text(
        dataclasses.replace(found, suspects=(SuspectGroup("x", "clonk on take-up?", two),)), catalogue
    )
    assert "clonk on take-up: " + found.components[0].name in " ".join(text.split())


def test_cautions_and_local_rules_are_always_there(found, catalogue):
    text = " ".join(assessment_text(found, catalogue).split())
    assert "What needs care" in text
    assert "Local rules" in text
    assert "not an inspection, a valuation or a roadworthiness certificate" in text


def test_names_people_typed_cannot_drive_the_terminal(found, catalogue):
    nasty = dataclasses.replace(found, case="car\x1b[2J\x07\nnext")
    assert "\x1b" not in assessment_text(nasty, catalogue)
    assert clean("a\x1b[31mb\n") == "a [31mb"


# --- wording ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0.0, "hardly ever"),
        (0.01, "about one in a hundred"),
        (0.34, "about one in three"),
        (0.49, "about one in two"),
        (0.74, "about three in four"),
        (0.99, "almost certain"),
        (1.0, "almost certain"),
    ],
)
def test_chance_in_words(probability, words):
    """By hand."""
    assert chance(probability) == words


@given(st.floats(0, 1), st.floats(0, 1))
def test_a_larger_chance_never_sounds_smaller(a, b):
    order = ["hardly ever", *(chance(p / 1000) for p in range(7, 976)), "almost certain"]
    low, high = sorted((a, b))
    assert order.index(chance(low)) <= len(order) - 1 - order[::-1].index(chance(high))


@pytest.mark.parametrize("wrong", [-0.1, 1.1, float("nan")])
def test_what_is_no_chance_is_refused(wrong):
    with pytest.raises(ValueError, match="probability"):
        chance(wrong)


@pytest.mark.parametrize(
    ("value", "said"),
    [(0, "0"), (4, "0"), (7.6, "10"), (1234, "1,200"), (12345.6, "12,000"), (-1234, "-1,200")],
)
def test_amounts_to_two_figures(value, said):
    """By hand."""
    assert amount(value) == said
    assert money(value, "GBP") == f"GBP {said}"


@pytest.mark.parametrize(("least", "width"), [(0, 1), (3, 5), (21, 25), (26, 50), (1001, 2000)])
def test_nice_widths(least, width):
    """By hand: 1, 2, 2.5, 5 times a power of ten."""
    assert nice_width(least) == width


@pytest.mark.parametrize(("largest", "step"), [(0, 1), (999, 1), (1000, 10), (58_700, 100)])
def test_one_step_for_a_whole_table(largest, step):
    """By hand: three figures of the largest sum."""
    assert table_step(largest) == step
    assert amount(1234.5, step=10) == "1,230"
