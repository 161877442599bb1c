"""What a second pair of eyes found in the path from papers to outlay; each test failed before its cure."""

from __future__ import annotations

import dataclasses
import datetime
from types import MappingProxyType

import numpy as np
import pytest

from estimator.assess import assess_fully
from estimator.car import resolve
from estimator.case import parse_case
from estimator.catalogue.load import load_catalogue
from estimator.evidence import grid as grid_module
from estimator.evidence.findings import read_findings
from estimator.history import history, odometer_hypotheses
from estimator.known import found_parts
from estimator.money.access import access_plan
from estimator.money.book import price_book
from estimator.money.sheets import price_sheets
from estimator.money.total import Pricing, join_worn
from estimator.outlays import known_outlay, price_draws
from estimator.pipeline import prepare, sale_pull, wear_of
from estimator.simulate import Needs, draw_conditions
from estimator.why import reasons
from tests.cars import SALOON, cut, saloon


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


def test_two_odometers_replaced_on_one_day_are_read(catalogue):
    more = """
[[odometer_replaced]]
date = 1999-01-01
old = 50000
[[odometer_replaced]]
date = 1999-01-01
new = 100
"""
    assert odometer_hypotheses(resolve(saloon(more), catalogue))


@pytest.mark.parametrize("days", [0, 3, 60])
def test_a_car_days_old_has_not_turned_over(catalogue, days):
    """By hand: a million kilometres in two months would be 16,000 a day."""
    built = datetime.date(2026, 5, 4) - datetime.timedelta(days=days)
    found = odometer_hypotheses(resolve(saloon(built=str(built), odometer=5), catalogue))
    assert found[0].label == "as shown"
    assert found[0].weight > 0.99


LOOK = '[[finding]]\ncheck = "{check}"\nresult = "{result}"\n{more}\n'


def _look(check: str, result: str, more: str = "") -> str:
    return LOOK.format(check=check, result=result, more=more)


def _belief(more: str, catalogue) -> dict[str, float]:
    evidence = read_findings(resolve(saloon(more), catalogue))
    return dict(zip(evidence.checks, evidence.belief, strict=True))


BOUGHT = "[bought]\ndate = 2026-05-10\n"


def test_a_look_without_a_day_is_the_viewings_and_a_later_one_replaces_it(catalogue):
    """It used to count as later than any dated one."""
    more = _look("take-up", "present") + _look("take-up", "absent", "date = 2026-06-01") + BOUGHT
    assert _belief(more, catalogue) == {"take-up": 0.0}
    early = _look("take-up", "absent", "date = 2026-04-01") + _look("take-up", "present")
    assert _belief(early, catalogue) == {"take-up": 1.0}


@pytest.mark.parametrize("later", ["could-not-try", "refused"])
def test_no_answer_does_not_undo_an_answer(catalogue, later):
    more = _look("take-up", "present", "date = 2026-05-01") + _look("take-up", later)
    assert _belief(more, catalogue) == {"take-up": 1.0}


def test_a_later_look_at_both_sides_replaces_one_at_a_side(catalogue):
    left = _look("flexible-coupling-front", "present", 'side = "left"\ndate = 2026-05-01')
    both = _look("flexible-coupling-front", "absent")
    assert _belief(left + both, catalogue) == {"flexible-coupling-front": 0.0}


def test_one_side_alone_proves_half(catalogue):
    """Common practice: a pair of which only one side could be seen may be bad on the other."""

    def sensitivity(sides: list[str]) -> float:
        more = "".join(_look("flexible-coupling-front", "absent", f'side = "{s}"') for s in sides)
        return float(read_findings(resolve(saloon(more), catalogue)).sensitivity[0].max())

    assert sensitivity(["left"]) == pytest.approx(0.5 * sensitivity(["left", "right"]))


def test_a_check_for_other_cars_is_left_out_as_the_warning_says(catalogue):
    plain = resolve(saloon(), catalogue)
    check = next(
        c
        for c in catalogue.checks.values()
        if plain.chance(c.when) == 0
        and c.reading is None
        and any(x.component in plain.index for x in c.links)
    )
    car = resolve(saloon(_look(check.id, "present")), catalogue)
    assert check.id not in read_findings(car).checks


def test_one_refusal_at_a_station_says_as_much_as_five(catalogue):
    """Who will not have the car lifted refuses everything below it; nobody owes a stranger samples or dismantling."""
    lift = [c.id for c in catalogue.checks.values() if c.station == "on-a-lift"][:5]
    one, five = (
        read_findings(resolve(saloon("".join(_look(c, "refused") for c in some)), catalogue))
        for some in (lift[:1], lift)
    )
    np.testing.assert_allclose(one.presentation, five.presentation)
    away = [c.id for c in catalogue.checks.values() if c.station in ("laboratory", "small-things-off")][:3]
    paid = read_findings(resolve(saloon("".join(_look(c, "refused") for c in away)), catalogue))
    assert not paid.care.any()
    assert not paid.presentation.any()


def test_stops_that_need_a_laboratory_or_a_foreign_car_are_not_open(catalogue):
    papers = next(c.id for c in catalogue.checks.values() if c.imported)
    laboratory = [c.id for c in catalogue.checks.values() if c.stop and c.station == "laboratory"]
    assert laboratory
    home = read_findings(resolve(saloon(), catalogue)).open_stops
    assert home
    assert not {papers, *laboratory} & set(home)
    for country, open_ in (("GB", False), ("DE", True), ("", False)):
        case = dataclasses.replace(
            saloon(), car=dataclasses.replace(saloon().car, market="GB", country=country)
        )
        assert (papers in read_findings(resolve(case, catalogue)).open_stops) == open_
    failed = read_findings(resolve(saloon(_look(papers, "present")), catalogue))
    assert papers in [check for check, _ in failed.stops], "what was found is never left out"


def test_buying_a_car_does_not_make_what_was_seen_before_more_certain(catalogue):
    """Dressed up for sale it was when it was looked at; what is found afterwards is not masked."""
    look = _look("tap-press-sill-bottoms-arch-lips", "absent")
    before = read_findings(resolve(saloon(look), catalogue))
    after = read_findings(resolve(saloon(look + BOUGHT), catalogue))
    np.testing.assert_array_equal(before.sensitivity, after.sensitivity)
    later = _look("tap-press-sill-bottoms-arch-lips", "absent", "date = 2026-06-01") + BOUGHT
    own = read_findings(resolve(saloon(later), catalogue))
    np.testing.assert_array_equal(own.sensitivity[0], own.sensitivity[1])
    prior = [prepare(saloon(more), catalogue).shared.presentation for more in (look, look + BOUGHT)]
    np.testing.assert_array_equal(*prior)


def test_renewing_one_suspect_does_not_convict_the_others(catalogue):
    """The sign may have been the old part's: the others are no likelier after its renewal than before."""
    clunk = _look("take-up", "present")
    work = '[[work]]\ncomponent = "universal-joint-centre"\ndate = 2026-05-20\nevidence = "invoice"\n'
    car = resolve(saloon(), catalogue)
    linked = [x.component for x in catalogue.checks["take-up"].links if x.component in car.index]
    others = [car.index[c] for c in linked if c != "universal-joint-centre"]
    bought = BOUGHT + "as_of = 2026-06-01\n"
    before, after = (
        p.grid.mean(p.grid.marginal)[others, 0]
        for p in (prepare(saloon(clunk + bought + more), catalogue) for more in ("", work))
    )
    assert "universal-joint-centre" in linked
    assert (after <= before + 0.005).all()
    evidence = read_findings(resolve(saloon(clunk + bought + work), catalogue))
    assert 0 < evidence.harmless[0] < 1


def test_only_the_viewers_own_looks_share_how_closely_he_looked(catalogue):
    look = _look("tap-press-sill-bottoms-arch-lips", "absent", 'by = "mechanic"')
    assert read_findings(resolve(saloon(look), catalogue)).closely.size == 1


@pytest.mark.parametrize("depth", ["", 'depth = "full"\n'])
def test_a_kit_without_a_depth_is_the_full_one_wherever_it_stands(catalogue, depth):
    kit = catalogue.kits["brake-overhaul"]
    turned = kit.model_copy(update={"depths": dict(reversed(kit.depths.items()))})
    other = dataclasses.replace(catalogue, kits={**catalogue.kits, kit.id: turned})
    work = f'[[work]]\ndate = 2020-01-01\nkit = "brake-overhaul"\n{depth}'
    car = resolve(saloon(work), other)
    assert {car.parts[i].id for i in car.worked_on(car.case.work[0])} == set(kit.depths["full"]) & set(
        car.index
    )


def test_what_is_worn_is_there_and_what_is_sound_may_be_missing(catalogue):
    """By hand: where nothing was found and it is not for sale, P(not spent, falls due) is the share of cars with the
    part times what it is for them. Worn parts used to be counted as missing too.
    """
    text = SALOON.format(built="1979-05-01", odometer=132_000, sale="owned").replace(
        '"two-piece-prop-shaft",', ""
    )
    mixed = prepare(parse_case(text), catalogue)
    has, table, grid = mixed.shared.has, mixed.wear.table, mixed.grid
    unsure = np.flatnonzero((has < 1) & ~mixed.car.rust)
    assert unsure.size > 3
    levels = np.stack([grid.h, grid.w, grid.q], axis=1)
    fitted = grid_module._conditions_at(table, levels, grid.common)[:, unsure, 1:]
    due = grid_module.due_at(table, grid)[..., -1][:, unsure]
    expected = has[unsure] * (fitted * due).sum(axis=-1)
    found = (grid.prior[:, unsure, 1:] * mixed.due[..., -1][:, unsure]).sum(axis=-1)
    np.testing.assert_allclose(found, expected, rtol=1e-5)
    np.testing.assert_array_equal(mixed.due[:, unsure, 0][..., -1], due[..., 0])


def test_the_wear_pass_is_kept_for_the_papers_and_the_day(catalogue):
    """A finding's date may be the latest on record and so the day all is as of; notes and prices move nothing."""
    work = '[[work]]\ndate = 2020-01-01\ncomponent = "water-pump"\nprice = {price}\nnote = "{note}"\n'
    cases = [
        saloon(BOUGHT + more + work.format(price=price, note=note))
        for more, price, note in (
            ("", 1, ""),
            (_look("take-up", "absent", "date = 2028-06-01"), 1, ""),
            ("", 2, "dear"),
        )
    ]
    first, later, noted = (wear_of(resolve(case, catalogue)) for case in cases)
    assert first is noted
    assert later is not first
    assert later.history.pass_input.nodes_years[later.history.pass_input.today] > 49.0
    asked = parse_case(
        SALOON.format(built="1979-05-01", odometer=132_000, sale="private")
        .replace("GBP", "EUR")
        .replace("6000", "9000")
    )
    assert wear_of(resolve(asked, catalogue)) is wear_of(resolve(saloon(), catalogue))


def test_a_bill_for_a_part_says_that_the_car_has_it(catalogue):
    """By hand (Bayes): share s of cars have it, the bill is wrong about this car with chance 1 - c."""
    text = SALOON.format(built="1979-05-01", odometer=132_000, sale="private").replace(
        '"two-piece-prop-shaft",', ""
    )
    bill = '[[work]]\ndate = 2020-01-01\ncomponent = "centre-bearing"\nevidence = "invoice"\n'
    silent, told = (resolve(parse_case(t), catalogue) for t in (text, text + bill))
    at = silent.index["centre-bearing"]
    share, wrong = silent.has[at], 1 - catalogue.settings.evidence.credibility["invoice"]
    assert 0.05 < share < 0.95
    assert told.has[at] == pytest.approx(share / (share + (1 - share) * wrong))
    rest = np.arange(silent.has.size) != at
    np.testing.assert_array_equal(silent.has[rest], told.has[rest])


def test_comfort_opens_nothing_for_the_rest(catalogue):
    """Comfort and looks are priced apart: whether they are done must not move the total (4 standard errors)."""
    plain = assess_fully(saloon(sale="owned"), catalogue, draws=8000).outlays
    dear = {
        c: (p.model_copy(update={"access": ()}) if p.need == "comfort" else p)
        for c, p in catalogue.components.items()
    }
    shallow = dataclasses.replace(catalogue, components=MappingProxyType(dear))
    other = assess_fully(saloon(sale="owned"), shallow, draws=8000).outlays
    assert other.comfort.mean() < plain.comfort.mean()
    error = (other.total.year - plain.total.year).std() / np.sqrt(8000)
    assert other.total.year.mean() == pytest.approx(plain.total.year.mean(), abs=4 * error)


def test_found_work_counts_in_the_year_it_falls_due_though_it_is_brought_forward(catalogue):
    """By hand: one draw, the found clutch worn and due in month 7, reached now by the seal's strip-down."""
    car = resolve(saloon(), catalogue)
    book = price_book(car)
    seal, clutch = car.index["crankshaft-rear-oil-seal"], car.index["clutch"]
    nobody = np.zeros(0, np.intp)
    needs = Needs(
        spent_draw=np.zeros(1, np.intp), spent_part=np.array([seal]), due_draw=np.zeros(1, np.intp),
        due_part=np.array([clutch]), due_month=np.array([7]), due_worn=np.array([True]),
        worn_draw=nobody, worn_part=nobody,
    )  # fmt: skip
    rng = np.random.default_rng(1)
    pricing = Pricing(book, price_sheets(book, rng), join_worn(book, needs, 1), 1, rng)
    known = known_outlay(pricing, np.arange(len(car.parts)) == clutch)
    assert known.now[0] == 0
    assert known.year[0] == pytest.approx(pricing.outlay(pricing.jobs.part == clutch).year[0])
    assert 0 < known.year[0] < pricing.everything.now[0]


def test_strip_down_is_that_of_the_cars_which_have_the_part(catalogue):
    """Half shafts of a live axle come out as on a live axle, though few cars of an open build have one: whoever says
    nothing about the build used to get most strip-down for nothing.
    """
    text = SALOON.format(built="1979-05-01", odometer=132_000, sale="private")
    unsaid = resolve(parse_case(text.split("traits")[0] + "[money]" + text.split("[money]")[1]), catalogue)
    named = resolve(parse_case(text), catalogue)
    steps = {}
    for car in (unsaid, named):
        access = access_plan(car, money_factor=1.0)
        steps[len(car.parts)] = {
            c: {access.steps[s] for s in access.of(car.index[c])} for c in ("half-shafts-live-axle", "clutch")
        }
    assert 0 < unsaid.has[unsaid.index["half-shafts-live-axle"]] < 0.5
    found, expected = (steps[len(c.parts)]["half-shafts-live-axle"] for c in (unsaid, named))
    assert found == expected != set()
    access = access_plan(unsaid, money_factor=1.0)
    bare = [p.id for i, p in enumerate(unsaid.parts) if p.access and not access.of(i).size]
    assert "clutch" not in bare
    assert len(bare) < 5, bare


def test_pricing_twice_gives_the_same(catalogue):
    """Asking for the side streams of a seed must not use them up."""
    prepared = prepare(saloon(), catalogue)
    first, *seeds = np.random.SeedSequence(0).spawn(2)
    drawn = draw_conditions(prepared.grid, prepared.evidence.belief, n=300, rng=np.random.default_rng(first))
    nothing = np.zeros(len(prepared.car.parts), bool)
    once, again = (price_draws(prepared, drawn, nothing, seeds) for _ in range(2))
    np.testing.assert_array_equal(once.total.year, again.total.year)
    np.testing.assert_array_equal(once.unlisted, again.unlisted)


def test_neglected_cars_have_more_on_no_list(catalogue):
    """By hand: a tenth of the listed work at the usual mix of care, times the level's factor against that mix."""
    care = catalogue.settings.evidence.care
    usual = np.dot(care.prior, care.unlisted)
    for level, factor in zip(("attentive", "neglectful"), (care.unlisted[0], care.unlisted[2]), strict=True):
        text = SALOON.format(built="1979-05-01", odometer=132_000, sale="private")
        case = parse_case(text.replace("viewer =", f'care = "{level}"\nviewer ='))
        only = cut(catalogue, list(catalogue.components), [], evidence__care__stated_weight=1.0)
        result = assess_fully(case, only, draws=20_000)
        share = result.outlays.unlisted.mean() / result.outlays.total.year.mean()
        assert share == pytest.approx(catalogue.settings.prices.unlisted_share * factor / usual, rel=0.05)


def test_the_long_run_is_where_the_pass_ends_up(catalogue):
    """Second method: parts that age by years alone and have been renewed many times stand, by the wear pass without
    papers, where the renewal theorem says, at the same care, exposure and spread of lives.
    """
    car = resolve(saloon(), catalogue)
    wear = wear_of(car)
    short = np.array([p.life_km is None and p.life_years.b50 < 16 for p in car.parts])
    assert short.sum() > 5
    np.testing.assert_allclose(wear.base[short, 0], wear.by_age[short, 0], rtol=0.01)


def test_a_kit_seen_spent_at_the_viewing_is_found(catalogue):
    seen = (
        '[[work]]\ndate = 2026-05-04\nkit = "brake-overhaul"\ndepth = "hydraulics-only"\n'
        'what = "seen-spent"\nevidence = "invoice"\n'
    )
    prepared = prepare(saloon(seen), catalogue)
    wheel = prepared.car.index["rear-wheel-cylinders-pair"]
    assert prepared.grid.mean(prepared.grid.marginal)[wheel, 0] > 0.5
    assert found_parts(prepared)[wheel]


def test_so_much_present_that_it_is_sampled_is_not_told_apart(catalogue):
    """Leaving out each of hundreds of present signs took an hour; the reasons still add up."""
    more = _look("take-up", "present") + _look("tap-press-sill-bottoms-arch-lips", "absent")
    prepared = prepare(saloon(more), catalogue)
    sampled = dataclasses.replace(
        prepared, grid=dataclasses.replace(prepared.grid, method="importance sampling")
    )
    why = reasons(sampled)
    spent = prepared.grid.mean(prepared.grid.marginal)[:, 0]
    for steps, total in zip(why.steps, spent, strict=True):
        assert sum(s.points for s in steps) == pytest.approx(total, abs=1e-9)
        assert "finding:take-up" not in [s.step for s in steps]
    assert any(s.step == "finding:take-up" for steps in reasons(prepared).steps for s in steps)


SHORT = ["clutch", "battery", "tyres-set"]


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(
    ("built", "odometer"),
    [
        ("1900-01-01", 132_000),
        ("2026-05-04", 0),
        ("2026-05-01", 5),
        ("1979-05-01", 0),
        ("1979-05-01", 999_999),
    ],
)
def test_odd_cars_are_computed_without_a_murmur(catalogue, built, odometer):
    """Of 1900, of today, never driven, driven round the clock: finite figures, and no warning from numpy."""
    more = '[[test]]\ndate = 2026-05-03\nresult = "passed"\n' if built < "2026" else ""
    result = assess_fully(saloon(more, built=built, odometer=odometer), catalogue, draws=300)
    assert np.isfinite(result.outlays.total.year).all()
    assert np.isfinite(result.prepared.grid.log_evidence)
    marginal = result.prepared.grid.marginal
    assert ((marginal >= 0) & (marginal <= 1)).all()
    if built.startswith("2026"):
        assert result.outlays.total.now.mean() < 500


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("parts", [["clutch"], SHORT])
def test_a_catalogue_of_one_part_is_enough(catalogue, parts):
    few = cut(catalogue, parts, [c.id for c in catalogue.checks.values() if c.care is not None])
    assert np.isfinite(
        assess_fully(
            saloon(_look("take-up", "present")), cut(catalogue, parts, ["take-up"]), draws=50
        ).outlays.total.year
    ).all()
    assert assess_fully(saloon(), few, draws=20).assessment.components[0].id in parts


def test_one_side_seen_sound_leaves_the_other_open(catalogue):
    """By hand: half of the pairs that are spent are so on the side nobody looked at."""
    seen = catalogue.settings.evidence.seen["invoice"].sound
    part = 'component = "rear-wheel-cylinders-pair"'
    entry = f'[[work]]\ndate = 2026-04-01\n{part}\nwhat = "seen-sound"\nevidence = "invoice"\n'
    found = []
    for side in ("both", "left"):
        car = resolve(saloon(entry + f'side = "{side}"\n'), catalogue)
        entries = history(car).pass_input.entries[car.index["rear-wheel-cylinders-pair"]]
        found.append(entries[-1].likelihood)
    assert found[0] == pytest.approx(seen)
    assert found[1] == pytest.approx([(seen[0] + seen[2]) / 2, (seen[1] + seen[2]) / 2, seen[2]])


@pytest.mark.parametrize(
    ("sale", "reason", "k"),
    [("friend", "no-time", 1.0), ("friend", "needs-work", 5.0), ("auction", "no-space", 1.5),
     ("owned", "needs-work", 0.0), ("private", "unknown", 3.0)],
)  # fmt: skip
def test_a_reason_allays_or_adds_to_what_the_sale_suggests(catalogue, sale, reason, k):
    """By hand, from data/evidence.toml: a friend who has no time is no worse than a friend who says nothing."""
    text = SALOON.format(built="1979-05-01", odometer=132_000, sale=sale)
    car = resolve(parse_case(text.replace("viewer =", f'reason = "{reason}"\nviewer =')), catalogue)
    book = price_book(car)
    np.testing.assert_allclose(sale_pull(car, book), k * book.typical / 7000)


def test_why_it_was_for_sale_fades_after_the_purchase_and_not_on_the_day(catalogue):
    """By hand: recording the purchase changes nothing that day; a year later the factor's excess is 1/e of it."""
    text = SALOON.format(built="1979-05-01", odometer=132_000, sale="private")
    viewed = parse_case(text)
    day = viewed.car.viewed
    excess = {}
    for label, more in {
        "unsold": "",
        "same day": f"[bought]\ndate = {day}\nprice = 7000\n",
        "a year on": f"[bought]\ndate = {day}\nprice = 7000\nas_of = {day.replace(year=day.year + 1)}\n",
    }.items():
        car = resolve(parse_case(text + more), catalogue)
        excess[label] = sale_pull(car, price_book(car))
    np.testing.assert_allclose(excess["same day"], excess["unsold"])
    ratio = excess["a year on"] / excess["unsold"]
    np.testing.assert_allclose(ratio, np.exp(-1), rtol=0.05)  # strip-down has aged a year too


def test_the_latest_quote_stands(catalogue):
    quote = '[[quote]]\ncomponent = "water-pump"\nremedy = "new"\nprice = {}\ndate = {}\ncovers = "job"\n'
    more = quote.format(120, "2026-04-01") + quote.format(90, "2026-03-01")
    car = resolve(saloon(more), catalogue)
    way = next(w for w in price_book(car).ways[car.index["water-pump"]] if w.fixed)
    assert way.parts[0] == pytest.approx(120 / 1.2)
