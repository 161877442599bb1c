"""What to check next on the shipped catalogue: invariants, never its figures; and the high-mileage example."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from estimator.assess import assess_fully
from estimator.case import load_case
from estimator.casefile.records import Finding
from estimator.catalogue.load import data_folder, load_catalogue
from estimator.decide.board import set_value
from estimator.decide.likelihood import result_chances
from estimator.decide.next_checks import board_of, next_checks, ranked
from estimator.decide.reference import reference_outlay
from estimator.decide.scene import cost, has_tool, place, price_factor, scene_of
from estimator.decide.stakes import stakes_of
from estimator.problems import InputError
from tests.cars import saloon
from tests.decide.small import catalogue as small_catalogue
from tests.decide.small import small_case, small_result
from tests.decide.ten_first import TEN

ESTATE = data_folder() / "examples" / "estate.toml"
KEYS = {"id", "station", "minutes", "price", "value", "value_se", "marginal", "net", "results"}


@pytest.fixture(scope="module")
def ours():
    return load_catalogue()


@pytest.fixture(scope="module")
def arrival(ours):
    """The high-mileage example as one arrives: its papers known, nothing looked at, and a seller who asks about what
    it is worth, so that what is found decides.
    """
    case = dataclasses.replace(load_case(Path(ESTATE), ours), finding=())
    result = assess_fully(case, ours)
    reference = reference_outlay(case, ours)
    asking = stakes_of(result, reference).by_value / 0.95
    money = dataclasses.replace(case.money, asking=asking, budget=None)
    case = dataclasses.replace(case, money=money)
    return case, assess_fully(case, ours), reference


def agreed(case):
    """The same where the seller lets it be driven to a lift after all: refused, nothing on a lift can be proposed."""
    asked = "drives-me-lift-garage-my-choice"
    made = tuple(dataclasses.replace(f, result="absent") if f.check == asked else f for f in case.finding)
    assert made != case.finding
    return dataclasses.replace(case, finding=made)


def too_dear(ours):
    """The example asked so far above its worth that no check is worth its cost."""
    case = load_case(Path(ESTATE), ours)
    return dataclasses.replace(case, money=dataclasses.replace(case.money, asking=10_500.0))


@pytest.fixture(scope="module")
def met(ours):
    """The same with all that was found and the lift agreed to, at a price about what it is worth then."""
    case = agreed(load_case(Path(ESTATE), ours))
    reference = reference_outlay(case, ours)
    asking = stakes_of(assess_fully(case, ours), reference).by_value / 0.95
    case = dataclasses.replace(case, money=dataclasses.replace(case.money, asking=asking, budget=None))
    return case, assess_fully(case, ours), reference


@pytest.fixture(scope="module")
def found(arrival):
    _, result, reference = arrival
    return ranked(result, reference)


def test_values_are_never_negative_nor_above_perfect_information(found):
    assert found.perfect_information > 0
    opening = {c.id: c.price for c in found.checks}  # what must be opened first is paid for as well
    for check in found.checks:
        assert -1e-9 <= check.value <= found.perfect_information + 1e-9
        assert check.marginal >= 0
        assert check.net == pytest.approx(check.value - check.price - opening.get(check.after, 0.0))
    assert -1e-9 <= found.together.value <= found.perfect_information + 1e-9


def test_chances_of_results_sum_to_one_and_average_to_what_is_known(found):
    """The walk-away after each result averages to today's in terms of z: closed form, the tower rule."""
    for check in found.checks:
        assert sum(r.probability for r in check.results) == pytest.approx(1, abs=1e-12)
        assert all(r.probability >= 0 for r in check.results)
        low, *_, high = sorted(r.walk_away for r in check.results)
        assert low - 1 <= found.by_value <= high + 1


def test_the_order_is_one_the_world_allows(found, ours):
    proposed = [ours.checks[c.id] for c in found.checks[: found.stop_after]]
    assert [place(c) for c in proposed] == sorted(place(c) for c in proposed)
    assert all(c.proposed for c in found.checks[: found.stop_after])
    assert not any(c.proposed for c in found.checks[found.stop_after :])


def test_limits_are_kept_and_more_of_them_is_worth_no_less(arrival):
    _, result, reference = arrival
    short, long = (ranked(result, reference, minutes=m) for m in (30, 90))
    assert short.minutes <= 30
    assert long.minutes <= 90
    assert long.together.value >= short.together.value - 4 * (short.together.error + long.together.error)
    free = ranked(result, reference, money=0)
    assert free.price == 0


def test_high_mileage_example_without_papers(ours, capsys):
    """How many of the ten written down beforehand (tests/decide/ten_first.py) are proposed for the example as shipped.

    History, told as it was. First count: 4 of the first ten, in the example as it then stood, too dear for any
    look to pay. The example has since been given an asking price and a worth at which there is something to
    decide, firm sills and a garage. Then 40 checks are proposed: 3 of the ten are among the first ten by what
    each adds, 4 among the forty, 2 among the ten that are worth most by themselves. Seven of the ten want a lift,
    which the seller of this example refuses: since a refusal closes what it refuses (before, lift checks were
    proposed all the same), they cannot come there, and 1 of the other three does. Counted here is the example
    with the lift agreed to. The floors are regression pins, kept loose: figures of the catalogue move them.
    """
    shipped = load_case(Path(ESTATE), ours)
    refused = next_checks(shipped, ours)
    assert not [c.id for c in refused.checks if "lift" in ours.checks[c.id].needs]
    found = next_checks(agreed(shipped), ours)
    assert set(TEN) <= set(ours.checks)
    proposed = [c for c in found.checks if c.proposed and not c.stop]
    first = [c.id for c in sorted(proposed, key=lambda c: -c.marginal)][:10]
    alone = [c.id for c in sorted(proposed, key=lambda c: -c.value)][:10]
    came = {c.id for c in proposed} & set(TEN)
    with capsys.disabled():
        print(f"\nof ten expected first {len(set(TEN) & set(first))} are among the first ten, {len(came)} among the "
              f"{len(proposed)} proposed ({', '.join(sorted(came))}), {len(set(TEN) & set(alone))} among the ten that "
              "are worth most by themselves")  # fmt: skip
    assert len(came) >= 3
    assert len(set(TEN) & set(alone)) >= 1


def test_others_stand_by_what_they_tell_beyond_those_above(ours):
    """Where nothing is worth its cost the others stand by what each tells beyond those above it, not by what each
    would tell alone: rust looked for in four ways does not fill the head of the list.
    """
    found = next_checks(too_dear(ours), ours)
    rest = [c for c in found.checks if not c.proposed][:10]
    assert all(c.beyond <= 1.05 * c.moves + 25 for c in rest)
    for at, check in enumerate(rest):
        if check.after:
            assert check.after in {c.id for c in rest[:at]} | set(found.made)


def _driveline(result, ours, station):
    """A station's checks that look at the driveline alone."""
    prepared = result.prepared
    scene = scene_of(prepared.car, price_factor=price_factor(prepared.car), stations=[station])
    return [
        o for o in scene.options
        if o.check.links and {ours.components[k.component].system for k in o.check.links} == {"driveline"}
    ]  # fmt: skip


def _worth(result, reference, options):
    board = board_of(result, stakes_of(result, reference), options)
    return set_value(board, range(len(options)))


def test_the_driveline_on_a_lift_is_worth_paying_for_and_after_a_clean_report_no_longer(met, ours):
    """The estate as it was found, with a seller who asks about what it is worth. Common practice: a clonk and a shake
    are worth half an hour on a lift; once somebody who knows the type has found the car sound they are not.
    """
    case, result, reference = met
    lift = _driveline(result, ours, "on-a-lift")
    paid = cost(lift)
    before = _worth(result, reference, lift)
    assert paid > 0
    assert before.value - 4 * before.error > paid
    report = ("marque-type-specialists-hour", "independent-written-inspection")
    clean = tuple(Finding(check=c, result="absent", by="mechanic") for c in report)
    after = assess_fully(dataclasses.replace(case, finding=(*case.finding, *clean)), ours)
    same = _driveline(after, ours, "on-a-lift")
    assert [o.id for o in same] == [o.id for o in lift]
    assert _worth(after, reference, same).value < paid


def test_after_a_clean_lift_the_shaft_need_not_come_out(met, ours):
    case, result, reference = met
    bench = _driveline(result, ours, "small-things-off")
    before = _worth(result, reference, bench).value
    clean = tuple(
        Finding(check=o.id, result="absent", by="mechanic")
        if o.check.reading is None
        else Finding(check=o.id, value=o.check.reading.low, by="mechanic")
        for o in _driveline(result, ours, "on-a-lift")
    )
    after = assess_fully(dataclasses.replace(case, finding=(*case.finding, *clean)), ours)
    left = _worth(after, reference, _driveline(after, ours, "small-things-off")).value
    assert left < before / 2
    assert left < cost(bench)


def test_the_whole_lift_is_worth_paying_for_and_not_offered_again(arrival, found, ours):
    case, _, reference = arrival
    lift = next(b for b in found.bundles if b.id == "on-a-lift")
    assert lift.net > 0
    clean = tuple(Finding(check=c, result="absent", by="mechanic") for c in lift.checks)
    after = ranked(assess_fully(dataclasses.replace(case, finding=clean), ours, draws=3_000), reference)
    assert not any(b.id == "on-a-lift" for b in after.bundles)
    assert set(lift.checks) <= set(after.made)


def test_a_check_made_is_not_offered_again(arrival, ours):
    case, _, reference = arrival
    made = dataclasses.replace(case, finding=(Finding(check="take-up", result="absent"),))
    after = ranked(assess_fully(made, ours, draws=3_000), reference)
    assert "take-up" in after.made
    assert "take-up" not in {c.id for c in after.checks}


def test_the_chance_of_a_sign_is_what_the_posterior_says(ours):
    """Second method: mean over the draws against the noisy-OR of the grid's marginals, for a check of one part."""
    case = saloon()
    result = assess_fully(case, ours)
    prepared = result.prepared
    options = [
        o for o in scene_of(prepared.car).options
        if o.how == "in-person" and o.check.kind in ("measure", "paper") and not o.check.entry
        and not any((o.check.care, o.check.presentation, o.check.odometer)) and len(o.check.links) == 1
        and o.check.maskable == 1 and o.check.links[0].component in prepared.car.index
    ]  # fmt: skip
    assert options
    chance = result_chances(prepared, result.draws, options)
    marginal = prepared.grid.mean(prepared.grid.marginal)
    for column, o in enumerate(options):
        link = o.check.links[0]
        spent, worn, _ = marginal[prepared.car.index[link.component]]
        exact = 1 - (1 - o.check.leak) * (1 - o.share * (spent * link.spent + worn * link.worn))
        error = 4 * chance[:, column].std() / np.sqrt(len(result.draws))
        assert chance[:, column].mean() == pytest.approx(exact, abs=error + 1e-6), o.id


def test_a_bill_is_good_news(ours):
    """A bill for a part is likelier the better the part is today: it was renewed more lately."""
    result = assess_fully(saloon(), ours)
    options = [
        o
        for o in scene_of(result.prepared.car).options
        if o.check.entry and len(o.check.entry.components) == 1
    ]
    options = [o for o in options if o.check.entry.components[0] in result.prepared.car.index]
    assert options
    chance = result_chances(result.prepared, result.draws, options)
    for column, o in enumerate(options):
        condition = result.draws.condition[:, result.prepared.car.index[o.check.entry.components[0]]]
        spent, sound = (chance[condition == k, column] for k in (0, 2))
        if min(spent.size, sound.size) > 100:
            assert sound.mean() > spent.mean()


def test_the_json_has_the_keys_of_the_contract(found):
    data = found.as_dict()
    assert {"checks", "stop_after", "perfect_information"} <= set(data)
    assert set(data["checks"][0]) >= KEYS
    assert set(data["checks"][0]["results"][0]) >= {"result", "probability", "walk_away"}
    assert len(found.frame()) == len(found.checks)


def test_the_same_seed_gives_the_same_ranking():
    case = small_case(money="risk_tolerance = 2000")
    one, two = (ranked(small_result(case, draws=5_000), 0.0).as_dict() for _ in range(2))
    assert one == two


def test_too_few_draws_are_said_and_an_owned_car_weighs_keeping_against_selling():
    few = ranked(small_result(small_case(), draws=250), 0.0)
    assert any("too few" in w for w in few.warnings)
    worth = ranked(small_result(small_case()), 0.0).by_value
    owned = ranked(small_result(small_case(sale="owned", asking=worth)), 0.0)
    assert any("yours" in w for w in owned.warnings)
    assert max(c.value for c in owned.checks) > 0


def test_missing_price_is_refused_before_any_work():
    case = small_case()
    bare = dataclasses.replace(case, money=dataclasses.replace(case.money, asking=None))
    with pytest.raises(InputError, match=r"money\.asking"):
        next_checks(bare, small_catalogue())


def test_nothing_is_proposed_where_nothing_would_change_the_deal():
    """Asking far below any worth: buy; far above: leave. Either way stop, and say so."""
    for asking in (100, 60_000):
        found = ranked(small_result(small_case(asking=asking)), 0.0)
        assert found.stop_after == 0
        assert found.advice.startswith("Stop")


def test_a_newcomer_with_a_magnet_is_offered_what_a_magnet_does():
    """Common practice: a magnet in a cloth or a tread gauge is in anybody's pocket; a paint gauge is not."""
    assert has_tool("newcomer", "magnet in a cloth or paint gauge")
    assert has_tool("newcomer", "tread depth gauge")
    assert not has_tool("newcomer", "paint gauge")
    assert not has_tool("newcomer", "boiling-point tester")
