"""Which checks stand on a sheet, and in which order: for this car, for who looks, and for what he has.

What a newcomer can and cannot do at a viewing, and what every buyer of any old car looks at, is common practice; sums
are by hand.
"""

from __future__ import annotations

import dataclasses
import re

import pytest

from estimator import viewing
from estimator.assess import assess_fully
from estimator.case import load_case, parse_case
from estimator.catalogue.load import load_catalogue
from estimator.catalogue.usual import usual_checks
from estimator.files import InputError
from estimator.report.sheet_choice import (
    BEYOND,
    LEAST,
    MOST_BEYOND,
    beyond_reach,
    in_time,
    ranked_items,
    short_list,
)
from estimator.report.sheet_content import TREAD, TYRE_AGE, sheet_of
from estimator.report.sheet_html import FURTHER, sheet_html
from estimator.report.sheet_order import most_shown, stakes, worth_of_checks
from estimator.report.sheet_pdf import sheet_pdf
from estimator.report.sheet_reach import HAVING, lacking
from tests.command_line import run
from tests.report.test_sheet import text_of_pdf

HATCH = """
format = 1
[car]
name = "Hatch"
viewed = 2026-11-25
built = 1985-05-01
odometer = 138400
unit = "km"
viewer = "newcomer"
odometer_digits = 6
storage = "outdoors"
use = "daily"
traits = ["monocoque", "front-drive", "estate-body", "overhead-cam", "timing-belt", "strut-front", "rack-steering",
  "disc-front", "drum-rear", "four-cylinder", "steel-wheels", "contact-breaker", "alternator", "dual-circuit",
  "servo", "carburettor", "manual-gearbox"]
[money]
currency = "EUR"
asking = 3400
sound_example = [3800, 4800, 6200]
budget = 9000
annual_distance = 5000
"""
# common practice: what any careful buyer of such a car looks at without tools
LOOKED_AT = (
    "tap-press-sill-bottoms-arch-lips", "arch-lip-inner-seam-finger", "carpets-lifted-four-corners",
    "inner-wings-legs-damper-tops", "hinge-post-sill-ends-door-open", "jacking-points-looked",
    "magnet-paint-gauge-along-sills-arches-door", "gaps-doors-bonnet-boot", "oil-level-look",
    "coolant-level-colour-oil-film", "belt-cracks-date", "timing-belt", "tyre-cracks-bulges-mixed-sizes-types",
    "brake-pedal", "braking-hard-from-80-km-h-empty-road", "steering-free-play-rim-rack", "smoke-start",
    "smoke-mirror", "gear-lever", "each-gear-drive-overrun-hand-off-lever", "slip",
    "warning-lamps-light-ignition-then-go-out", "annual-test-record", "chassis-number-body-against-papers",
    "front-drive-boots-behind-wheels", "all-lamps-aim-wall",
)  # fmt: skip
# common practice: what nobody without a lift, a jack, tools or a workshop does at a viewing
NOT_DONE = (
    "drum-off-wheel-off-look", "cylinder-balance", "exhaust-unburnt-fuel-idle", "spin", "jacking-point-takes-weight",
    "whole-underside-walked-lamp-left-then", "brake-efficiency-imbalance-rollers", "coolant-strength-tester",
)  # fmt: skip


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


@pytest.fixture(scope="module")
def hatch(catalogue):
    """(case, worth of its checks, its sheet)."""
    case = parse_case(HATCH, "hatch.toml", catalogue)
    worth = worth_of_checks(assess_fully(case, catalogue, draws=1_000), catalogue)
    return case, worth, sheet_of(case, catalogue, worth=worth)


def squeezed(text: str) -> str:
    """Without white space and hyphens, as names may be broken over lines."""
    return re.sub(r"[\s­-]+", "", text).replace("’", "'")


def test_a_newcomers_two_sides_hold_what_every_buyer_looks_at(catalogue, hatch, tmp_path):
    _, worth, sheet = hatch
    pdf = sheet_pdf(sheet, worth=worth)
    raw = text_of_pdf(pdf, tmp_path)
    assert raw.count("\f") == 2
    text, block = squeezed(raw).split(squeezed(BEYOND))
    missing = [one for one in LOOKED_AT if squeezed(catalogue.checks[one].name)[:24] not in text]
    assert missing == []
    usual = [one for one in usual_checks(catalogue) if one in ranked_items(sheet, worth)]
    assert len(usual) > 45
    assert [one for one in usual if squeezed(catalogue.checks[one].name)[:24] not in text] == []
    apart = [item.name for item in sheet.items if item.beyond]
    assert [name for name in apart if squeezed(name) in text] == []
    assert sum(squeezed(name) in block for name in apart) <= MOST_BEYOND


def test_what_a_newcomer_cannot_do_is_beyond_his_reach(catalogue, hatch):
    _, worth, sheet = hatch
    within = ranked_items(sheet, worth)
    items = {item.id: item for item in sheet.items}
    assert [one for one in NOT_DONE if one in within] == []
    assert all(items[one].beyond for one in NOT_DONE)
    places = {"lift", "jack", "workshop", "laboratory"}
    assert not any(places & set(catalogue.checks[one].needs) for one in within)
    assert len(beyond_reach(sheet, worth)) == MOST_BEYOND
    assert [one for one in beyond_reach(sheet, worth) if not items[one].beyond] == []


def test_no_station_is_starved(hatch):
    """Of every station at the car the first LEAST that can be made, or all it has, come right behind the stops."""
    _, worth, sheet = hatch
    ranked = ranked_items(sheet, worth)
    stops = sum(1 for item in sheet.items if item.id in ranked and item.stop)
    stations = [s for s in sheet.stations if any(item.id in ranked for item in s.items)]
    front = ranked[stops : stops + LEAST * len(stations)]
    assert len(stations) >= 7
    first = [
        next(i for i, s in enumerate(stations) if one in {x.id for x in s.items})
        for one in front[: len(stations)]
    ]
    assert first == list(range(len(stations)))  # one of each before a second of any
    for station in stations:
        own = [item.id for item in station.items if item.id in ranked and not item.stop]
        assert sum(one in front for one in own) >= min(LEAST, len(own))


@pytest.mark.parametrize("name", ["coupe", "estate", "small-saloon"])
def test_the_examples_sheets_hold_all_that_is_usual(name, catalogue, tmp_path):
    case = load_case(f"data/examples/{name}.toml", catalogue)
    worth = worth_of_checks(assess_fully(case, catalogue, draws=500), catalogue)
    sheet = sheet_of(case, catalogue, worth=worth)
    text = squeezed(text_of_pdf(sheet_pdf(sheet, worth=worth), tmp_path))
    usual = [one for one in usual_checks(catalogue) if one in ranked_items(sheet, worth)]
    assert [one for one in usual if squeezed(catalogue.checks[one].name)[:24] not in text] == []


@pytest.mark.parametrize(
    ("check", "viewer", "having", "needs"),
    [
        ("spin", "newcomer", (), "jack and stands"),
        ("spin", "handy", (), ""),
        ("spin", "newcomer", ("jack",), ""),
        ("whole-underside-walked-lamp-left-then", "mechanic", (), "a lift"),
        ("whole-underside-walked-lamp-left-then", "newcomer", ("lift",), ""),
        ("brake-efficiency-imbalance-rollers", "mechanic", ("lift",), "a workshop"),
        ("brake-efficiency-imbalance-rollers", "newcomer", ("workshop",), ""),
        ("magnet-paint-gauge-along-sills-arches-door", "newcomer", (), ""),
        ("coolant-strength-tester", "newcomer", (), "coolant tester"),
        ("coolant-strength-tester", "newcomer", ("tools",), ""),
        ("coolant-strength-tester", "handy", (), ""),
        ("clatter-from-the-top-when-running", "newcomer", (), ""),
        ("engine-oil-analysis", "mechanic", HAVING, "a laboratory"),
        (TREAD, "newcomer", (), ""),
    ],
)
def test_what_is_lacking_for_a_check(check, viewer, having, needs, catalogue):
    assert lacking(catalogue.checks[check], viewer, having) == needs


def test_with_a_workshop_nothing_stands_apart(catalogue, hatch, tmp_path):
    case, worth, _ = hatch
    sheet = sheet_of(case, catalogue, worth=worth, having=("workshop",))
    assert beyond_reach(sheet, worth) == [] or {i.beyond for i in sheet.items if i.beyond} == {"a laboratory"}
    assert squeezed(BEYOND) not in squeezed(text_of_pdf(sheet_pdf(sheet, worth=worth), tmp_path))
    assert "whole-underside-walked-lamp-left-then" in ranked_items(sheet, worth)


def test_a_station_asked_for_by_name_is_there(catalogue, hatch):
    case, worth, _ = hatch
    sheet = sheet_of(case, catalogue, worth=worth, stations=("on-a-lift",))
    assert sheet.items
    assert not any(item.beyond for item in sheet.items)


def test_next_comes_what_shows_most_of_what_is_still_unseen(catalogue):
    """By hand, three looks of 2 minutes at leak 0: A shows sills 0.9, B sills 0.8, C brakes 0.5. Stakes: sills 100,
    brakes 30. A shows 90 and leaves 10 of the sills; B would then show 8, C 15: so C before B, though B alone shows 80.
    """
    plain = catalogue.checks["tap-press-sill-bottoms-arch-lips"]
    link = plain.links[0]

    def look(name: str, part: str, share: float):
        links = (link.model_copy(update={"component": part, "spent": share}),)
        return plain.model_copy(update={"id": name, "links": links, "leak": 0.0, "minutes": 2.0})

    looks = [look("b", "sills", 0.8), look("a", "sills", 0.9), look("c", "brakes", 0.5)]
    order, left = most_shown(looks, {"sills": 100.0, "brakes": 30.0}, "mechanic")
    assert order == ["a", "c", "b"]
    assert left == pytest.approx({"sills": 100 * 0.1 * 0.2, "brakes": 15.0})
    slow = [looks[0], looks[1].model_copy(update={"minutes": 40.0}), looks[2]]
    assert (
        most_shown(slow, {"sills": 100.0, "brakes": 30.0}, "mechanic")[0][0] == "b"
    )  # 80 in 5 min, 90 in 43
    decided = most_shown(looks, {"sills": 100.0, "brakes": 30.0}, "mechanic", {"c": 200.0})[0]
    assert decided[0] == "c"
    share = plain.who.newcomer
    _, left = most_shown(looks[:1], {"sills": 100.0, "brakes": 30.0}, "newcomer")
    assert left["sills"] == pytest.approx(100 * (1 - 0.8 * share))


def test_stakes_count_safety_and_damage(catalogue, hatch):
    """A part that damages none and is no matter of safety counts for its own mean cost; others for more; looks less."""
    case, _, _ = hatch
    result = assess_fully(case, catalogue, draws=300)
    told = stakes(result, catalogue)
    for part in result.assessment.components:
        damages = catalogue.components[part.id].damages
        if part.need == "comfort" and not damages:
            assert told[part.id] == pytest.approx(0.3 * part.mean_cost)
        elif part.need == "safety" and part.p_spent > 0.01:
            assert told[part.id] > part.mean_cost
        elif not damages:
            assert told[part.id] == pytest.approx(part.mean_cost)
    belt = next(p for p in result.assessment.components if p.id == "timing-belt-tensioner-idlers")
    assert told[belt.id] > belt.mean_cost


def test_only_what_fits_into_the_time_but_every_stop(hatch):
    _, worth, sheet = hatch
    ranked = ranked_items(sheet, worth)
    items = {item.id: item for item in sheet.items}
    kept = in_time(sheet, ranked, 60)
    stops = [one for one in ranked if items[one].stop]
    assert kept[: len(stops)] == stops
    others = sum(items[one].minutes for one in kept if not items[one].stop)
    assert others <= 60
    assert len(kept) > len(stops) + 10
    assert in_time(sheet, ranked, None) == ranked


def test_on_paper_a_caution_is_written_out_once(catalogue, hatch, tmp_path):
    """The first time in words, then by name: as above."""
    _, worth, sheet = hatch
    text = squeezed(text_of_pdf(sheet_pdf(sheet, worth=worth), tmp_path))
    assert text.count(squeezed("A hot cooling system is under pressure")) == 1
    assert text.count(squeezed("As above:")) >= 3


def test_usual_checks_exist_fit_some_car_and_may_be_ones_own(catalogue, tmp_path):
    ids = usual_checks(catalogue)
    assert len(set(ids)) == len(ids)
    order = [list(viewing.STATIONS).index(catalogue.checks[one].station) for one in ids]
    assert order == sorted(order)
    assert not any(lacking(catalogue.checks[one], "newcomer") for one in ids)
    (tmp_path / "usual.toml").write_text('source = "mine"\nchecks = ["keys"]\n', encoding="utf-8")
    assert usual_checks(load_catalogue(tmp_path)) == ("keys",)
    (tmp_path / "usual.toml").write_text('source = "mine"\nchecks = ["keyz"]\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"usual\.toml.*no check.*keyz.*keys"):
        usual_checks(load_catalogue(tmp_path))


def test_a_phones_stations_begin_with_the_short_list_and_end_beyond_reach(catalogue, hatch):
    _, worth, sheet = hatch
    short = short_list(sheet, worth)
    assert set(ranked_items(sheet, worth)[:60]) <= short
    assert {TREAD, TYRE_AGE} <= short
    page = sheet_html(sheet, worth=worth)
    for station in sheet.stations:
        own = page[page.index(f'id="s-{station.id}"') :].split("</section>")[0]
        seen = re.findall(r'data-id="([^"]+)"', own)
        assert sorted(seen) == sorted(item.id for item in station.items)
        ranks = [2 if item.beyond else 0 if item.stop or item.id in short else 1 for item in station.items]
        items = {item.id: rank for item, rank in zip(station.items, ranks, strict=True)}
        assert [items[one] for one in seen] == sorted(ranks)
        assert (BEYOND in own) == (2 in ranks)
        assert (FURTHER in own) == (0 in ranks and 1 in ranks)
    assert page.count(" data-short") == len(short)
    assert "data-short" not in sheet_html(sheet).split("<script")[0]


def test_a_magnet_without_a_gauge_answers_clear_of_the_limit(catalogue, hatch):
    """By hand: the limit is 1,000 micrometres and a reading's error 150: twice that on either side."""
    _, _, sheet = hatch
    judged = {item.id: item.judged for item in sheet.items if item.judged}
    assert judged == {"magnet-paint-gauge-along-sills-arches-door": (1300.0, 700.0)}
    page = sheet_html(sheet)
    assert re.search(r'class="judge" data-value="1300">filler<.*data-value="700">steel all along<', page)


def test_a_sheet_for_what_is_there_and_the_time_there_is(tmp_path, capsys):
    path = tmp_path / "hatch.toml"
    path.write_text(HATCH, encoding="utf-8")
    pdf = tmp_path / "s.pdf"
    words = ("sheet", path, "--draws", "300", "--pdf", pdf)
    assert run(*words, "--minutes", "45", "--sides", "1", "--with", "lift", "--with", "jack") == 0
    assert text_of_pdf(pdf.read_bytes(), tmp_path).count("\f") == 1
    assert pdf.read_bytes().startswith(b"%PDF")
    capsys.readouterr()
    assert run(*words, "--with", "lifts") == 2
    assert "did you mean lift" in capsys.readouterr().err


def test_a_case_without_a_price_is_put_in_order_too(catalogue):
    case = parse_case(HATCH, "hatch.toml", catalogue)
    bare = dataclasses.replace(case, money=dataclasses.replace(case.money, asking=None, sound_example=None))
    worth = worth_of_checks(assess_fully(bare, catalogue, draws=300), catalogue)
    every = {check.id for place in viewing.stations(bare, catalogue) for check in place.checks}
    assert set(worth) == every
    assert len(set(worth.values())) == len(worth)


def test_at_an_auction_only_what_can_be_done_there(catalogue):
    """Common practice: the car stands, the papers lie there; nobody starts it, lifts it, drives it or answers."""
    case = parse_case(HATCH.replace("[money]", 'sale = "auction"\n[money]'), "hatch.toml", catalogue)
    sheet = sheet_of(case, catalogue)
    for item in sheet.items:
        needs = set(catalogue.checks[item.id].needs)
        assert not needs & {"running", "drive", "lift", "jack", "helper", "permission", "seller", "workshop"}
    assert {"tyre-date-codes-all-five", "oil-level-look"} <= {item.id for item in sheet.items}
    assert (catalogue.checks["smoke-mirror"].name, "not at an auction") in sheet.left_out


def test_of_ones_own_car_nobody_is_asked(catalogue):
    case = parse_case(HATCH.replace("[money]", 'sale = "owned"\n[money]'), "hatch.toml", catalogue)
    sheet = sheet_of(case, catalogue)
    assert not any("seller" in catalogue.checks[item.id].needs for item in sheet.items)
    assert {why for _, why in sheet.left_out} == {"there is no seller to ask"}
