"""Every public result as frames. Closed form: what adds up does. Second method: the same figures in the JSON."""

from __future__ import annotations

import dataclasses
import inspect
import io
import json

import pandas as pd
import pytest

import estimator
from estimator.catalogue.load import data_folder
from estimator.distribution import KEYS
from estimator.report.strict_json import to_json

CATALOGUE = estimator.load_catalogue()


def example(name):
    return estimator.load_case(data_folder() / "examples" / f"{name}.toml", CATALOGUE)


@pytest.fixture(scope="module")
def made():
    """Every result of one car, small."""
    case, other = example("estate"), example("coupe")
    other = dataclasses.replace(other, money=dataclasses.replace(other.money, currency=case.money.currency))
    return {
        "assess": estimator.assess(case, CATALOGUE, draws=1000),
        "next_checks": estimator.next_checks(case, CATALOGUE, minutes=30, draws=1000),
        "offer": estimator.offer(case, CATALOGUE, draws=1000),
        "plan_year": estimator.plan_year(case, CATALOGUE, draws=500),
        "keep": estimator.keep(case, CATALOGUE, years=3, draws=500),
        "compare": estimator.compare([case, other], CATALOGUE, draws=500),
        "fit_life": estimator.fit_life(
            {"years": [1, 2, 3, 4.5, 5], "failed": [1, 1, 0, 1, 0]}, prior=(1.0, 9.0)
        ),
    }


@pytest.fixture(scope="module")
def frames(made):
    return {name: estimator.tables(result) for name, result in made.items()}


VERBS = ("assess", "next_checks", "offer", "plan_year", "keep", "compare", "fit_life")


@pytest.mark.parametrize("verb", VERBS)
def test_frames_are_tidy(verb, frames):
    """One row about the whole, plain names, single figures and words in every cell."""
    found = frames[verb]
    assert len(found["about"]) == 1
    for name, frame in found.items():
        assert isinstance(frame, pd.DataFrame)
        assert name.isidentifier()
        assert len(set(frame.columns)) == len(frame.columns)
        assert all(column.isidentifier() and column.islower() for column in frame.columns if column != "from")
        assert list(frame.index) == list(range(len(frame)))
        for column in frame:
            assert not frame[column].map(lambda x: isinstance(x, tuple | list | dict)).any(), (name, column)
        assert pd.read_csv(io.StringIO(frame.to_csv(index=False))).shape == frame.shape or frame.empty


@pytest.mark.parametrize("verb", VERBS)
def test_what_is_listed_in_the_help_is_there(verb, frames):
    told = estimator.tables.__doc__ or ""
    listing = told.split(f"        {verb}: ")[1].split(";")[0].split("\n\n")[0]
    assert [name for name in frames[verb] if name != "about" and name not in listing] == []


def figures(row, data, *, of=""):
    return [row[f"{of}{key}"] for key in KEYS] == pytest.approx([data[key] for key in KEYS])


def test_sums_of_an_assessment(made, frames):
    data, found = made["assess"].as_dict(), frames["assess"]
    totals = found["totals"].set_index(["name", "when"])
    for when, key in (("now", "now"), ("first_year", "plan_year")):
        both = totals.loc[("found", when), "mean"] + totals.loc[("not_seen_yet", when), "mean"]
        assert both == pytest.approx(totals.loc[("total", when), "mean"])
        assert figures(totals.loc[("total", when)], data["outlay"][key])
        assert figures(totals.loc[("found", when)], data["outlay"]["known"][key])
        assert figures(totals.loc[("safety_and_drive", when)], data["outlay"]["safety_and_drive"][key])
        assert totals.loc[("total", when), "se_p80"] == data["outlay"][key]["se"]["p80"]
    assert figures(totals.loc[("comfort", "first_year")], data["comfort"])
    assert figures(totals.loc[("unlisted", "first_year")], data["unlisted"])
    assert len(totals) == 10


def test_parts_of_an_assessment(made, frames):
    a, found = made["assess"], frames["assess"]
    parts = found["parts"].set_index("id")
    points = found["reasons"].groupby("part")["points"].sum()
    assert (points - parts["p_spent"]).abs().max() < 1e-9
    assert list(parts.index) == [c.id for c in a.components]
    named = found["totals"].set_index(["name", "when"])["mean"]
    counted = parts[parts["need"] != "comfort"]
    # single precision is what the draws of parts are kept in
    assert counted["mean_cost"].sum() == pytest.approx(named["total", "first_year"], rel=1e-4)
    assert counted["share_mean"].sum() == pytest.approx(1.0, rel=1e-4)
    assert found["months"]["mean"].sum() == pytest.approx(named["total", "first_year"], rel=1e-6)
    assert list(found["months"]["month"]) == list(range(13))
    assert list(found["outcomes"]["amount"]) == list(a.dots)
    assert found["exceedance"]["chance"].is_monotonic_decreasing
    shared = found["shared"]
    for factor in ("care", "odometer", "completeness", "presentation"):
        assert shared[shared["factor"] == factor]["value"].sum() == pytest.approx(1.0)
    assert list(found["stops"]["check"]) == [*(check for check, _ in a.stops), *a.open_stops]
    assert list(found["warnings"]["text"]) == list(a.warnings)


def test_checks(made, frames):
    result, found = made["next_checks"], frames["next_checks"]
    assert list(found["checks"]["id"]) == [c.id for c in result.checks]
    assert found["checks"]["worth_its_cost"].sum() == result.stop_after
    chances = found["results"].groupby("check")["probability"].sum()
    assert set(chances.index) == set(found["checks"]["id"])
    assert (chances - 1).abs().max() < 1e-6
    assert len(found["bundle_checks"]) == sum(len(b.checks) for b in result.bundles)


def test_prices(made, frames):
    data, found = made["offer"].as_dict(), frames["offer"]
    prices = found["prices"].set_index("name")["amount"]
    assert prices.is_monotonic_increasing
    for name in ("fair", "opening", "target", "walk_away", "asking"):
        assert prices[name] == data[name]
    assert ("highest_bid" in prices) == (data["highest_bid"] is not None)
    assert found["budget"].to_dict("records") == data["chance_budget_holds"]
    about = found["about"].iloc[0]
    assert about["value"] - about["known_work"] - about["hidden_allowance"] == pytest.approx(about["fair"])
    stops = found["stops"].to_dict("records")
    assert sorted(stops, key=str) == sorted(
        ({"check": s["check"], "state": s["state"], "text": s["text"]} for s in data["stops"]), key=str
    )


def test_plan(made, frames):
    result, found = made["plan_year"], frames["plan_year"]
    jobs, totals = found["jobs"].set_index("id"), found["totals"].set_index("name")
    assert len(jobs) == len(result.jobs) + len(result.left_out) > 0
    ordered = found["orders"].groupby("job")["amount"].sum()
    placed = jobs[jobs["month"] > 0]
    together = ordered.reindex(placed.index, fill_value=0.0) + placed["labour"]
    assert together.to_numpy() == pytest.approx(placed["cost_mean"].to_numpy())
    months = found["months"]
    assert months["cost_mean"].sum() == pytest.approx(totals.loc["planned", "mean"])
    assert months["turns_up_mean"].sum() == pytest.approx(totals.loc["turns_up", "mean"])
    assert totals.loc["planned", "mean"] + totals.loc["turns_up", "mean"] == pytest.approx(
        totals.loc["total", "mean"]
    )
    parts = found["job_parts"]
    assert set(parts["job"]) <= set(jobs.index)
    assert len(parts) == sum(len(j.components) + len(j.neighbours) for j in (*result.jobs, *result.left_out))
    assert len(found["orders"]) == len(result.orders)
    assert len(found["while_apart"]) == len(result.while_apart)


def test_years(frames):
    found = frames["keep"]
    years = found["years"].set_index("year")
    assert list(years.index) == [1, 2, 3]
    by_part = found["parts"].groupby("year")["nominal_mean"].sum()
    assert by_part.to_numpy() == pytest.approx(years["nominal_mean"].to_numpy())
    totals, whole = found["totals"].set_index("name"), found["parts_in_all"]
    assert whole["nominal_mean"].sum() == pytest.approx(totals.loc["nominal", "mean"])
    assert whole["present_mean"].sum() == pytest.approx(totals.loc["present", "mean"])
    assert years["present_mean"].sum() == pytest.approx(totals.loc["present", "mean"])
    assert totals.loc["per_year", "mean"] * 3 == pytest.approx(totals.loc["nominal", "mean"])


def test_cars_side_by_side(made, frames):
    result, found = made["compare"], frames["compare"]
    assert list(found["cases"]["case"]) == [c.case for c in result.cases]
    assert list(found["p_cheaper"]["p_cheaper"]) == [result.p_cheaper[0][1], result.p_cheaper[1][0]]
    assert found["p_cheaper"]["p_cheaper"].sum() == pytest.approx(1.0)
    cases = found["cases"]
    assert (cases["price"] + cases["outlay_mean"]).to_numpy() == pytest.approx(cases["total_mean"].to_numpy())
    assert cases["first"].sum() == 1


def test_a_fitted_life(made, frames):
    data, found = made["fit_life"].as_dict(), frames["fit_life"]
    clock = found["clocks"].set_index("clock").loc["years"]
    assert clock["shape"] == data["clocks"]["years"]["shape"]
    assert clock["scale_low"] == data["clocks"]["years"]["scale_interval"][0]
    lives = found["lives"].set_index("from")
    assert list(lives.loc["elicited", ["b10", "b50"]]) == [1.0, 9.0]
    assert lives.loc[["fitted", "elicited"], "weight"].sum() == pytest.approx(1.0)
    assert lives.loc["blended", "b50"] == data["blend"]["b50"]


def test_frames_leave_the_result_as_it_was(made):
    before = json.loads(to_json(made["assess"].as_dict()))
    parts = estimator.tables(made["assess"])["parts"]
    parts["p_spent"] = 0.0
    assert json.loads(to_json(made["assess"].as_dict())) == before


def test_without_rows_the_columns_are_there():
    """By hand: an offer without a budget, a fit without a prior."""
    case = example("estate")
    offer = estimator.offer(
        dataclasses.replace(case, money=dataclasses.replace(case.money, budget=None)), CATALOGUE, draws=300
    )
    assert list(estimator.tables(offer)["budget"].columns) == ["price", "chance"]
    fit = estimator.fit_life({"years": [1, 2, 3], "failed": [1, 1, 0]})
    assert list(estimator.tables(fit)["lives"]["from"]) == ["fitted"]


@pytest.mark.parametrize("what", [None, 3, {"a": 1}])
def test_what_has_no_tables_is_refused(what):
    with pytest.raises(TypeError, match=r"there are tables of Assessment.*found"):
        estimator.tables(what)


@pytest.mark.parametrize("name", sorted(set(estimator.PUBLIC) - {"InputError"}))
def test_every_public_function_says_what_it_takes(name):
    """By hand: asked for twice it is the module of the same name, and still tells its arguments."""
    for _ in range(2):
        public = getattr(estimator, name)
        first = next(iter(inspect.signature(public).parameters.values()))
        assert first.kind is inspect.Parameter.POSITIONAL_OR_KEYWORD
        assert f"{name}(" in (estimator.__doc__ or "")
