"""The language of `when`, and what it says of a car of which not everything is known."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator.catalogue.builds import Questions, share_in
from estimator.catalogue.expressions import Expression, both, parse_expression
from estimator.catalogue.load import load_catalogue, read_catalogue
from estimator.catalogue.records import Trait
from tests.catalogue.small import write

NAMES = ["a", "b", "c", "open-body"]


@pytest.mark.parametrize(
    ("text", "traits", "holds"),
    [
        ("all", (), True),
        ("a", ("a",), True),
        ("a", ("b",), False),
        ("!a", (), True),
        ("a,b", ("a",), False),
        ("a,b", ("a", "b"), True),
        ("a/b", ("b",), True),
        ("a/b,!c", ("b", "c"), False),
        ("a/b,!c", ("b",), True),
        ("!a/!b", ("a",), True),  # not a, or not b
        ("!a/!b", ("a", "b"), False),
        (" a / b , ! c ", ("a",), True),  # blanks do not count
    ],
)
def test_comma_is_and_slash_is_or_exclamation_mark_is_not(
    text: str, traits: tuple[str, ...], holds: bool
) -> None:
    """By hand."""
    assert parse_expression(text).holds(frozenset(traits)) is holds


@pytest.mark.parametrize("text", ["", "a,", ",a", "a//b", "a b", "a,,b", "!", "a & b", "a;b", "(a)", "a.b"])
def test_what_cannot_be_read_is_refused_with_the_piece(text: str) -> None:
    with pytest.raises(ValueError, match="cannot read"):
        parse_expression(text)


@st.composite
def expressions(draw: st.DrawFn) -> str:
    piece = st.tuples(st.sampled_from(["", "!"]), st.sampled_from(NAMES)).map("".join)
    clause = st.lists(piece, min_size=1, max_size=3).map("/".join)
    return ",".join(draw(st.lists(clause, min_size=1, max_size=3)))


def _python(piece: str) -> str:
    return f"({piece[1:]!r} not in traits)" if piece.startswith("!") else f"({piece!r} in traits)"


@given(text=expressions())
def test_expression_is_the_python_it_stands_for(text: str) -> None:
    """Second method: Python's own and, or, not over every build of four traits."""
    parsed = parse_expression(text)
    for size in range(len(NAMES) + 1):
        for traits in itertools.combinations(NAMES, size):
            meant = " and ".join(
                "(" + " or ".join(_python(piece) for piece in clause.split("/")) + ")"
                for clause in text.split(",")
            )
            assert parsed.holds(frozenset(traits)) == eval(meant, {"traits": traits})


@given(one=expressions(), other=expressions())
def test_both_holds_where_each_does(one: str, other: str) -> None:
    together = both([parse_expression(one), parse_expression(other)])
    for size in range(len(NAMES) + 1):
        for traits in map(frozenset, itertools.combinations(NAMES, size)):
            each = parse_expression(one).holds(traits) and parse_expression(other).holds(traits)
            assert together.holds(traits) == each


def test_both_of_nothing_is_every_car() -> None:
    assert both([]) == Expression(()) == parse_expression("all")


# --- cars of which not everything is known ---------------------------------------------------------------


def _small(tmp_path: Path) -> Questions:
    return read_catalogue(write(tmp_path)).questions


def test_share_is_a_straight_line_between_years_and_level_outside() -> None:
    """By hand: from .25 in 1955 to .75 in 1999 is .5 in 1977."""
    trait = Trait(id="x", name="x", group="g", share=((1955, 0.25), (1999, 0.75)))
    assert share_in(trait, 1977) == pytest.approx(0.5)
    assert share_in(trait, 1900) == 0.25
    assert share_in(trait, 2030) == 0.75


def test_open_question_is_mixed_by_the_shares_of_the_year(tmp_path: Path) -> None:
    """By hand: front-drive .5 in 1977; an oil cooler not named is not there."""
    questions = _small(tmp_path)
    nothing: frozenset[str] = frozenset()
    assert questions.chance(parse_expression("front-drive"), nothing, year=1977) == pytest.approx(0.5)
    assert questions.chance(parse_expression("front-drive,cooler"), nothing, year=1977) == 0
    assert questions.open_groups(nothing) == ("layout",)


def test_a_named_trait_rules_answers_out(tmp_path: Path) -> None:
    """An oil cooler excludes rear-drive, which says nothing of it itself: the only answer left is certain."""
    questions = _small(tmp_path)
    cooler = frozenset({"cooler"})
    assert questions.chance(parse_expression("front-drive"), cooler, year=1977) == 1.0
    assert questions.chance(parse_expression("rear-drive"), cooler, year=1977) == 0.0


def test_else_answer_is_taken_where_none_is_named(tmp_path: Path) -> None:
    questions = _small(tmp_path)
    assert "steel-wheels" in questions.complete(frozenset())
    assert "steel-wheels" not in questions.complete(frozenset({"wire-wheels"}))


def test_every_way_to_answer_is_possible_and_shares_sum_to_one() -> None:
    """Every set of open questions of our catalogue, for four years: P(part) + P(no part) = 1."""
    catalogue = load_catalogue()
    for year in (1955.0, 1968.0, 1982.0, 1999.0):
        for component in list(catalogue.components.values())[::7]:
            has = catalogue.has_expression(component.expression, frozenset(), year=year)
            assert 0 <= has <= 1
            for trait in ("live-axle", "front-drive", "diesel"):
                there = catalogue.has_expression(parse_expression(trait), frozenset(), year=year)
                not_there = catalogue.has_expression(parse_expression(f"!{trait}"), frozenset(), year=year)
                assert there + not_there == pytest.approx(1, abs=1e-12)


def test_a_layout_left_open_decides_axle_and_shaft() -> None:
    """No build has a propeller shaft without an engine in front driving the rear, whatever is left open."""
    catalogue = load_catalogue()
    shaft = "one-piece-prop-shaft/two-piece-prop-shaft/torque-tube"
    for year in (1958.0, 1975.0, 1990.0):
        chance = catalogue.has_expression(parse_expression(shaft), frozenset(), year=year)
        layout = catalogue.has_expression(parse_expression("front-engine-rear-drive"), frozenset(), year=year)
        assert chance == pytest.approx(layout, abs=1e-9)
        for impossible in (
            f"front-drive,{shaft}",
            "front-drive,live-axle",
            "rear-engine,one-piece-prop-shaft",
        ):
            assert catalogue.has_expression(parse_expression(impossible), frozenset(), year=year) == 0
            assert not catalogue.questions.can_hold(parse_expression(impossible))
