"""What can be looked at now, and in which order. Rules are common practice; the car and its notes are invented."""

from __future__ import annotations

import dataclasses

import pytest

from estimator.car import resolve
from estimator.casefile.records import Finding
from estimator.catalogue.load import load_catalogue
from estimator.catalogue.records import STATIONS
from estimator.decide.next_checks import next_checks
from estimator.decide.scene import LEAST_LIFT_MINUTES, Option, cost, openers, place, scene_of
from estimator.problems import InputError
from tests.cars import saloon
from tests.decide.small import catalogue as small_catalogue
from tests.decide.small import small_case


@pytest.fixture(scope="module")
def ours():
    return load_catalogue()


def scene(ours, case, **given):
    return scene_of(resolve(case, ours), **given)


def with_car(case, **changes):
    return dataclasses.replace(case, car=dataclasses.replace(case.car, **changes))


def one(ours, *needs, station=None):
    return next(
        c for c in ours.checks.values()
        if set(needs) <= set(c.needs) and (station is None or c.station == station) and not c.when.startswith("!")
    )  # fmt: skip


def needs_of(found) -> set[str]:
    return {need for o in found.options for need in o.check.needs}


def test_cold_before_running_and_hot_after_a_drive(ours):
    order = [o.check for o in scene(ours, saloon()).options]
    engine = [i for i, c in enumerate(order) if "running" in c.needs and c.station != "before-you-go"]
    cold = [i for i, c in enumerate(order) if "cold" in c.needs and "running" not in c.needs]
    drive = [i for i, c in enumerate(order) if c.station == "road-test"]
    hot = [i for i, c in enumerate(order) if c.station == "hot"]
    assert cold
    assert max(cold) < min(i for i in engine if order[i].station not in ("before-you-go",))
    assert max(drive) < min(hot)
    assert [place(c) for c in order] == sorted(place(c) for c in order)


def test_once_the_engine_has_run_nothing_cold_is_left(ours):
    made = one(ours, "running", "cold", station="cold-start")
    case = dataclasses.replace(saloon(), finding=(Finding(check=made.id, result="absent"),))
    found = scene(ours, case)
    assert "cold" not in needs_of(found)
    assert made.id in found.made
    assert dict(found.closed)[one(ours, "cold", station="bonnet-cold").id] == "the engine has run today"


def test_a_car_that_does_not_run_is_neither_started_nor_driven(ours):
    found = scene(ours, with_car(saloon(), runs=False))
    assert not needs_of(found) & {"running", "drive", "hot"}
    assert all(o.check.nonrunner for o in found.options)
    assert found.options


def test_a_car_off_the_road_is_started_but_not_driven(ours):
    found = scene(ours, with_car(saloon(), road_legal=False))
    assert not needs_of(found) & {"drive", "legal-to-drive", "hot"}
    assert "running" in needs_of(found)


def test_a_failed_brake_test_ends_the_drive(ours):
    stop = next(c for c in ours.checks.values() if c.stop and c.station == "road-test")
    case = dataclasses.replace(saloon(), finding=(Finding(check=stop.id, result="present"),))
    assert "drive" not in needs_of(scene(ours, case))


def test_an_auction_leaves_a_short_look_at_a_standing_car(ours):
    found = scene(ours, saloon(sale="auction"))
    assert found.short_list
    assert not needs_of(found) & {
        "running",
        "drive",
        "lift",
        "jack",
        "permission",
        "seller",
        "helper",
        "workshop",
    }


def test_a_car_not_seen_has_pictures_and_papers_only(ours):
    found = scene(ours, saloon(sale="unseen"))
    assert found.requests
    for o in found.options:
        away = o.check.station in ("before-you-go", "papers-and-questions")
        assert away or (o.how == "pictures" and o.check.photo > 0)
        if not away:
            assert o.share == pytest.approx(o.check.who.handy * o.check.photo)
            assert o.price == 0


def test_without_and_stations_and_refusals(ours):
    everything = scene(ours, saloon())
    assert "lift" in needs_of(everything)
    assert "lift" not in needs_of(scene(ours, saloon(), without=["lift"]))
    only = scene(ours, saloon(), stations=["cabin"])
    assert {o.check.station for o in only.options} == {"cabin"}
    name = only.options[0].id
    refused = dataclasses.replace(saloon(), finding=(Finding(check=name, result="refused"),))
    assert dict(scene(ours, refused).closed)[name] == "the seller refuses it"


def test_who_is_paid_looks_with_a_mechanics_eye(ours):
    for o in scene(ours, saloon()).options:
        if {"workshop", "laboratory"} & set(o.check.needs) or ("lift" in o.check.needs and o.price > 0):
            assert (o.by, o.share) == ("mechanic", o.check.who.mechanic)
        else:
            assert o.by == "handy"


def test_a_newcomer_lacks_tools(ours):
    handy, newcomer = (scene(ours, with_car(saloon(), viewer=v)) for v in ("handy", "newcomer"))
    assert len(newcomer.options) < len(handy.options)
    assert any(why.startswith("needs a ") for _, why in newcomer.closed)


def test_the_lift_is_let_by_the_half_hour():
    check = next(c for c in small_catalogue().checks.values() if c.station == "on-a-lift")
    short = Option(check, "mechanic", "in-person", 1.0, 10.0, 20.0)
    assert cost([short]) == pytest.approx(20.0 * LEAST_LIFT_MINUTES / 10.0)  # by hand: 2 a minute, 30 minutes
    assert cost([short, short, short]) == pytest.approx(60.0)
    assert cost([]) == 0.0


def test_looks_into_an_opened_place_follow_what_opens_it(ours):
    after = openers(ours.checks.values())
    for follower, head in after.items():
        assert ours.checks[head].minutes >= ours.checks[follower].minutes
        assert head not in after


def test_every_station_is_known_and_a_wrong_one_named():
    with pytest.raises(InputError, match='did you mean "on-a-lift"'):
        next_checks(small_case(), small_catalogue(), stations=["on-the-lift"], draws=500)
    with pytest.raises(InputError, match="minutes"):
        next_checks(small_case(), small_catalogue(), minutes=-1, draws=500)
    assert len(STATIONS) == 12
