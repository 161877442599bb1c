"""A plan of the first year as text for a terminal: 80 columns, plain characters, no colour."""

from __future__ import annotations

import textwrap

from estimator.catalogue.load import Catalogue
from estimator.decide.plan_records import OrderLine, Plan, PlannedJob
from estimator.report.blocks import bullets, joined, stop_rows, wrapped
from estimator.report.orders import by_supplier
from estimator.report.plain_words import amount, chance, clean, money, table_step
from estimator.views import first_year
from estimator.views.words import NEEDS, PLAN_STATUS, job_hours, percent

MOST_APART = 8
ONCE = (
    "An estimate, not an inspection or a certificate of roadworthiness. Local rules, the maker's manual and competent "
    "or licensed people come first."
)
AT_A_WORKSHOP = " Labour in 'while it is apart' is counted at a workshop's rate."


def plan_text(plan: Plan, catalogue: Catalogue, *, everything: bool = False) -> str:
    """What `estimator plan` prints: stops, verdict, months, money, jobs, while apart, orders, doubts."""
    sections = (
        stop_rows(plan.stops, plan.open_stops, catalogue, sums="the plan says"),
        [clean(plan.case), *wrapped(PLAN_STATUS[plan.status].format(gap=percent(plan.gap)))],
        bullets(plan.notes),
        _binds(plan),
        _calendar(plan),
        _money(plan),
        _jobs(plan, catalogue),
        _apart(plan, catalogue, everything=everything),
        _orders(plan, everything=everything),
        bullets(plan.warnings if everything else ()),
        wrapped(ONCE + AT_A_WORKSHOP * bool(plan.while_apart)),
    )
    return joined(sections)


def _binds(plan: Plan) -> list[str]:
    if not plan.left_out:
        return []
    rows = ["What keeps the rest out, and what would free it"]
    rows += bullets(f"{b.limit}: {b.text}" for b in plan.binds)
    rows += ["Left out"]
    return rows + bullets(f"{j.name} ({_why(j)})" for j in plan.left_out)


def _why(job: PlannedJob) -> str:
    return "keeps the car off the road" if job.urgent else NEEDS.get(job.need, job.need)


def _calendar(plan: Plan) -> list[str]:
    step = table_step(plan.total.p95)
    rows = [
        f"{'Month':<16}{'jobs':>10}{'turns up':>10}{'so far, likely':>16}{'1 in 5 more':>13}{'money there':>13}",
    ]
    for m in plan.months:
        there = "-" if m.money is None else amount(m.money, step=step)
        rows.append(
            f"{m.number:>2} {m.start:%b %Y}{'' if m.driving else ' *':<5}{amount(m.cost.mean, step=step):>10}"
            f"{amount(m.turns_up.mean, step=step):>10}{amount(m.so_far.p50, step=step):>16}"
            f"{amount(m.so_far.p80, step=step):>13}{there:>13}"
        )
        rows += [
            row for j in m.jobs for row in wrapped(_job_line(plan.job(j)), first="     ", rest="       ")
        ]
    if not all(m.driving for m in plan.months):
        rows.append("  * outside the driving season")
    return [*rows, *_road(plan)]


def _job_line(job: PlannedJob) -> str:
    return f"{job.name}: {job_hours(job.hours, job.own_hours)}"


def _road(plan: Plan) -> list[str]:
    rows = []
    if plan.on_road_by is not None:
        day, odds = plan.on_road_by
        rows += wrapped(
            f"Chance that the car is on the road by {day}: {chance(odds)} (work of a month counts as done at its end)."
        )
    if any(j.urgent for j in plan.left_out):
        return rows + wrapped("Not on the road within these months: what has to come first does not fit.")
    likely = next((m for m in plan.months if m.on_the_road >= 0.8), None)
    if likely is not None and plan.jobs:
        rows += wrapped(
            f"On the road by the end of month {likely.number}, with four chances in five or more."
        )
    return rows


def _money(plan: Plan) -> list[str]:
    rows = [f"Money, {plan.currency} with tax, over {len(plan.months)} months"]
    step = table_step(plan.total.p95)
    rows.append(f"  {'':<24}{'mean':>12}{'likely':>12}{'1 in 5 more':>14}")
    for label, d in (
        ("planned jobs", plan.planned),
        ("what turns up besides", plan.turns_up),
        ("together", plan.total),
    ):
        mean, likely, more = (amount(x, step=step) for x in (d.mean, d.p50, d.p80))
        rows.append(f"  {label:<24}{mean:>12}{likely:>12}{more:>14}")
    rows += wrapped(
        f"Keep {money(plan.reserve, plan.currency)} in reserve from the start, besides the money of each month: with "
        f"both the bills are covered in {100 * plan.level:.0f} of 100 such years.",
        first="  ", rest="  ",
    )  # fmt: skip
    if plan.overrun is not None:
        rows += wrapped(
            f"Chance that the money runs out without one: {chance(plan.overrun)}.", first="  ", rest="  "
        )
    told = first_year.against_estimate(plan, lambda x: f"{plan.currency} {x:,.0f}")
    return rows + (wrapped(told, first="  ", rest="  ") if told else [])


def _jobs(plan: Plan, catalogue: Catalogue) -> list[str]:
    if not plan.jobs:
        return []
    rows = [f"Jobs{'':<42}{'month':>6}{'mean':>9}{'from - to':>16}"]
    for job in plan.jobs:
        assert job.cost is not None
        name = textwrap.wrap(clean(job.name), 44) or [job.id]
        span = f"{amount(job.cost.p10)}-{amount(job.cost.p90)}"
        rows.append(f"{name[0]:<46}{job.month:>6}{amount(job.cost.mean):>9}{span:>16}")
        rows += [f"  {more}" for more in name[1:]]
        if job.neighbours:
            names = "; ".join(catalogue.components[c].name for c in job.neighbours)
            rows += wrapped(f"while it is apart: {names}", first="    ", rest="    ")
    return rows


def _apart(plan: Plan, catalogue: Catalogue, *, everything: bool) -> list[str]:
    if not plan.while_apart:
        return []
    ranked = sorted(plan.while_apart, key=lambda a: (not plan.is_planned(a.job), not a.renew_now, -a.chance))
    shown = ranked if everything else ranked[:MOST_APART]
    rows = wrapped(
        f"While it is apart: of 100 such parts so many need it within {plan.horizon_years:g} years; from so many on "
        "renewing it now pays"
    )
    for a in shown:
        edge = "it never pays" if a.break_even >= 1 else f"pays from {100 * a.break_even:.0f}"
        verdict = "renew now" if a.renew_now else "put back"
        verdict += "" if plan.is_planned(a.job) else " should its job be done, which does not fit"
        twice = sum(other.component == a.component for other in plan.while_apart) > 1
        behind = f", behind {catalogue.components[a.job].name}" if twice else ""
        rows += wrapped(
            f"{catalogue.components[a.component].name}{behind}: {verdict} ({100 * a.chance:.0f}; {edge})",
            first="  ", rest="    ",
        )  # fmt: skip
    return rows + _more(len(ranked) - len(shown))


def _orders(plan: Plan, *, everything: bool) -> list[str]:
    if not plan.orders:
        return []
    rows = ["To order, by kind of supplier (--orders FILE writes the whole list)"]
    for supplier, lines in by_supplier(plan.orders).items():
        total = sum(line.amount for line in lines)
        count = "1 line" if len(lines) == 1 else f"{len(lines)} lines"
        rows.append(f"  {supplier}: {count}, about {money(total, plan.currency)}")
        if everything:
            rows += bullets(dict.fromkeys(_order_line(x) for x in lines))
    return rows


def _order_line(line: OrderLine) -> str:
    """One line of the list: when, what, and what it belongs to."""
    if line.kind == "carriage":
        return f"month {line.month}: carriage"
    whose = line.note.split("; ")[0] if line.note.startswith("for: ") else line.kind
    return f"month {line.month}: {line.item} ({whose})"


def _more(count: int) -> list[str]:
    return [f"  ... and {count} more: --all shows every one"] if count > 0 else []
