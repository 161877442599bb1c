"""How sums and chances are written. Tags: by hand."""

from __future__ import annotations

import dataclasses
import datetime
from typing import get_args

import pytest

from estimator.assess import Assessment
from estimator.case import Bought, Case
from estimator.casefile import words as allowed
from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import STATIONS, SYSTEMS, Condition, Need
from estimator.views import frames, plan, sentences, words


@pytest.mark.parametrize(
    ("amount", "written"),
    [(6_412, "£6,400"), (9_849, "£9,800"), (9_951, "£10,000"), (412, "£410"), (44, "£40"), (3, "£0"), (0, "£0"),
     (123_456, "£120,000"), (-1_260, "-£1,300")],
)  # fmt: skip
def test_uncertain_sums_have_two_leading_figures(amount: float, written: str) -> None:
    assert words.about(amount, "GBP") == written


def test_sums_name_their_currency() -> None:
    assert words.money(1234.4, "EUR") == "€1,234"
    assert words.money(1234.4, "SEK") == "SEK\u00a01,234"
    assert words.span(2010, 2040, "GBP") == "£2,000"
    assert words.span(240, 612, "GBP") == "£240 to £610"


@pytest.mark.parametrize(
    ("p", "written"),
    [(1.0, "as good as certain"), (0.97, "more than 19 in 20"), (0.94, "about 9 in 10"), (0.5, "about 5 in 10"),
     (0.15, "about 2 in 10"), (0.125, "about 1 in 8"), (0.02, "about 1 in 50"), (0.001, "less than 1 in 200")],
)  # fmt: skip
def test_chances_are_frequencies(p: float, written: str) -> None:
    assert words.chance(p) == written


def test_the_day_a_page_names_is_the_day_it_is_worked_out_as_of(case: Case) -> None:
    """By hand: the viewing; once bought the day it is worked out as of, with the purchase, not the viewing."""
    assert sentences.as_of(case) == f"{case.name}, as seen on {words.day(case.car.viewed)}."
    bought = Bought(date=datetime.date(2026, 12, 1), price=5_000.0, as_of=datetime.date(2027, 3, 9))
    said = sentences.as_of(dataclasses.replace(case, bought=bought))
    year = "The first year here runs from 9 Mar 2027 to 9 Mar 2028."
    assert said.replace(words.NBSP, " ") == f"{case.name}, bought on 1 Dec 2026. {year}"
    assert words.day(case.car.viewed) not in said


def test_days_lists_and_counts() -> None:
    assert words.day(datetime.date(1998, 6, 1)) == "1\u00a0Jun\u00a01998"
    assert words.listed(["a", "b", "c"]) == "a, b and c"
    assert words.listed([]) == ""
    assert words.plural(1, "entry", "entries") == "1 entry"
    assert words.plural(2, "entry", "entries") == "2 entries"


def test_typed_text_is_no_markup() -> None:
    assert words.plain("a*b [x](y) $1$") == r"a\*b \[x\](y) \$1\$"


def test_every_word_of_the_case_file_has_a_screen_word() -> None:
    """Second method: the words the reader allows, against the table."""
    pairs = {
        "viewer": allowed.Viewer, "sale": allowed.Sale, "reason": allowed.Reason, "unit": allowed.Unit,
        "care": allowed.Care, "parts": allowed.Parts, "storage": allowed.Storage, "climate": allowed.Climate,
        "use": allowed.Use, "value_means": allowed.ValueMeans, "test_result": allowed.TestResult,
        "what": allowed.What, "fitted": allowed.Fitted, "by": allowed.By, "evidence": allowed.Evidence,
        "side": allowed.Side, "how": allowed.How,
    }  # fmt: skip
    for key, literal in pairs.items():
        assert set(words.CHOICES[key]) == set(get_args(literal)), key
    assert set(words.SYSTEMS) == set(SYSTEMS)
    assert tuple(words.STATIONS) == STATIONS
    assert set(words.CHECK_NEEDS) == set(get_args(Condition))
    assert set(words.NEEDS) == set(get_args(Need))


def test_every_question_about_the_build_has_its_theme(catalogue: Catalogue) -> None:
    placed = [group for groups in words.BUILD_SECTIONS.values() for group in groups]
    assert len(placed) == len(set(placed))
    assert set(placed) <= set(catalogue.groups)


def test_the_first_sentence_holds_the_middle_and_the_bad_one_in_five(assessment: Assessment) -> None:
    d = assessment.total.plan_year
    said = sentences.headline(assessment)
    assert words.about(d.p50, assessment.currency) in said
    assert said.endswith(f"in one case of five more than {words.about(d.p80, assessment.currency)}.")


def test_what_has_not_moved_is_not_said(assessment: Assessment) -> None:
    d = assessment.total.plan_year
    assert sentences.change(None, assessment) == ""
    assert sentences.change((d.p50, d.p80), assessment) == ""
    assert "→" in sentences.change((d.p50 * 2, d.p80), assessment)


@pytest.mark.parametrize(
    "traits", [{"front-engine-rear-drive"}, {"front-drive"}, {"rear-engine"}, {"mid-engine"}, set()]
)
def test_the_drawing_shows_every_area_once(traits: set[str], assessment: Assessment) -> None:
    """By hand: one group a area, the six dearest numbered, the dearest the darkest."""
    frame = frames.areas(assessment)
    colours = plan.Colours(ink="#000000", paper="#ffffff", shade="#000000")
    svg = plan.drawing(frame, traits=traits, colours=colours, title="a <car> & more")
    for area in frames.AREAS:
        assert svg.count(f'id="area-{area}"') == 1
    assert svg.count("<text") == min(plan.NUMBERED, int((frame["mean"] > 0).sum()))
    assert "a &lt;car&gt; &amp; more" in svg
    first = frame.iloc[0]["area"]
    darkest = plan.mix("#ffffff", "#000000", plan.DARKEST)
    assert f'id="area-{first}" fill="{darkest}"' in svg


def test_mixing_colours() -> None:
    assert plan.mix("#000000", "#ffffff", 0.5) == "#808080"
    assert plan.mix("#102030", "#ffffff", 0) == "#102030"
