"""The plan of the first year, in frames and sentences."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import pandas as pd

from estimator.case import Case
from estimator.catalogue.records import Component
from estimator.decide.order_lines import WAYS
from estimator.decide.plan_records import OrderLine, Plan, PlannedJob
from estimator.views import words

LIKELY = 0.8  # from this chance on the car counts as being on the road
PLANNED, TURNS_UP = "planned jobs", "turns up besides"


def headline(plan: Plan) -> str:
    """What the year comes to."""
    likely, bad = (words.about(x, plan.currency) for x in (plan.total.p50, plan.total.p80))
    return f"The first year comes to about {likely}; in one case of five to more than {bad}."


def status(plan: Plan) -> str:
    """Whether everything fits, and when the car is on the road."""
    text = words.PLAN_STATUS[plan.status].format(gap=words.percent(plan.gap))
    month = next((m for m in plan.months if m.on_the_road >= LIKELY), None)
    if not plan.jobs:
        return text
    if any(j.urgent for j in plan.left_out):
        return f"{text} It stays off the road: what has to come first does not fit."
    if month is None:
        return f"{text} It is not likely to be on the road within these {len(plan.months)} months."
    return f"{text} On the road by the end of month {month.number}, with four chances in five or more."


def money(plan: Plan) -> str:
    """The reserve, and the chance of running out."""
    text = (
        f"Keep {words.about(plan.reserve, plan.currency)} in reserve from the start, besides the money of each month: "
        f"with both the bills are covered in {words.percent(plan.level)} of such years."
        if plan.reserve >= 5
        else f"The money lasts without a reserve in {words.percent(plan.level)} of such years."
    )
    if plan.overrun is not None:
        text += f" The chance that it runs out without one: {words.chance(plan.overrun)}."
    return text


def against_estimate(plan: Plan, say: Callable[[float], str]) -> str:
    """Why the plan's first year is not the estimate's, nor how likely the budget holds; "" where the plan has fewer
    than twelve months. say : a sum in words.
    """
    return " ".join(filter(None, (_means(plan, say), budget(plan))))


def budget(plan: Plan) -> str:
    """How likely the budget holds by the plan and by the estimate, and why these chances differ from each other and
    from the chance of running out; "" without a budget.
    """
    if plan.budget is None:
        return ""
    here, there = (f"{100 * chance:.0f}" for chance in (plan.budget.plan, plan.budget.estimate))
    promise = "" if plan.prepared.car.case.warranty is None else " and the trader's promise"
    text = (
        f"The budget holds through these twelve months in {here} of 100 cases by this plan, in {there} by the estimate "
        f"and the offer: they count one round of work at purchase with unlisted work{promise}, the plan job by job "
        "without."
    )
    if plan.months[0].money == plan.months[-1].money:
        return text
    return f"{text} The chance of running out counts every month and the money that each brings."


def _means(plan: Plan, say: Callable[[float], str]) -> str:
    """Both means, the difference, and what makes it."""
    if plan.year is None:
        return ""
    step = 10.0 ** max(math.floor(math.log10(max(plan.year.mean, plan.estimate.mean, 1.0))) - 2, 0)
    here, there = (round(d.mean / step) * step for d in (plan.year, plan.estimate))
    text = f"On average the first twelve months of this plan come to {say(here)}, those of the estimate to {say(there)}"
    policy = (
        "The estimate does everything that is spent in one round at purchase: strip-down, carriage and visits are "
        "paid once, and your hours go as far as they reach."
    )
    if here > there:
        sure = ", and renews planned parts whatever they turn out to be like" if plan.jobs else ""
        return (
            f"{text}: {say(here - there)} more. {policy} The plan takes things as they show, month by month and by a "
            f"workshop{sure}."
        )
    if here < there:
        left = " and leaves out what does not fit" if plan.left_out else ""
        return (
            f"{text}: {say(there - here)} less. {policy} The plan spreads the work, with your hours, over the "
            f"months{left}."
        )
    return f"{text}. {policy} The plan takes things as they show, month by month."


def limits(case: Case) -> str:
    """The limits the plan keeps to, as the case states them."""
    m = case.money
    some = []
    if m.budget is not None:
        some.append(f"budget {words.money(m.budget, m.currency)} with the price")
    if m.monthly is not None:
        some.append(f"{words.money(m.monthly, m.currency)} a month")
    some.append(f"{m.own_hours_per_month:g} of your own hours a month")
    if m.season is not None:
        some.append(f"driving season from month {m.season[0]} to {m.season[1]}")
    return f"Planned under: {', '.join(some)}."


def band(plan: Plan) -> pd.DataFrame:
    """Spent by the end of each month: month (first day), low, middle, high, money (there by then, or none)."""
    rows = [
        {
            "month": pd.Timestamp(m.start),
            "low": m.so_far.p10,
            "middle": m.so_far.p50,
            "high": m.so_far.p90,
            "money": m.money,
        }
        for m in plan.months
    ]
    return pd.DataFrame(rows, columns=["month", "low", "middle", "high", "money"])


def band_alt(plan: Plan) -> str:
    """The band in words."""
    last = plan.months[-1]
    text = (
        f"Spent by {last.start:%B %Y}, four cases of five: "
        f"{words.span(last.so_far.p10, last.so_far.p90, plan.currency)}."
    )
    if last.money is None:
        return text
    return f"{text} Money there by then: {words.about(last.money, plan.currency)}."


def spent(case: Case, plan: Plan) -> pd.DataFrame:
    """What was really paid since the purchase, added up: month (day), amount."""
    start = plan.months[0].start
    if case.bought is not None:
        start = min(start, case.bought.date)
    paid = sorted(
        (w.date, w.price) for w in case.work if w.price is not None and case.bought and w.date >= start
    )
    rows, total = [], 0.0
    for day, price in paid:
        total += price
        rows.append({"month": pd.Timestamp(day), "amount": total})
    return pd.DataFrame(rows, columns=["month", "amount"])


def months(plan: Plan) -> pd.DataFrame:
    """Expected cost by month and kind: month, kind, mean."""
    rows = []
    for m in plan.months:
        for kind, d in ((PLANNED, m.cost), (TURNS_UP, m.turns_up)):
            rows.append({"month": pd.Timestamp(m.start), "kind": kind, "mean": d.mean})
    return pd.DataFrame(rows, columns=["month", "kind", "mean"])


def months_alt(plan: Plan) -> str:
    """The bars in words."""
    return (
        f"Expected by month: planned jobs {words.about(plan.planned.mean, plan.currency)} over the year, what turns up "
        f"besides {words.about(plan.turns_up.mean, plan.currency)}."
    )


def job_line(job: PlannedJob, currency: str) -> str:
    """One job in the calendar."""
    cost = (
        "" if job.cost is None else f", {words.span(job.cost.p10, job.cost.p90, currency)} four times in five"
    )
    first = " Off the road until it is done." if job.urgent else ""
    return f"{words.sentence(job.name)}: {words.job_hours(job.hours, job.own_hours)}{cost}.{first}"


def calendar(plan: Plan) -> list[tuple[str, list[str]]]:
    """(month, its jobs) of every month with work, in order; quiet months are left out."""
    made = []
    for m in plan.months:
        if m.jobs:
            season = "" if m.driving else " · outside the driving season"
            lines = [job_line(plan.job(j), plan.currency) for j in m.jobs]
            made.append((f"{m.start:%B %Y}{season}", lines))
    return made


def why_left(job: PlannedJob) -> str:
    """A job that does not fit."""
    why = "keeps the car off the road" if job.urgent else words.NEEDS.get(job.need, job.need)
    return f"{words.sentence(job.name)} ({why})"


def apart(plan: Plan, parts: Mapping[str, Component], *, job: str | None = None) -> list[str]:
    """Neighbours to renew now or put back, with their break-even; those to renew first."""
    some = [a for a in plan.while_apart if job is None or a.job == job]
    lines = []
    for a in sorted(some, key=lambda a: (not plan.is_planned(a.job), not a.renew_now, -a.chance)):
        verdict = "renew it now" if a.renew_now else "put it back"
        verdict += "" if plan.is_planned(a.job) else " should its job be done, which does not fit"
        edge = (
            "it never pays"
            if a.break_even >= 1
            else f"it pays from a chance of {words.percent(a.break_even)}"
        )
        twice = job is None and sum(b.component == a.component for b in some) > 1
        behind = f", behind {plan.job(a.job).name}" if twice else ""
        lines.append(
            f"{words.sentence(parts[a.component].name)}{behind}: {verdict}. Needed within "
            f"{plan.horizon_years:g} years with a chance of {words.percent(a.chance)}; {edge}"
        )
    return lines


def options(plan: Plan, parts: Mapping[str, Component], job: str) -> list[str]:
    """For each part of a job, the ways to go on from there, the cheapest first."""
    lines = []
    by_part: dict[str, list[str]] = {}
    for o in sorted((o for o in plan.options if o.job == job), key=lambda o: o.total):
        mark = "**" if o.best else ""
        text = f"{mark}{words.plain(WAYS.get(o.name, o.name))}{mark} {words.plain(words.about(o.total, plan.currency))}"
        by_part.setdefault(o.component, []).append(text)
    for part, ways in by_part.items():
        lines.append(f"{words.plain(words.sentence(parts[part].name))}: {'; '.join(ways)}")
    return lines


def order_label(line: OrderLine, currency: str) -> str:
    """One line of the order list beside its box."""
    count = f"{line.quantity} × " if line.quantity > 1 else ""
    cost = f", about {words.about(line.amount, currency)}" if line.amount >= 5 else ""
    return f"{count}{words.sentence(line.item)}{cost}"


def order_more(line: OrderLine, months: Mapping[int, str]) -> str:
    """What belongs to a line: when, wait, what to quote, what else would do."""
    told = [f"for {months.get(line.month, 'later')}"]
    if line.wait_weeks is not None and line.wait_weeks[2] > 0:
        low, _, high = line.wait_weeks
        span = f"{low:g} to {high:g}" if low > 0 else f"up to {high:g}"
        told.append(f"wait {span} {'week' if high == 1 else 'weeks'}")
    if line.quote:
        told.append(f"quote: {'; '.join(line.quote)}")
    if line.substitutes:
        told.append(f"if it cannot be had: {'; '.join(line.substitutes)}")
    if line.note:
        told += line.note.split("; ")
    return ". ".join(words.sentence(one) for one in told) + "."
