"""Frames, charts and sentences of the decisions against the records they come from. Tags: by hand, second method."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import pandas as pd
import pytest

from estimator.assess import Result, assess_fully
from estimator.case import Case, load_case
from estimator.catalogue.load import Catalogue, data_folder
from estimator.decide.keep import Keeping, keep
from estimator.decide.next_checks import next_checks
from estimator.decide.next_records import NextChecks
from estimator.decide.offer import Offer, offer
from estimator.decide.plan import Plan, plan_year
from estimator.views import (
    decision_charts,
    first_year,
    keeping,
    look_next,
    offering,
    sentences,
    worked_out,
    year_charts,
)


@pytest.fixture(scope="module")
def result(case: Case, catalogue: Catalogue) -> Result:
    return assess_fully(case, catalogue, draws=600)


@pytest.fixture(scope="module")
def found(case: Case, catalogue: Catalogue, result: Result) -> NextChecks:
    return next_checks(case, catalogue, minutes=30, result=result)


@pytest.fixture(scope="module")
def priced(case: Case, catalogue: Catalogue, result: Result) -> Offer:
    return offer(case, catalogue, result=result)


@pytest.fixture(scope="module")
def plan(case: Case, catalogue: Catalogue, result: Result) -> Plan:
    return plan_year(case, catalogue, result=result, time_limit_s=2.0)


@pytest.fixture(scope="module")
def kept(case: Case, catalogue: Catalogue, result: Result) -> Keeping:
    return keep(case, catalogue, years=3, result=result)


def fields(node: Any) -> set[str]:
    """Every field a chart's JSON names."""
    if isinstance(node, dict):
        own = {node["field"]} if isinstance(node.get("field"), str) else set()
        return own.union(*(fields(v) for k, v in node.items() if k not in ("datasets", "data")), set())
    if isinstance(node, list):
        return set().union(*(fields(v) for v in node)) if node else set()
    return set()


def drawn_from(chart: Any, *frames: pd.DataFrame, made: tuple[str, ...] = ()) -> None:
    """A misspelt column draws an empty chart without an error: every field is a column of a frame."""
    spec = chart.to_dict()
    columns = {c for frame in frames for c in frame.columns}
    assert fields(spec) <= columns | {"text", *made}
    assert len(json.dumps(spec)) < 100_000


def test_bars_are_the_checks_proposed_in_order(found: NextChecks) -> None:
    frame = look_next.bars(found, most=50)
    assert list(frame["id"]) == [c.id for c in found.checks[: found.stop_after]]
    worth = [c.value if look_next.by_value(found) else c.moves for c in found.checks[: found.stop_after]]
    assert list(frame["amount"]) == worth
    first = ("worth ",) if look_next.by_value(found) else ("moves your limit by ", "hardly moves ")
    assert all(facts.startswith((*first, "can end the deal")) for facts in frame["facts"])
    for check, facts in zip(found.checks, frame["facts"], strict=False):
        assert facts.startswith("can end the deal") == bool(check.stop)
    drawn_from(decision_charts.check_values(frame, currency="CHF", title="x"), frame)


def test_what_a_check_is_worth_and_what_it_costs_are_named(found: NextChecks) -> None:
    """By hand: a check of 10 minutes and £40, worth £120, then one that is free and moves the limit by £300."""
    paid = dataclasses.replace(found.checks[0], value=120.0, minutes=10, price=40.0, stop="")
    one = dataclasses.replace(found, checks=(paid,), stop_after=1, currency="GBP")
    assert list(look_next.bars(one)["facts"]) == ["worth £120 · 10 min · costs £40"]
    free = dataclasses.replace(paid, value=0.0, moves=300.0, price=0.0)
    other = dataclasses.replace(one, checks=(free,))
    assert list(look_next.bars(other)["facts"]) == ["moves your limit by £300 · 10 min"]
    stop = dataclasses.replace(free, value=0.0, moves=0.0, stop="Do not buy.")
    nought = dataclasses.replace(stop, stop="")
    both = dataclasses.replace(one, checks=(paid, stop, nought), stop_after=3)
    assert list(look_next.bars(both)["facts"])[1:] == [
        "can end the deal · 10 min",
        "worth little by itself · 10 min",
    ]


def test_a_message_to_the_seller_holds_no_figure(found: NextChecks) -> None:
    text = look_next.request_text(found, "1973")
    assert found.checks[0].name.lower() in text.lower()
    assert "CHF" not in text


def test_results_name_every_answer(found: NextChecks) -> None:
    (line,) = look_next.result_lines(found.checks[:1], "CHF")
    assert all(result.text in line for result in found.checks[0].results)


def test_prices_stand_lowest_first(priced: Offer) -> None:
    frame = offering.prices(priced)
    assert list(frame["amount"]) == sorted(frame["amount"])
    assert {"opening", "target", "fair", "walk_away", "asking"} == set(frame["id"])
    drawn_from(decision_charts.prices(frame, currency="CHF"), frame, made=("origin",))


def test_where_no_price_fits_that_is_said_and_none_is_drawn(priced: Offer) -> None:
    """By hand: a budget that holds at no price, beside a limit of 1,200 by worth: no price of nought is named."""
    nought = {"walk_away": 0.0, "opening": 0.0, "target": 0.0, "by_value": 1_200.0, "by_budget": -800.0}
    none = dataclasses.replace(priced, **nought)
    assert set(offering.prices(none)["id"]) == {"fair", "asking"}
    assert offering.prices_alt(none).startswith("Make no offer: at no price does it fit.")
    assert "your limit" not in offering.curve_alt(none)
    assert "above anything that fits: walk away" in offering.at_price(none, 100.0)
    drawn_from(
        decision_charts.prices(offering.prices(none), currency="CHF"), offering.prices(none), made=("origin",)
    )
    bid = dataclasses.replace(none, highest_bid=0.0, opening=None, target=None)
    assert offering.headline(bid) == "Make no bid: at no price does it fit."
    assert "Highest bid" not in set(offering.prices(bid)["name"])


def test_the_chance_at_a_price_is_read_off_the_curve(priced: Offer) -> None:
    """By hand: at a point of the curve its own chance, between two points between theirs, never more when dearer."""
    points = priced.chance_budget_holds
    for price, chance in points:
        assert offering.chance_at(priced, price) == pytest.approx(chance)
    (x0, p0), (x1, p1) = points[3], points[4]
    middle = offering.chance_at(priced, (x0 + x1) / 2)
    assert middle == pytest.approx((p0 + p1) / 2)
    frame, marks = offering.curve(priced), offering.marks(priced)
    drawn_from(decision_charts.budget_holds(frame, marks, currency="CHF"), frame, marks)


def test_steps_of_the_fair_price_name_its_sums(priced: Offer) -> None:
    """By hand: value less known less hidden is fair, to a rounding."""
    assert priced.value - priced.known_work - priced.hidden_allowance == pytest.approx(priced.fair, abs=1.0)
    assert "fair" in offering.steps(priced)
    gives = offering.concessions(priced)
    drawn_from(decision_charts.concessions(gives, currency="CHF"), gives)


def test_the_band_and_the_months_are_the_plans(plan: Plan, case: Case) -> None:
    band, months, spent = first_year.band(plan), first_year.months(plan), first_year.spent(case, plan)
    assert (band["low"] <= band["high"]).all()
    assert spent.empty  # nothing is bought yet
    planned = months[months["kind"] == first_year.PLANNED]["mean"].sum()
    assert planned == pytest.approx(plan.planned.mean, rel=1e-6)
    drawn_from(year_charts.cash_band(band, spent, currency="CHF"), band)
    drawn_from(year_charts.months(months, currency="CHF"), months)


def test_the_calendar_holds_every_job_once(plan: Plan) -> None:
    lines = [line for _, jobs in first_year.calendar(plan) for line in jobs]
    assert len(lines) == len(plan.jobs)


def test_years_and_split_add_up_to_the_whole(kept: Keeping) -> None:
    years, split = keeping.years(kept), keeping.split(kept)
    assert years["mean"].sum() == pytest.approx(kept.nominal.mean, rel=1e-6)
    assert split["nominal"].sum() == pytest.approx(kept.nominal.mean, rel=1e-6)
    assert split["present"].sum() == pytest.approx(kept.present.mean, rel=1e-6)
    bands = keeping.bands(kept)
    drawn_from(year_charts.keeping_years(years, bands, currency="CHF"), years, bands)
    drawn_from(year_charts.keeping_split(split, currency="CHF"), split)


def test_what_parts_share_is_a_chance_before_and_after(result: Result) -> None:
    frame = worked_out.shared_factors(result)
    for _, rows in frame.groupby("factor"):
        assert rows["before"].sum() == pytest.approx(1.0, abs=1e-6)
        assert rows["now"].sum() == pytest.approx(1.0, abs=1e-6)
    assert worked_out.odometer(result)["now"].sum() == pytest.approx(1.0, abs=1e-6)
    kinds = worked_out.by_kind(worked_out.rests_on(result))
    assert kinds["cost"].sum() == pytest.approx(1.0, abs=1e-6)
    drawn_from(decision_charts.kinds(kinds), kinds)


def test_how_complete_papers_are_is_said_only_of_those_that_claim_to_be() -> None:
    """By hand: without [[coverage]] there is nothing of which a share could be entered."""
    for name, claims in (("estate", False), ("small-saloon", True)):
        case = load_case(data_folder() / "examples" / f"{name}.toml")
        result = assess_fully(case, draws=200)
        assert any("bills" in line for line in sentences.rests_on(result.assessment, case)) is claims
        factors = set(worked_out.shared_factors(result)["factor"])
        assert (worked_out.FACTORS["completeness"] in factors) is claims
