"""The part a person meant: the one whose words, or whose name's words, are most of those typed."""

from __future__ import annotations

import pytest

from estimator.casefile.against import unknown_id
from estimator.catalogue.load import load_catalogue
from estimator.problems import most_alike

CATALOGUE = load_catalogue()


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("timing belt", "timing-belt-tensioner-idlers"),
        ("Timing-Belts", "timing-belt-tensioner-idlers"),
        ("waterpump", "water-pump"),
        ("water-pmp", "water-pump"),
        ("brake pipes", "brake-pipes-rigid-set"),
        ("front brake pads", "front-pads-set"),
        ("oil sump gasket", "sump-gasket"),
        ("flexible-couplin-front", "flexible-coupling-front"),
        ("radiatr", "radiator"),
    ],
)
def test_the_part_whose_words_match_best_is_suggested(typed, meant):
    """By hand: what somebody who types this means."""
    assert f'(did you mean "{meant}"?)' in unknown_id(typed, CATALOGUE.components, what="component")


def test_names_count_as_well_as_ids():
    """By hand: a word that stands in the name only."""
    names = {"hub-front": "front wheel bearing", "hub-rear": "rear wheel bearing", "wheels": "wheels"}
    assert most_alike("rear wheel-bearings", names) == "hub-rear"


@pytest.mark.parametrize("typed", ["nosuch", "xyz", "", "???"])
def test_nothing_is_suggested_where_nothing_is_like_it(typed):
    assert "did you mean" not in unknown_id(typed, CATALOGUE.components, what="component")
