"""Stops come before any ranking, refusals close what they refuse, and what is owned is not bid for."""

from __future__ import annotations

import dataclasses
from datetime import date

import numpy as np
import pytest

import estimator
from estimator.assess import assess_fully
from estimator.car import resolve
from estimator.casefile.records import Bought, Finding
from estimator.catalogue.load import load_catalogue
from estimator.decide.compare import compare, compared
from estimator.decide.next_checks import FEWEST_DRAWS, ranked
from estimator.decide.offer import offered
from estimator.decide.refusals import likelihood, unlisted_at
from estimator.decide.scene import scene_of
from estimator.evidence.findings import applies
from estimator.problems import InputError
from estimator.report.decision_text import compare_text, next_text, offer_text
from estimator.views import choosing, look_next, offering
from tests.cars import saloon
from tests.command_line import CASE, refused, run
from tests.decide.small import small_case, small_result
from tests.decide.test_compare import named

LIFT = "drives-me-lift-garage-my-choice"


@pytest.fixture(scope="module")
def ours():
    return load_catalogue()


def with_findings(case, *more: Finding):
    return dataclasses.replace(case, finding=(*case.finding, *more))


def a_stop(ours) -> str:
    """A check that ends a deal, looked at on any car: papers against the body."""
    car = resolve(saloon(), ours)
    return next(
        c.id
        for c in ours.checks.values()
        if c.stop and c.station == "walk-round" and "papers" in c.needs and applies(c, car) > 0.99
    )


# --- compare -----------------------------------------------------------------------------------------

DRAWN = (
    [np.array([10.0, 50.0, 0.0, 90.0]), np.array([10.0, 10.0, 20.0, 0.0])],
    [np.full(4, 200.0)] * 2,
    [0.0] * 2,
)
FAILED = ((("numbers", "The numbers do not agree."),), ())
OPEN = ((), (("jack", "Jacking point takes the weight"),))


def two(*stops):
    cases = [named("one", asking=100, value=200), named("two", asking=130, value=200)]
    return compared(cases, *DRAWN, rho=None, seed=0, stops=stops)


def test_a_car_with_a_stop_is_not_the_one_to_choose():
    """By hand, figures of test_compare: without the stop the first of the two would be chosen. The best in hindsight
    is then the other alone, so that it has no regret and is sure to be best.
    """
    found = two(FAILED, OPEN)
    assert found.first == 1
    assert [c.p_best for c in found.cases] == [0.0, 1.0]
    assert found.cases[1].regret == 0
    assert not [d for d in found.dominates if d[0] == 0]
    text = compare_text(found)
    assert text.startswith("STOP")
    assert text.index("one: The numbers do not agree.") < text.index("NOT LOOKED AT YET")
    assert (
        text.index("two: Jacking point takes the weight")
        < text.index("First choice: two")
        < text.index("regret")
    )
    assert "only one without a stop" in choosing.headline(found)
    said = found.as_dict()["cases"]
    assert [s["state"] for c in said for s in c["stops"]] == ["failed", "open"]
    frame = estimator.tables(found)["stops"]
    assert list(frame["case"]) == ["one", "two"]


def test_where_every_car_has_a_stop_none_is_chosen():
    found = two(FAILED, FAILED)
    assert found.first is None
    assert "choose none" in compare_text(found)
    assert "choose none" in choosing.headline(found)
    assert found.as_dict()["first"] is None


def test_no_car_is_praised_that_is_not_worth_its_price():
    cases = [named("one", asking=900, value=200), named("two", asking=930, value=200)]
    found = compared(cases, *DRAWN, rho=None, seed=0)
    assert found.worth_it is False
    assert "First choice" not in compare_text(found)


def test_stops_of_real_cars_reach_the_comparison(ours):
    """The cheaper of two twins has its stop found: the other is the choice."""
    stop = a_stop(ours)
    bad = with_findings(saloon(), Finding(check=stop, result="present"))
    bad = dataclasses.replace(bad, money=dataclasses.replace(bad.money, asking=100.0))
    good = dataclasses.replace(saloon(), money=dataclasses.replace(saloon().money, asking=5000.0))
    found = compare([bad, good], ours, draws=1_000)
    assert found.first == 1
    assert [c for c, _ in found.cases[0].failed_stops] == [stop]
    assert stop in [c for c, _ in found.cases[1].open_stops]


def test_the_price_is_what_changes_hands_in_all():
    """By hand: 3000 at the hammer, 10 % premium with 20 % tax on it, 250 carriage: 3610."""
    cases = [
        named(
            "hammer", asking=3000, sale="auction", money="premium = 0.1\npremium_tax = 0.2\ntransport = 250"
        ),
        named("private", asking=3000, money="transport = 100"),
    ]
    found = compared(cases, *DRAWN, rho=None, seed=0)
    assert [c.price for c in found.cases] == pytest.approx([3610, 3100])
    assert found.cases[0].total.mean == pytest.approx(3610 + 37.5)


# --- next --------------------------------------------------------------------------------------------


def test_open_stops_stand_first_with_what_cannot_be_made_now(ours):
    case = with_findings(saloon(), Finding(check=a_stop(ours), result="absent"))
    case = dataclasses.replace(case, car=dataclasses.replace(case.car, runs=False))
    found = ranked(assess_fully(case, ours, draws=1_000), 0.0)
    assert {o.check for o in found.open_stops} == set(
        assess_fully(case, ours, draws=20).prepared.evidence.open_stops
    )
    reasons = [bool(o.why_not) for o in found.open_stops]
    assert reasons == sorted(reasons)  # those that can be made first
    assert any(reasons)
    assert not all(reasons)
    text = next_text(found, ours)
    assert text.startswith("NOT LOOKED AT YET")
    assert all(
        words in " ".join(text.split())
        for words in ("look at them first", "not possible now: it does not run")
    )
    assert len(look_next.open_stops(found)) == len(found.open_stops)
    stations = [(c.station, not c.stop) for c in found.checks[: found.stop_after] if not c.after]
    for station in {name for name, _ in stations}:  # at each place they lead
        others = [other for name, other in stations if name == station]
        assert others == sorted(others)
    possible = {o.check for o in found.open_stops if not o.why_not}
    assert possible <= {c.id for c in found.checks[: found.stop_after]}  # paid or not, they are proposed


@pytest.mark.parametrize(
    "said",
    [Finding(check=LIFT, result="refused"), Finding(check=LIFT, result="present"), "a look on the lift"],
)
def test_a_refused_lift_closes_every_check_that_needs_one(said, ours):
    """Whoever refuses one look at the underside refuses all (common practice)."""
    if isinstance(said, str):
        said = Finding(
            check=next(c.id for c in ours.checks.values() if c.station == "on-a-lift"), result="refused"
        )
    car = resolve(with_findings(saloon(), said), ours)
    found = scene_of(car)
    assert not [o.id for o in found.options if "lift" in o.check.needs]
    assert "the seller allows no lift" in dict(found.closed).values()
    mine = resolve(dataclasses.replace(car.case, bought=Bought(date=car.case.car.viewed, price=5000.0)), ours)
    assert [o.id for o in scene_of(mine).options if "lift" in o.check.needs]  # nobody refuses the owner


@pytest.mark.parametrize("sale", ["private", "auction", "unseen", "owned"])
def test_where_everything_was_refused_nothing_is_left_to_propose(sale, ours):
    """By hand: no check is left, and that is said; it used to end in a fault."""
    refused_all = with_findings(saloon(sale=sale), *(Finding(check=c, result="refused") for c in ours.checks))
    found = ranked(assess_fully(refused_all, ours, draws=400), 0.0)
    assert not any(c.proposed and not c.stop for c in found.checks)
    assert next_text(found, ours)


def test_what_a_refusal_takes_off_is_what_taking_it_back_would_give(ours):
    """Second method: the same car assessed without the refusal is worth as much more, within the draws' error."""
    for said in (
        Finding(check="carpets-lifted-four-corners", result="refused"),
        Finding(check=LIFT, result="present"),
    ):
        money = dataclasses.replace(saloon().money, asking=6000.0, sound_example=(9000.0, 12_000.0, 15_000.0))
        plain = dataclasses.replace(saloon(), money=money)
        results = [
            assess_fully(case, ours, draws=40_000, seed=k)
            for k, case in enumerate((with_findings(plain, said), plain))
        ]
        with_it, without = (ranked(result, 2_000.0, minutes=0) for result in results)
        assert without.refusal is None
        took = without.by_value - with_it.by_value
        weight = 1 / likelihood(results[0], [said])
        effective = weight.sum() ** 2 / (weight**2).sum()
        error = 4 * results[1].outlays.total.year.std() * np.sqrt(1 / effective + 1 / 40_000)  # of two means
        assert with_it.refusal.lowers > 0
        assert with_it.refusal.lowers == pytest.approx(took, abs=error)
        assert "A refusal is evidence" in " ".join(next_text(with_it, ours).split())
        assert "evidence" in look_next.refusal(with_it)


def test_taking_a_refusal_back_sizes_what_is_on_no_list_anew(ours):
    """Second method: on no list the car assessed without the refusal has as much, within the draws' error; sized by
    the means with the refusal in them it has several errors more. By hand: even weights change nothing.
    """
    said = Finding(check="carpets-lifted-four-corners", result="refused")
    n = 40_000
    refused_it, plain = (
        assess_fully(case, ours, draws=n, seed=k)
        for k, case in enumerate((with_findings(saloon(), said), saloon()))
    )
    own, fresh = refused_it.outlays.unlisted, plain.outlays.unlisted
    assert unlisted_at(refused_it, np.ones(n)) == pytest.approx(own, rel=1e-4)
    weight = 1 / likelihood(refused_it, [said])
    weight /= weight.sum()
    error = np.sqrt(weight**2 @ (own - weight @ own) ** 2 + fresh.var() / n)
    assert weight @ unlisted_at(refused_it, weight) == pytest.approx(fresh.mean(), abs=4 * error)
    assert weight @ own > fresh.mean() + 4 * error


def test_too_few_draws_are_refused_not_answered_with_a_fault(tmp_path, capsys):
    path = tmp_path / "car.toml"
    path.write_text(CASE, encoding="utf-8")
    for draws in (20, 50, 150):
        assert f"must be {FEWEST_DRAWS} or more" in refused(capsys, "next", path, "--draws", draws)
        assert run("offer", path, "--draws", draws) == 0
        assert "rough" in capsys.readouterr().out
        assert run("compare", path, path, "--draws", draws) == 0
        assert "rough" in capsys.readouterr().out
    with pytest.raises(InputError, match="draws"):
        ranked(small_result(small_case(), draws=FEWEST_DRAWS - 1), 0.0)


def test_the_end_of_a_deal_has_no_price(ours):
    """A stop that comes out badly is said to stop, whatever the arithmetic would leave."""
    found = ranked(assess_fully(saloon(), ours, draws=1_000), 0.0)
    stop = next(c for c in found.checks if c.stop)
    line = look_next.result_lines([stop], "GBP")[0]
    assert line.split("→ ")[1].split("; ")[0].endswith(": stop")


# --- what is owned, what is bid for --------------------------------------------------------------------


def test_once_bought_nothing_is_bid():
    """By hand: paid 3700 and 200 carriage against what it is worth now."""
    more = "[bought]\ndate = 2026-05-02\nprice = 3700\n"
    money = "transport = 200\nbudget = 6000"
    result = small_result(small_case(more=more, money=money))
    found = offered(result, 0.0)
    assert (found.opening, found.target, found.walk_away, found.binds, found.highest_bid) == (None,) * 5
    assert found.concessions == ()
    assert (found.paid, found.in_all) == (3700, 3900)
    gap = round(abs(3900 - found.fair), -1)
    text = " ".join(offer_text(found).split())
    assert "You paid GBP 3,700 on 2 May 2026, GBP 3,900 with carriage" in text
    assert f"{gap:,.0f} {'more' if found.fair < 3900 else 'less'} than the car is worth" in text
    for word in ("Walk away", "Aim for", "Open ", "no offer", "asking price", "end the deal"):
        assert word not in text
    assert [p for p, _ in found.chance_budget_holds] == [3700]
    holds = (result.outlays.total.year <= 6000 - 3900).mean()
    assert found.chance_budget_holds[0][1] == pytest.approx(holds, abs=1e-9)
    assert "Paid" in offering.headline(found)
    assert set(offering.prices(found)["name"]) == {"Paid", "Worth"}
    assert set(estimator.tables(found)["prices"]["name"]) == {"fair", "paid"}


def test_an_owned_car_needs_no_price():
    case = small_case(sale="owned")
    bare = dataclasses.replace(case, money=dataclasses.replace(case.money, asking=None))
    assert "The car is yours" in offered(small_result(bare), 0.0).sentences["owned"]
    found = ranked(small_result(bare), 0.0)
    assert found.owned
    assert "As it stands it is worth" in look_next.limit_line(found)
    later = dataclasses.replace(bare, bought=Bought(date=date(2026, 5, 2), price=None))
    assert offered(small_result(later), 0.0).walk_away is None


def test_at_an_auction_there_is_one_number(tmp_path, capsys):
    """The bid, in text, tables and picture; what is worth asking about in a list goes by it, too."""
    money = "premium = 0.25\npremium_tax = 0.2\ntransport = 300"
    found = offered(small_result(small_case(value=6000, asking=4000, sale="auction", money=money)), 0.0)
    assert "Walk away" not in offer_text(found)
    bill = round(found.highest_bid * 1.3 + 300, -1)
    assert f"{bill:,.0f} in all" in " ".join(offer_text(found).split())
    assert "highest_bid" in set(estimator.tables(found)["prices"]["name"])
    assert "walk_away" not in set(estimator.tables(found)["prices"]["name"])
    assert "Highest bid" in set(offering.prices(found)["name"])
    path = tmp_path / "cars.csv"
    head = (
        "name,viewed,built,odometer,unit,currency,asking,sound_example,sale,premium,premium_tax,transport\n"
    )
    row = "{},2026-05-01,1985-01-01,60000,miles,GBP,{},9000 12000 15000,{},{},0.2,{}\n"
    path.write_text(
        head + row.format("a", 4000, "auction", 0.0, 0) + row.format("b", 4000, "auction", 0.9, 4000)
    )
    frame = estimator.screen(path, draws=1_000, workers=1)
    assert frame["walk_away"][1] == pytest.approx(max(frame["walk_away"][0] - 4000, -1) / 2.08, rel=0.02)
    assert list(frame["worth_asking"]) == [bool(w >= 4000) for w in frame["walk_away"]]


def test_one_file_for_two_results_is_refused_before_anything_is_written(tmp_path, capsys):
    path = tmp_path / "cars.csv"
    path.write_text("name,viewed,built,odometer,unit,currency\na,2026-05-01,1985,60000,miles,GBP\n")
    out = tmp_path / "out.txt"
    (tmp_path / "sub").mkdir()
    for other in (out, tmp_path / "sub" / ".." / "out.txt"):
        said = refused(capsys, "screen", path, "--out", out, "--json", other)
        assert "--out and --json at once" in said
        assert not out.exists()
    out.write_text("kept")
    (tmp_path / "link.txt").symlink_to(out)
    refused(capsys, "screen", path, "--out", out, "--json", tmp_path / "link.txt")
    assert out.read_text() == "kept"
