"""What one car's estimate rests on: shares of expected cost and of variance by kind of figure."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from estimator.assess import Result, assess_fully
from estimator.case import parse_case
from estimator.catalogue.load import load_catalogue
from estimator.catalogue.provenance import KINDS
from estimator.provenance import heaviest, rests_on
from tests.command_line import CASE, refused, run

DRAWS = 2_000
QUOTE = """
[[quote]]
component = "tyres-set"
remedy = "new"
price = 400
covers = "job"
"""


def worked(extra: str = "") -> Result:
    catalogue = load_catalogue()
    return assess_fully(parse_case(CASE + extra, catalogue), catalogue, draws=DRAWS)


@pytest.fixture(scope="module")
def plain() -> Result:
    return worked()


def test_shares_sum_to_one_over_kinds_and_sources(plain: Result) -> None:
    found = rests_on(plain)
    for shares in (
        found.cost_by_kind,
        found.variance_by_kind,
        found.cost_by_source,
        found.variance_by_source,
    ):
        assert sum(shares.values()) == pytest.approx(1, abs=1e-9)
    assert tuple(found.cost_by_kind) == KINDS
    known = plain.prepared.car.catalogue.sources
    for kind in KINDS:
        assert found.cost_by_kind[kind] == pytest.approx(
            sum(s for key, s in found.cost_by_source.items() if known[key].kind == kind)
        )


def test_covariances_with_the_total_add_up_to_its_variance(plain: Result) -> None:
    """Closed form: the variance of a sum is the sum of its terms' covariances with it; so the parts' shares of the
    variance, by which sources are weighed, leave nothing out but what no part carries (carriage, the least bill).
    """
    part = plain.outlays.part.astype(float)[:, ~plain.prepared.car.comfort]
    total = plain.outlays.total.year[: len(part)]
    together = (total - total.mean()) @ part / len(part)
    assert together.sum() == pytest.approx(total.var(), rel=0.02)


def test_parts_are_listed_by_what_they_add_to_the_spread(plain: Result) -> None:
    """Closed form: shares of mean and of covariance sum to 1; the share of when is that of a mixture's two terms."""
    found = heaviest(plain)
    assert sum(p.cost for p in found) == pytest.approx(1)
    assert sum(p.variance for p in found) == pytest.approx(1)
    assert [p.variance for p in found] == sorted((p.variance for p in found), reverse=True)
    assert {p.id for p in found} == {p.id for p in plain.prepared.car.parts if p.need != "comfort"}
    first = found[0]
    draws = plain.outlays.part[:, plain.prepared.car.index[first.id]].astype(float)
    paid = draws[draws > 0]
    chance = paid.size / draws.size
    between = chance * (1 - chance) * paid.mean() ** 2
    assert first.when == pytest.approx(between / (between + chance * paid.var()))


def test_a_quote_for_the_whole_job_is_the_buyers_own_figure() -> None:
    """By hand: with a quote for everything the tyres cost, half of their mean is laid to what was entered."""
    quoted = worked(QUOTE)
    found = rests_on(quoted)
    car = quoted.prepared.car
    part = quoted.outlays.part.astype(float)[:, ~car.comfort]
    ids = [p.id for p in car.parts if p.need != "comfort"]
    tyres = part[:, ids.index("tyres-set")].mean() / part.mean(axis=0).sum()
    assert tyres > 0
    assert found.cost_by_source["entered"] == pytest.approx(0.5 * tyres)


def test_one_draw_has_shares_too() -> None:
    catalogue = load_catalogue()
    found = rests_on(assess_fully(parse_case(CASE, catalogue), catalogue, draws=20))
    for shares in (found.cost_by_kind, found.variance_by_kind):
        assert not shares or sum(shares.values()) == pytest.approx(1)


def test_verb_prints_both_tables_and_its_json_agrees(tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    (tmp_path / "car.toml").write_text(CASE, encoding="utf-8")
    assert run("catalogue", "sources", tmp_path / "car.toml", "--json", tmp_path / "out.json") == 0
    text = capsys.readouterr().out
    data = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"), parse_constant=pytest.fail)
    assert {"format", "case", "currency", "mean", "kinds", "sources", "parts", "spread"} <= set(data)
    assert set(data["kinds"]) == set(KINDS)
    for what in ("cost", "variance"):
        assert sum(kind[what] for kind in data["kinds"].values()) == pytest.approx(1)
        assert sum(source[what] for source in data["sources"]) == pytest.approx(1)
    assert f"{data['kinds']['elicited']['cost']:.1%}".replace("%", " %") in text
    assert "convention" in text


def test_bad_words_after_sources_are_told(tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    assert "nowhere.toml" in refused(capsys, "catalogue", "sources", tmp_path / "nowhere.toml")
    (tmp_path / "car.toml").write_text(CASE, encoding="utf-8")
    refused(capsys, "catalogue", "sources", tmp_path / "car.toml", "--json", tmp_path / "car.toml")
    assert "goes with" in refused(capsys, "catalogue", "verify", "brakes")
