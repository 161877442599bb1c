"""Outlay of draws: the union of strip-down, the policy for worn parts, sub-totals that add up."""

import dataclasses

import numpy as np
import pytest

from estimator.car import resolve
from estimator.catalogue.load import load_catalogue
from estimator.money.book import price_book
from estimator.money.sheets import price_sheets
from estimator.money.total import Jobs, Pricing, join_worn
from estimator.simulate import Needs
from tests.cars import price_ranges, saloon
from tests.reference.bill import first_round, year


@pytest.fixture(scope="module")
def car():
    return resolve(saloon(), load_catalogue())


@pytest.fixture(scope="module")
def book(car):
    return price_book(car)


def _needs(spent: list[int], worn: list[int], n: int) -> Needs:
    """The same needs in each of n draws."""

    def each(parts: list[int]) -> tuple[np.ndarray, np.ndarray]:
        return np.repeat(np.arange(n), len(parts)), np.tile(np.array(parts, np.intp), n)

    nobody = np.zeros(0, np.intp)
    return Needs(*each(spent), nobody, nobody, nobody, np.zeros(0, bool), *each(worn))


@pytest.mark.parametrize(
    ("spent", "worn"),
    [
        (["water-pump"], []),
        (["crankshaft-rear-oil-seal", "clutch"], ["gearbox-mounting", "radiator"]),
        (["flexible-coupling-front", "centre-bearing"], ["flexible-coupling-rear", "universal-joint-centre"]),
        (["outer-sills", "inner-sills-membranes", "front-floor-pans"], ["seat-belts-reels"]),
        (["head-gasket", "sump-gasket", "coolant-mixture"], ["cam-cover-rocker-cover-gasket"]),
    ],
)
def test_first_round_agrees_with_the_slow_bill(car, book, spent, worn):
    """Second method: tests/reference/bill.py, loops and sets, within Monte Carlo error (4 standard errors)."""
    i, j = ([car.index[c] for c in ids] for ids in (spent, worn))
    n = 6_000
    rng = np.random.default_rng(1)
    jobs = join_worn(book, _needs(i, j, n), n)
    priced = Pricing(book, price_sheets(book, rng), jobs, n, rng).everything.now
    levels = car.catalogue.settings.prices.scarcity_spread.levels
    ranges = price_ranges(car)
    slow_rng = np.random.default_rng(2)
    slow = np.array(
        [
            first_round(book, ranges, spent=set(i), worn=set(j), levels=levels, rng=slow_rng)
            for _ in range(3_000)
        ]
    )
    error = np.hypot(priced.std() / np.sqrt(n), slow.std() / np.sqrt(slow.size))
    sheets = priced.mean() * 0.004  # what 1,024 scenarios a sheet can be off by
    assert priced.mean() == pytest.approx(slow.mean(), abs=4 * error + sheets)
    assert priced.std() == pytest.approx(slow.std(), rel=0.1)


def test_shared_strip_down_is_paid_once(car, book):
    """By hand: clutch and rear oil seal together cost less than apart, by at least the gearbox's removal."""
    n, rng = 4_000, np.random.default_rng(3)
    sheets = price_sheets(book, rng)

    def mean(ids: list[str]) -> float:
        jobs = join_worn(book, _needs([car.index[c] for c in ids], [], n), n)
        return float(Pricing(book, sheets, jobs, n, rng).everything.now.mean())

    together = mean(["clutch", "crankshaft-rear-oil-seal"])
    apart = mean(["clutch"]) + mean(["crankshaft-rear-oil-seal"])
    gearbox_h = book.access.mean_hours[list(book.access.steps).index("gearbox-out-rear-drive")]
    assert apart - together > gearbox_h * book.rate_likely


def test_parts_and_months_add_up_to_the_total(car, book):
    rng = np.random.default_rng(4)
    n = 500
    events = rng.random((n, len(car.parts))) < 0.2
    draw, part = np.nonzero(events)
    month = np.where(rng.random(draw.size) < 0.6, 0, rng.integers(1, 13, draw.size))
    order = np.argsort(month > 0, kind="stable")
    spent = (month == 0)[order]
    jobs = Jobs(draw[order], part[order], month[order], spent, now=int(spent.sum()))
    pricing = Pricing(book, price_sheets(book, rng), jobs, n, rng)
    np.testing.assert_allclose(pricing.by_part().sum(axis=1), pricing.everything.year, rtol=2e-5)
    np.testing.assert_allclose(pricing.by_month().sum(), pricing.everything.year.sum(), rtol=1e-9)
    some = rng.random(draw.size) < 0.4
    inside = pricing.outlay(some)
    assert (inside.now >= 0).all()
    assert (inside.year >= inside.now - 1e-9).all()


def test_a_quote_for_the_whole_job_leaves_nothing_to_chance():
    more = """
[[quote]]
component = "water-pump"
remedy = "new"
price = 150
covers = "job"
"""
    car = resolve(saloon(more), load_catalogue())
    book = price_book(car)
    i = car.index["water-pump"]
    assert book.ways[i][0].fixed
    assert book.access.of(i).size == 0
    rng, n = np.random.default_rng(5), 50
    pricing = Pricing(book, price_sheets(book, rng), join_worn(book, _needs([i], [], n), n), n, rng)
    np.testing.assert_allclose(pricing.bill, 150.0, rtol=1e-6)


def _round(car, spent: list[str], due: list[tuple[str, int, bool]], n: int = 1) -> Needs:
    """The same needs in each of n draws: parts spent, and (part, month, worn today) of those that fall due."""
    nobody = np.zeros(0, np.intp)
    return Needs(
        spent_draw=np.repeat(np.arange(n), len(spent)),
        spent_part=np.tile(np.array([car.index[c] for c in spent], np.intp), n),
        due_draw=np.repeat(np.arange(n), len(due)),
        due_part=np.tile(np.array([car.index[c] for c, _, _ in due], np.intp), n),
        due_month=np.tile(np.array([m for _, m, _ in due], np.intp), n),
        due_worn=np.tile(np.array([seen for _, _, seen in due], bool), n),
        worn_draw=nobody,
        worn_part=nobody,
    )


@pytest.mark.parametrize(("worn", "month"), [(True, 0), (False, 7)])
def test_only_what_can_be_seen_to_be_worn_is_brought_forward(car, book, worn, month):
    """By the policy: a sound part that will fall due in its month is not known to, whatever is open now."""
    needs = _round(car, ["crankshaft-rear-oil-seal"], [("clutch", 7, worn)])
    jobs = join_worn(book, needs, 1)
    at = int(np.flatnonzero(jobs.part == car.index["clutch"])[0])
    assert jobs.month[at] == month


def _handy(more: str = "", *, hours: float = 60.0):
    """The saloon of somebody who does his own work, and its price book."""
    text = f"own_hours_per_month = {hours}\nown_skill = 3\n"
    car = resolve(saloon(text + more), load_catalogue())
    return car, price_book(car)


def _priced(book, needs, n: int = 1, seed: int = 7) -> Pricing:
    rng = np.random.default_rng(seed)
    return Pricing(book, price_sheets(book, rng), join_worn(book, needs, n), n, rng)


def test_the_owners_hours_are_those_of_the_whole_year(car):
    """By hand: so much to do that his hours do for a share of it; strip-down of later months is his work too."""
    car, book = _handy(hours=10.0)
    ids = [p.id for p in car.parts if p.skill <= 3 and p.need != "comfort"]
    needs = _round(car, ids[:20], [(c, 3, False) for c in ids[20:40]])
    pricing = _priced(book, needs)
    rich_car, rich_book = _handy(hours=700.0)
    rich = _priced(rich_book, _round(rich_car, ids[:20], [(c, 3, False) for c in ids[20:40]]))
    assert rich.later.hours.sum() == pytest.approx(0.0, abs=1e-6)
    assert rich.hours.sum() == pytest.approx(0.0, abs=1e-6)
    paid = pricing.hours.sum() + pricing.first.hours.sum() + pricing.later.hours.sum()
    plain = dataclasses.replace(book, own_hours=0.0)
    trade = _priced(plain, needs)
    whole = trade.hours.sum() + trade.first.hours.sum() + trade.later.hours.sum()
    assert whole - paid == pytest.approx(book.own_hours / book.handy_factor, rel=1e-6)


def test_a_tool_is_bought_or_hired_once_for_the_car():
    """By hand: two parts that need the same tools, one now and one later, pay for them once."""
    car, book = _handy(hours=700.0)
    both_need = next(t for t in range(book.tools.size) if book.tool_needs[:, t].sum() >= 2)
    first, second = (car.parts[i].id for i in np.flatnonzero(book.tool_needs[:, both_need])[:2])
    pricing = _priced(book, _round(car, [first], [(second, 5, False)]))
    cost = pricing._tools()
    needed = book.tool_needs[[car.index[first], car.index[second]]].any(axis=0)
    assert cost.sum() == pytest.approx(book.tools[needed].sum())
    assert cost[0] == pytest.approx(book.tools[book.tool_needs[car.index[first]]].sum())


def test_all_that_is_priced_in_one_draw_meets_the_same_scarcity(car, book):
    """By the model (availability shares one factor a draw): the main work and comfort, priced one after the other."""
    rng = np.random.default_rng(21)
    sheets = price_sheets(book, rng)
    n = 4_000
    main, looks = (
        Pricing(book, sheets, join_worn(book, _needs([car.index[c]], [], n), n), n, rng)
        for c in ("water-pump", "paint")
    )
    for name in ("scarce", "market", "rate", "carriage"):
        np.testing.assert_array_equal(getattr(main, name), getattr(looks, name))
    share = np.bincount(main.scarce, minlength=book.scarcity_weights.size) / n
    np.testing.assert_allclose(share, book.scarcity_weights, atol=4 * np.sqrt(0.25 / n))


def test_who_strips_down_for_others_needs_the_tools_for_it():
    """By hand: steps within his skill before a part beyond it are his work, and so are their tools, not the part's."""
    car = resolve(saloon("own_hours_per_month = 60\nown_skill = 1\n"), load_catalogue())
    book, catalogue = price_book(car), load_catalogue()
    seen = 0
    for i, part in enumerate(car.parts):
        steps = [catalogue.steps[book.access.steps[s]] for s in book.access.of(i)]
        his = {t for step in steps if step.skill <= 1 for t in step.tools}
        if part.skill > 1 and his - set(part.tools):
            seen += 1
            assert book.tools[book.tool_needs[i]].sum() == pytest.approx(
                sum(
                    (catalogue.tools[t].hire or catalogue.tools[t].buy)[1]
                    for t in his
                    if t in catalogue.tools
                )
                * catalogue.settings.prices.currency["GBP"].parts
            )
    assert seen > 3
    idle = price_book(resolve(saloon("own_skill = 1\nown_hours_per_month = 0\n"), load_catalogue()))
    assert not idle.tool_needs.any()


def test_who_does_it_all_himself_pays_no_workshop_visit():
    car, book = _handy(hours=700.0)
    one = next(i for i, p in enumerate(car.parts) if book.ways[i][0].last_resort is False and p.skill <= 3)
    pricing = _priced(book, _round(car, [car.parts[one].id], []))
    assert pricing.hours.sum() + pricing.first.hours.sum() == pytest.approx(0.0, abs=1e-6)
    orders = np.bitwise_count(pricing.orders).sum()
    rest = pricing.everything.now[0] - pricing.bill.sum() - pricing.step_price(pricing.first).sum()
    assert rest == pytest.approx(orders * pricing.carriage[0])


QUOTE = """
[[quote]]
component = "{component}"
remedy = "{remedy}"
price = {price}
covers = "job"
"""


def test_a_quote_for_the_job_that_is_second_choice_still_pays_no_strip_down(car, book):
    """It used to pay for the strip-down, labour and carriage on top whenever a cheaper way could not be had."""
    at = next(
        i for i, ways in enumerate(book.ways)
        if len(ways) > 1 and 0 < ways[0].availability < 1 and book.access.of(i).size and ways[0].kind != ways[-1].kind
    )  # fmt: skip
    kind = book.ways[at][-1].kind
    price = 1.2 * (1 + book.tax) * (book.ways[at][0].expected + 100)
    quote = QUOTE.format(component=car.parts[at].id, remedy=kind, price=price)
    quoted = resolve(saloon(quote), load_catalogue())
    ours = price_book(quoted)
    assert [w.free_access for w in ours.ways[at]].index(True) > 0
    n = 2000
    pricing = _priced(ours, _needs([at], [], n), n)
    taken = ~pricing.pays
    assert 0.02 < taken.mean() < 0.98
    np.testing.assert_allclose(pricing.everything.now[taken], price, rtol=1e-5)
    assert pricing.step_price(pricing.first).sum() > 0
    assert not np.isin(np.flatnonzero(taken), pricing.first.of_step).any()
    np.testing.assert_allclose(pricing.by_part().sum(axis=1), pricing.everything.year, rtol=2e-5)


def test_a_quote_for_the_whole_job_is_all_that_is_paid():
    """No diagnosis, carriage or least bill besides: what was agreed is what will be paid."""
    quoted = resolve(saloon(QUOTE.format(component="water-pump", remedy="new", price=150)), load_catalogue())
    ours = price_book(quoted)
    pricing = _priced(ours, _needs([quoted.index["water-pump"]], [], 50), 50)
    np.testing.assert_allclose(pricing.everything.now, 150.0, rtol=1e-6)


@pytest.mark.parametrize(
    "offer",
    [QUOTE.format(component="water-pump", remedy="new", price=5), '[[spare]]\ncomponent = "water-pump"\n'],
)
def test_what_is_offered_to_the_buyer_does_not_change_why_the_seller_sells(book, offer):
    """The usual cost of a job, behind the for-sale effect, is the catalogue's: a quote must not move P(spent)."""
    offered = resolve(saloon(offer), load_catalogue())
    np.testing.assert_array_equal(price_book(offered).typical, book.typical)


def test_the_usual_cost_is_that_of_what_can_be_had(car, book):
    """By hand: the mean over the ways by the chance that each is the first to be had; never below the cheapest."""
    chance = np.tensordot(book.scarcity_weights, book.chance, axes=1)
    for c, ways in enumerate(book.ways):
        taken = np.diff(chance[c, : len(ways)], prepend=0.0)
        assert taken.sum() == pytest.approx(1.0)
        mean = sum(t * w.expected for t, w in zip(taken, ways, strict=True))
        assert book.typical[c] == pytest.approx(mean * (1 + book.tax))


def test_the_best_spare_counts_and_fits_as_a_part_does():
    more = "".join(f'[[spare]]\ncomponent = "clutch"\nstate = "{s}"\n' for s in ("used", "new"))
    spare = next(w for w in price_book(resolve(saloon(more), load_catalogue())).ways[
        resolve(saloon(more), load_catalogue()).index["clutch"]
    ] if w.kind == "spare")  # fmt: skip
    assert spare.life == 1.0


@pytest.mark.parametrize(
    ("spent", "due"),
    [
        ([], {"wiper-blades-arms": (4, True)}),  # less than a workshop's least bill
        (
            ["crankshaft-rear-oil-seal"],
            {
                "clutch": (5, True),  # reached now
                "gearbox-mounting": (5, False),
                "flexible-coupling-front": (7, True),
                "flexible-coupling-rear": (7, True),
                "centre-bearing": (7, False),
                "water-pump": (12, True),
            },
        ),
    ],
)
def test_later_months_agree_with_the_slow_bill(car, book, spent, due):
    """Second method: tests/reference/bill.py, loops and sets: what falls due in its month, month by month and over the
    year, within Monte Carlo error (4 standard errors) and what 1,024 scenarios a sheet can be off by.
    """
    n = 6_000
    many = _round(car, spent, [(c, m, seen) for c, (m, seen) in due.items()], n)
    pricing = _priced(book, many, n, seed=11)
    levels = car.catalogue.settings.prices.scarcity_spread.levels
    ranges = price_ranges(car)
    rng = np.random.default_rng(12)
    slow = np.array(
        [
            year(
                book,
                ranges,
                spent={car.index[c] for c in spent},
                due={car.index[c]: when for c, when in due.items()},
                levels=levels,
                rng=rng,
            )
            for _ in range(3_000)
        ]
    )
    by_month = pricing.by_month() / n
    error = slow.std(axis=0) * np.sqrt(1 / len(slow) + 1 / n)
    assert (np.abs(by_month - slow.mean(axis=0)) <= 4 * error + 0.004 * slow.mean(axis=0)).all()
    assert set(np.flatnonzero(by_month > 0)) == set(np.flatnonzero(slow.any(axis=0)))
    whole = slow.sum(axis=1)
    assert pricing.everything.year.mean() == pytest.approx(
        whole.mean(), abs=4 * whole.std() * np.sqrt(1 / len(slow) + 1 / n) + 0.004 * whole.mean()
    )
    assert pricing.everything.year.std() == pytest.approx(whole.std(), rel=0.1)


def test_a_workshops_visit_counts_towards_its_least_bill(car, book):
    """By hand: wiper blades now cost blades, carriage and the visit (more than the least bill) with their minutes."""
    pricing = _priced(book, _round(car, ["wiper-blades-arms"], []))
    hours = pricing.hours[0] + book.access.visit_hours
    assert pricing.hours[0] < book.minimum_labour_h < hours
    goods = pricing.bill[0] - pricing.hours[0] * pricing.rate[0]
    assert pricing.everything.now[0] == pytest.approx(
        goods + hours * pricing.rate[0] + pricing.carriage[0], rel=1e-5
    )


def test_an_open_ended_remedy_has_a_tail_and_the_same_expected_cost(book):
    """The catalogue may say that a price has no real upper end; the choice between remedies does not move."""
    catalogue = load_catalogue()
    pump = catalogue.components["water-pump"]
    remedies = tuple(r.model_copy(update={"open_ended": True}) for r in pump.remedy)
    other = dataclasses.replace(
        catalogue,
        components={**catalogue.components, pump.id: pump.model_copy(update={"remedy": remedies})},
    )
    car = resolve(saloon(), other)
    made = price_book(car)
    at = car.index["water-pump"]
    row = at * made.most_ways
    assert [w.expected for w in made.ways[at]] == [w.expected for w in book.ways[at]]
    assert made.parts[row, -1] > 1.2 * book.parts[row, -1]
    assert made.parts[row].mean() == pytest.approx(book.parts[row].mean(), rel=0.01)


def test_what_can_always_be_had_costs_the_same_on_a_rare_car():
    """Common practice: parts made for the car get dear with it, tyres and what is made singly do not."""
    plain = saloon()
    cases = [
        dataclasses.replace(plain, car=dataclasses.replace(plain.car, parts=p)) for p in ("common", "rare")
    ]
    common, rare = (resolve(case, load_catalogue()) for case in cases)
    books = [price_book(car) for car in (common, rare)]
    tyres, pump = common.index["tyres-set"], common.index["water-pump"]
    for at, moved in ((tyres, False), (pump, True)):
        ways = [{(w.kind, w.name): w for w in book.ways[at]} for book in books]
        for key in ways[0].keys() & ways[1].keys():
            dearer = ways[1][key].parts[1] > ways[0][key].parts[1]
            assert dearer == (moved and not ways[0][key].last_resort)
