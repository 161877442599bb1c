"""Every example car planned under several limits, each limit checked on its own from the plan, the price book and the
catalogue. Second method: nothing here calls the scheduler or the numbers it was given."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from estimator.assess import assess_fully
from estimator.case import load_case
from estimator.catalogue.load import data_folder, load_catalogue
from estimator.catalogue.running import running_settings
from estimator.decide.costing import costing
from estimator.decide.plan import plan_year
from estimator.report.orders import by_job, job_sums

EXAMPLES = tuple(sorted(p.stem for p in (data_folder() / "examples").glob("*.toml")))
WEEKS = 52.18 / 12
HANDS = ("owner", "workshop")
SETTINGS = {
    "as it is": {},
    "tight money": {"monthly": 260.0, "in_hand": 300.0},
    "tight hours": {"own_hours": 6.0, "own_skill": 3, "in_hand": 50_000.0, "bookings": 1},
    "workshop only": {"own_hours": 0.0, "in_hand": 50_000.0, "bookings": 1},
    "season and a skilled hand": {"own_hours": 30.0, "own_skill": 3, "monthly": 900.0, "in_hand": 1_500.0},
    "plenty": {"in_hand": 1e6, "own_hours": 400.0, "own_skill": 3, "bookings": 99},
}
THRESHOLD = {"coupe": 0.3, "estate": 0.3, "small-saloon": 0.08}  # low enough for every example to have work
SEASON = {"season and a skilled hand": (4, 9)}


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


@pytest.fixture(scope="module")
def assessed(catalogue):
    """Each example assessed once, with few draws."""
    held = {}

    def of(name):
        if name not in held:
            case = load_case(data_folder() / "examples" / f"{name}.toml", catalogue)
            held[name] = case, assess_fully(case, catalogue, draws=600)
        return held[name]

    return of


@pytest.fixture(scope="module")
def plans(assessed, catalogue):
    """A plan by example and setting, made once; the season is put into the case, where it is read from."""
    held = {}

    def of(name, setting):
        if (name, setting) not in held:
            case, result = assessed(name)
            money = dataclasses.replace(case.money, season=SEASON.get(setting, case.money.season))
            case = dataclasses.replace(case, money=money)
            options = SETTINGS[setting]
            held[name, setting] = (
                case,
                options,
                plan_year(
                    case, catalogue, result=result, threshold=THRESHOLD[name], time_limit_s=1.0, **options
                ),
            )
        return held[name, setting]

    return of


class Checked:
    """A plan taken apart: jobs as positions of parts and steps, by month (0-based) and hand."""

    def __init__(self, case, options, plan, catalogue):
        self.case, self.options, self.plan, self.catalogue = case, options, plan, catalogue
        self.car, self.book = plan.prepared.car, plan.prepared.book
        self.cost = costing(self.book, self.car)
        self.running = running_settings(catalogue)
        self.steps = {name: s for s, name in enumerate(self.book.access.steps)}
        self.owner_hours = options.get("own_hours", case.money.own_hours_per_month)

    def parts(self, job):
        return [self.car.index[c] for c in (*job.components, *job.neighbours)]

    def month_cost(self, month):
        """Expected outlay of one month's jobs, added up from the price book; tools bought apart."""
        total = 0.0
        here = [j for j in self.plan.jobs if j.month == month]
        for hand in HANDS:
            mine = [j for j in here if j.by == hand]
            parts = [c for j in mine for c in self.parts(j)]
            steps = sorted({self.steps[s] for j in mine for s in j.steps})
            total += self.cost.goods[parts].sum() + self.cost.step_goods[steps].sum()
            if hand == "workshop" and mine:
                hours = self.cost.hours[parts].sum() + self.cost.step_hours[steps].sum()
                total += hours * self.cost.rate + self.cost.visit
        kinds = {k for j in here for c in self.parts(j) for k in np.flatnonzero(self.cost.supplier[c] >= 0.5)}
        total += self.cost.carriage * len(kinds)
        return total + sum(
            x.amount for x in self.plan.orders if x.month == month and x.kind == "tool to hire"
        )

    def tools_bought(self):
        return sum(x.amount for x in self.plan.orders if x.kind == "tool to buy")

    def owner_month(self, month, least_wait=0):
        """The owner's hours of one month's jobs, shared strip-down once; jobs whose parts wait this long only."""
        mine = [j for j in self.plan.jobs if j.month == month and j.by == "owner"]
        mine = [j for j in mine if self.wait(j) >= least_wait]
        parts = [c for j in mine for c in self.parts(j)]
        steps = sorted({self.steps[s] for j in mine for s in j.steps})
        if least_wait:  # shared strip-down may have begun for another job
            steps = [s for s in steps if sum(self.steps_of(j).count(s) for j in self.plan.jobs) == 1]
        return (self.cost.hours[parts].sum() + self.cost.step_hours[steps].sum()) * self.cost.handy

    def steps_of(self, job):
        return [self.steps[s] for s in job.steps]

    def wait(self, job):
        """Whole months until its parts are there."""
        return int(max(self.cost.wait_weeks[c, 1] for c in self.parts(job)) // WEEKS)

    def soonest(self, job):
        """First month (0-based) in which somebody could do a job."""
        skill = max(
            [self.car.parts[c].skill for c in self.parts(job)]
            + [self.catalogue.steps[s].skill for s in job.steps]
        )
        able = skill <= self.options.get("own_skill", self.case.money.own_skill) and self.owner_hours > 0
        booked = int(self.running.waiting.booking_weeks[1] // WEEKS)
        return self.wait(job) if able else max(self.wait(job), booked)


# The laid-up coupe has forty jobs: seconds a plan. All settings of it are for CI.
QUICK = ("as it is", "plenty")
CASES = [
    pytest.param((n, s), id=f"{n}-{s}", marks=[pytest.mark.slow] if n == "coupe" and s not in QUICK else [])
    for n in EXAMPLES
    for s in SETTINGS
]


@pytest.fixture(params=CASES)
def checked(request, plans, catalogue):
    return Checked(*plans(*request.param), catalogue)


def test_every_limit_is_kept_and_every_job_stands_once(checked):
    """Monthly money, hours, skill, bookings, waits, season, order: one after another."""
    plan, case, options = checked.plan, checked.case, checked.options
    ids = [j.id for j in (*plan.jobs, *plan.left_out)]
    assert len(set(ids)) == len(ids)
    parts = [c for j in (*plan.jobs, *plan.left_out) for c in (*j.components, *j.neighbours)]
    assert len(set(parts)) == len(parts)
    assert [j for m in plan.months for j in m.jobs] == [j.id for j in plan.jobs]
    assert bool(plan.left_out) == bool(plan.binds)

    paid = checked.tools_bought()
    for month in plan.months:  # money
        paid += checked.month_cost(month.number)
        if month.money is not None:
            assert paid <= month.money * (1 + 1e-6) + 1e-6
    assert paid == pytest.approx(plan.expected, rel=1e-6, abs=1e-6)

    for month in range(1, len(plan.months) + 1):  # hours, whole and by when parts are there
        assert sum(checked.owner_month(m) for m in range(1, month + 1)) <= checked.owner_hours * month + 1e-6
    for wait in {checked.wait(j) for j in plan.jobs if j.by == "owner"}:
        for end in range(wait + 1, len(plan.months) + 1):
            worked = sum(checked.owner_month(m, wait) for m in range(1, end + 1))
            assert worked <= checked.owner_hours * (end - wait) + 1e-6

    allowed = options.get("bookings", checked.running.waiting.bookings_per_month)
    booked = int(checked.running.waiting.booking_weeks[1] // WEEKS)
    for month in plan.months:
        assert sum(j.by == "workshop" and j.month == month.number for j in plan.jobs) <= allowed
    for job in plan.jobs:
        skills = [checked.car.parts[c].skill for c in checked.parts(job)]
        skills += [checked.catalogue.steps[s].skill for s in job.steps]
        if job.by == "owner":
            assert max(skills) <= options.get("own_skill", case.money.own_skill)
            assert job.month - 1 >= checked.wait(job)
        else:
            assert job.month - 1 >= max(checked.wait(job), booked)
        start = plan.months[job.month - 1]
        if case.money.season is not None and not job.urgent and job.hours > 8.0:
            assert not start.driving
    if case.money.season is not None:
        first, last = case.money.season
        assert any(m.driving for m in plan.months)
        for m in plan.months:  # the middle of the month says which side it is on
            middle = m.start.month if m.start.day <= 15 else m.start.month % 12 + 1
            if m.start.day not in (14, 15, 16, 17):
                assert m.driving == (first <= middle <= last)


def test_order_safety_first_damaging_parts_next_shared_access_together(checked):
    plan, car = checked.plan, checked.car
    months = len(plan.months)
    everything = (*plan.jobs, *plan.left_out)
    done = {j.id: j.month - 1 if j.month else months for j in everything}
    for urgent in (j for j in everything if j.urgent):
        assert any(car.parts[c].need in ("safety", "to-drive") for c in checked.parts(urgent))
        for other in (j for j in plan.jobs if not j.urgent and done[j.id] >= checked.soonest(urgent)):
            assert done[urgent.id] <= done[other.id]
    home = {c: j for j in everything for c in checked.parts(j)}
    pairs = set()
    for c, job in home.items():
        for damage in car.parts[c].damages:
            other = home.get(car.index.get(damage.component, -1))
            if other is not None and other.id != job.id:
                pairs.add((job.id, other.id))
    urgent_ids = {j.id for j in everything if j.urgent}
    for a, b in pairs:
        if (b, a) in pairs or (b in urgent_ids and a not in urgent_ids) or done[b] == months:
            continue
        assert done[a] <= done[b]
    opens = checked.book.access.opens
    hours = checked.cost.step_hours
    for i, a in enumerate(everything):
        for b in everything[i + 1 :]:
            one, two = (
                {int(s) for c in j.components for s in checked.book.access.of(car.index[c]) if opens[s]}
                for j in (a, b)
            )
            both, longest = hours[sorted(one & two)].sum(), max(hours[sorted(x)].sum() for x in (one, two))
            assert both < 0.2 or both < 0.5 * longest  # else they would be one job
    for job in everything:  # a step after what must be off before it
        place = {s: n for n, s in enumerate(job.steps)}
        for step in job.steps:
            for use in checked.catalogue.steps[step].after:
                if use.step in place and car.chance(use.when) >= 0.5:
                    assert place[use.step] < place[step]


def test_off_the_road_until_it_is_done_and_said_plainly(checked):
    plan = checked.plan
    last = max((j.month for j in plan.jobs if j.urgent), default=0)
    for month in plan.months:
        if month.number < last:
            assert month.on_the_road == 0
    if any(j.urgent for j in plan.left_out):
        assert all(m.on_the_road == 0 for m in plan.months)
    names = [j.name for j in (*plan.jobs, *plan.left_out) if j.urgent]
    said = [n for n in plan.notes if "off the road" in n]
    assert bool(said) == bool(names)
    stuck = [j.name for j in plan.left_out if j.urgent] or names
    assert all(name in said[0] for name in stuck)


def test_orders_jobs_and_plan_equal_the_simulated_mean(checked):
    plan = checked.plan
    for job, ordered, labour, both in job_sums(plan):
        assert ordered + labour == pytest.approx(both)
        assert both == pytest.approx(plan.job(job).cost.mean, rel=1e-6)
    assert sum(j.cost.mean for j in plan.jobs) == pytest.approx(plan.planned.mean, rel=1e-9)
    assert sum(m.cost.mean for m in plan.months) == pytest.approx(plan.planned.mean, rel=1e-9)
    assert plan.planned.mean + plan.turns_up.mean == pytest.approx(plan.total.mean, rel=1e-9)
    assert set(by_job(plan.orders)) <= {j.id for j in plan.jobs}
    if plan.jobs:  # what the limits were kept with is what is then drawn
        assert plan.planned.mean == pytest.approx(plan.expected, rel=0.06)


@pytest.mark.parametrize("name", EXAMPLES)
def test_with_money_and_hours_never_dearer_than_all_of_it_in_month_one(name, assessed, catalogue):
    """Parts that take a month to come cannot be done in month one, so they are left; no season bars anything."""
    case, result = assessed(name)
    case = dataclasses.replace(case, money=dataclasses.replace(case.money, season=None))
    cost = costing(result.prepared.book, result.prepared.car)
    slow = [p.id for p, w in zip(result.prepared.car.parts, cost.wait_weeks[:, 1], strict=True) if w >= WEEKS]
    options = SETTINGS["plenty"]
    plan = plan_year(
        case, catalogue, result=result, threshold=THRESHOLD[name], leave=slow, time_limit_s=1.0, **options
    )
    checked = Checked(case, options, plan, catalogue)
    assert plan.jobs
    assert not plan.left_out
    assert all(checked.soonest(j) == 0 for j in plan.jobs)
    at_once = Checked(case, options, _in_month_one(plan), catalogue).month_cost(1)
    tools = sum(x.amount for x in plan.orders if x.kind.startswith("tool"))
    assert plan.expected <= at_once + tools + 1e-6
    assert plan.expected <= plan.at_once + 1e-6
    assert plan.overrun == 0


def _in_month_one(plan):
    jobs = tuple(dataclasses.replace(j, month=1) for j in plan.jobs)
    lines = tuple(x for x in plan.orders if not x.kind.startswith("tool"))
    return dataclasses.replace(plan, jobs=jobs, orders=lines)


@pytest.mark.parametrize("name", ["estate", pytest.param("coupe", marks=pytest.mark.slow)])
def test_what_is_said_to_free_a_limit_does(name, plans, assessed, catalogue):
    """Too little money: the limit is named, and planned again with what is said to free it everything fits."""
    case, options, plan = plans(name, "tight money")
    assert plan.left_out
    money = next(b for b in plan.binds if b.limit == "money")
    assert "would let everything fit" in money.text
    assert math.isfinite(money.amount)
    more = {**options, "monthly": options["monthly"] + money.amount}
    again = plan_year(
        case, catalogue, result=assessed(name)[1], threshold=THRESHOLD[name], time_limit_s=8.0, **more
    )
    assert not again.left_out
    assert again.status in ("optimal", "within-gap")
