"""What an estimate rests on: shares by source, by hand."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from estimator.catalogue.load import load_catalogue
from estimator.catalogue.provenance import KINDS, how_much_weights, provenance, when_weights
from estimator.catalogue.records import Component, Source

SOURCES: Mapping[str, Source] = {
    "elicited": Source(id="elicited", title="x", kind="elicited", spread=0.3),
    "common-practice": Source(id="common-practice", title="x", kind="common-practice", spread=0.2),
    "handbook": Source(id="handbook", title="x", kind="published", spread=0.1),
}


def part(**given: object) -> Component:
    first = next(iter(load_catalogue().components.values()))
    remedies = tuple(r.model_copy(update={"source": ""}) for r in first.remedy[-1:])
    usual = {"source": "elicited", "sources": {}, "remedy": remedies, "life_km": None}
    return first.model_copy(update={**usual, "life_years": first.life_years or first.life_km, **given})


def test_a_part_with_one_source_rests_on_it_alone() -> None:
    assert when_weights(part()) == pytest.approx({"elicited": 1.0})
    assert how_much_weights(part()) == pytest.approx({"elicited": 1.0})


def test_a_figures_own_source_goes_before_the_records() -> None:
    """By hand: when = deferral and life, half each; how much = own hours and one remedy, half each."""
    one = part(sources={"life_years": "handbook", "hours": "common-practice"})
    assert when_weights(one) == pytest.approx({"elicited": 0.5, "handbook": 0.5})
    assert how_much_weights(one) == pytest.approx({"elicited": 0.5, "common-practice": 0.5})


def test_shares_are_weighted_by_cost_and_by_variance() -> None:
    """By hand: costs 300 and 100, variances 1 and 9; the second part rests on the handbook alone."""
    parts = [part(), part(source="handbook")]
    found = provenance(parts, mean_cost=[300, 100], variance=[1, 9], sources=SOURCES)
    assert found.cost_by_kind == pytest.approx(
        {"published": 0.25, "common-practice": 0, "elicited": 0.75, "from-memory": 0, "entered": 0}
    )
    assert found.variance_by_kind["published"] == pytest.approx(0.9)
    assert list(found.cost_by_source) == ["elicited", "handbook"]
    assert list(found.variance_by_source) == ["handbook", "elicited"]
    assert found.spread == pytest.approx(0.75 * 0.3 + 0.25 * 0.1)


def test_what_a_bill_is_made_of_and_what_varies_can_be_told_apart() -> None:
    """By hand: a bill all from the handbook, three quarters of the variance from whether there is one."""
    found = provenance(
        [part()],
        mean_cost=[10],
        variance=[4],
        sources=SOURCES,
        how_much=[{"handbook": 1.0}],
        when_share=[0.75],
    )
    assert found.cost_by_source == pytest.approx({"elicited": 0.5, "handbook": 0.5})
    assert found.variance_by_source == pytest.approx({"elicited": 0.75, "handbook": 0.25})


def test_no_cost_has_no_shares() -> None:
    found = provenance([part()], mean_cost=[0], variance=[0], sources=SOURCES)
    assert (found.cost_by_kind, found.variance_by_source, found.spread) == ({}, {}, 0)


@pytest.mark.parametrize(
    ("cost", "variance"), [([1, 2], [1]), ([-1], [1]), ([1], [float("nan")]), ([1], [-1])]
)
def test_nonsense_is_refused(cost: list[float], variance: list[float]) -> None:
    with pytest.raises(ValueError):
        provenance([part()], mean_cost=cost, variance=variance, sources=SOURCES)


def test_whole_catalogue_adds_up() -> None:
    catalogue = load_catalogue()
    parts = list(catalogue.components.values())
    found = provenance(
        parts, mean_cost=range(len(parts)), variance=[1.0] * len(parts), sources=catalogue.sources
    )
    assert tuple(found.cost_by_kind) == KINDS
    for shares in (
        found.cost_by_kind,
        found.variance_by_kind,
        found.cost_by_source,
        found.variance_by_source,
    ):
        assert sum(shares.values()) == pytest.approx(1, abs=1e-12)
