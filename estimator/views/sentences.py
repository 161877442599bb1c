"""What an assessment says, in sentences. Every figure comes from the assessment as it stands."""

from __future__ import annotations

import math
from collections.abc import Mapping

from estimator.assess import Assessment, ComponentResult
from estimator.case import Case
from estimator.decide.budget import BudgetRoom
from estimator.decide.plan_settings import MONTHS, month_starts
from estimator.views import frames, words


def as_of(case: Case) -> str:
    """The car, and the day what follows is worked out as of: the viewing; once bought the last that is known of it,
    and how long the year lasts that starts then.
    """
    today = words.day(case.today)
    if case.bought is None:
        return f"{case.name}, as seen on {today}."
    *_, end = month_starts(case.today, MONTHS + 1)
    day = words.day(case.bought.date)
    return f"{case.name}, bought on {day}. The first year here runs from {today} to {words.day(end)}."


def headline(a: Assessment) -> str:
    """The one sentence: the likely sum and the bad one in five."""
    d = a.total.plan_year
    if d.p80 < 5:
        return "Expect next to nothing to spend in the first year, in four cases of five."
    return (
        f"Expect about {words.about(d.p50, a.currency)} to spend in the first year; in one case of five more than "
        f"{words.about(d.p80, a.currency)}."
    )


def worst(a: Assessment) -> str:
    """The sum to plan for by the careful."""
    d = a.total.plan_year
    return (
        f"One case in twenty costs more than {words.about(d.p95, a.currency)}; the worst fifth comes to "
        f"{words.about(d.worst_fifth, a.currency)} on average."
    )


def at_once(a: Assessment) -> str:
    """How much of it falls due on the day of purchase."""
    now, year = a.total.now.mean, a.total.plan_year.mean
    if year <= 0:
        return ""
    return (
        f"On average {words.about(now, a.currency)} of {words.about(year, a.currency)} needs doing right away, "
        f"the rest falls due over the twelve months."
    )


def budget(room: BudgetRoom | None) -> str:
    """How far what is left of the budget reaches; empty without one."""
    if room is None:
        return ""
    paid = "was paid" if room.owned else "changes hands at the asking price"
    if room.left <= 0:
        return f"Of the budget nothing is left for work: {words.money(room.in_all, room.currency)} {paid}."
    holds = in_money(room.sentence, room.currency)
    return (
        f"{holds} Of it {words.money(room.left, room.currency)} is left for work, once the car is paid for."
    )


def in_money(text: str, currency: str) -> str:
    """A sentence of the engine with its sums written as on the screen."""
    return text.replace(f"{currency} ", words.money(0, currency).removesuffix("0"))


def found(a: Assessment) -> str:
    """What was found against what has not been seen yet."""
    known, hidden = a.known.plan_year, a.hidden.plan_year
    named = [c for c in a.components if c.found]
    ranges = (
        f"Found: {words.span(known.p10, known.p90, a.currency)}. "
        f"Not seen yet: {words.span(hidden.p10, hidden.p90, a.currency)}. Each range holds in four cases of five."
    )
    if named:
        return f"{words.plural(len(named), 'part')} probably due by what was found. {ranges}"
    return (
        "Nothing looked at so far points clearly at one part that needs doing. The whole sum, "
        f"{words.span(hidden.p10, hidden.p90, a.currency)} in four cases of five, is what such a car usually turns "
        "out to need and nobody has seen yet."
    )


def apart(a: Assessment) -> str:
    """What is not in the total."""
    return (
        f"Not in these sums: comfort and looks, about {words.about(a.comfort.mean, a.currency)} on average; small "
        f"unlisted things, about {words.about(a.unlisted.mean, a.currency)}; fuel, insurance, tax and other "
        "running costs."
    )


def dots_alt(a: Assessment, room: float | None) -> str:
    """The dots in words, for those who do not see them. room : the sum up to which the budget holds."""
    low, high = words.about(a.dots[0], a.currency), words.about(a.dots[-1], a.currency)
    text = f"Twenty equally likely outcomes of the first year, from {low} to {high}."
    if room is None:
        return text
    within = sum(x <= room for x in a.dots)
    return f"{text} With {within} of the twenty the budget holds."


def beyond(a: Assessment, room: float) -> str:
    """How many of the twenty dots are hollow."""
    count = sum(x > room for x in a.dots)
    return f"Hollow: {count} of the twenty break the budget, unlisted work on top."


def exceedance_alt(a: Assessment, room: BudgetRoom | None) -> str:
    """The curve in words."""
    d = a.total.plan_year
    text = (
        f"Chance of a dearer first year: half of the outcomes pass {words.about(d.p50, a.currency)}, one in five "
        f"passes {words.about(d.p80, a.currency)}, one in twenty {words.about(d.p95, a.currency)}."
    )
    return text if room is None else f"{text} {budget(room)}"


def part_line(c: ComponentResult, currency: str) -> str:
    """One part in a line: its chance and what it costs if it needs doing."""
    due = words.chance(frames.year_chance(c))
    if c.cost is None:
        return f"{due} that it needs doing in the first year; too rare to put a range to the cost."
    return f"{due} that it needs doing in the first year; if so, {words.span(c.cost['p10'], c.cost['p90'], currency)}."


def condition_line(c: ComponentResult) -> str:
    """The three conditions of a part today."""
    sound = max(0.0, 1 - c.p_spent - c.p_worn)
    return (
        f"Today: {words.CONDITIONS['spent']} ({c.failure}) {words.percent(c.p_spent)}, "
        f"{words.CONDITIONS['worn']} {words.percent(c.p_worn)}, {words.CONDITIONS['sound']} {words.percent(sound)}."
    )


def suspects(a: Assessment, names: Mapping[str, str]) -> list[str]:
    """For every sign with several possible causes: "one of these", with their chances; the clearest first."""
    groups = sorted(a.suspects, key=lambda g: -g.parts[0][1])
    lines = []
    for group in groups:
        parts = [f"{names.get(i, i)} ({words.odds(p)})" for i, p in group.parts]
        lines.append(f"{group.name.rstrip('?.')}: {words.listed(parts)}.")
    return lines


_SHARED = {
    "care": "The care it has had",
    "odometer": "The odometer",
    "presentation": "How it is presented",
    "viewing": "How it was looked at",
}


FEW_BILLS = 0.5  # of what the papers claim: below it, say that bills not entered count as missing


def rests_on(a: Assessment, case: Case) -> list[str]:
    """What the estimate takes the car to be like as a whole, each with how sure that is; of papers where some are said
    to be complete.
    """
    grid = a.grid
    lines = [
        f"{title}: {_shares(grid[factor])}."
        for factor, title in _SHARED.items()
        if max(grid.get(factor, {"": 1.0}).values()) < 0.995
    ]
    if case.coverage:
        levels = (
            (f"{float(k) * 100:.0f}{words.NBSP}%", v) for k, v in grid["completeness"].items() if v >= 0.005
        )
        likely = [f"{k} (chance {words.percent(v)})" for k, v in sorted(levels, key=lambda kv: -kv[1])]
        lines.append(f"Of the bills that papers so complete would hold, entered are: {', '.join(likely)}.")
        if sum(float(k) * v for k, v in grid["completeness"].items()) < FEW_BILLS:
            lines.append(
                "Bills that lie in the folder but are not entered count as missing: enter the small ones too."
            )
    mean = math.expm1(grid["life"]["mean"])
    longer = "longer" if mean >= 0 else "shorter"
    lines.append(
        f"Its parts seem to last {abs(mean) * 100:.0f}{words.NBSP}% {longer} than is usual, give or take "
        f"{grid['life']['sd'] * 100:.0f}{words.NBSP}%."
    )
    return lines


def _shares(chances: Mapping[str, float]) -> str:
    ordered = sorted(((k, v) for k, v in chances.items() if v >= 0.005), key=lambda kv: -kv[1])
    return ", ".join(f"{k} {words.percent(v)}" for k, v in ordered)


def method(a: Assessment) -> str:
    """How the figures were drawn, and how exact they are."""
    error = max(a.total.plan_year.se["p50"], a.total.plan_year.se["p80"])
    return (
        f"{a.draws:,} draws, seed {a.seed}; prices of {a.price_year} with tax. Drawing more would move the two sums "
        f"of the first sentence by about {words.money(error, a.currency)}. {a.policy}"
    )


def change(before: tuple[float, float] | None, a: Assessment) -> str:
    """What has moved since the last look; empty when nothing did that shows in rounded figures."""
    if before is None:
        return ""
    likely, bad = a.total.plan_year.p50, a.total.plan_year.p80
    now = (words.about(likely, a.currency), words.about(bad, a.currency))
    then = (words.about(before[0], a.currency), words.about(before[1], a.currency))
    if now == then:
        return ""
    return f"Since you last looked: likely sum {then[0]} → {now[0]}, one in five {then[1]} → {now[1]}."


def progress(done: int, all_of: int) -> str:
    """ "23 of 141 looked at"."""
    return f"{done} of {all_of} looked at"


def found_alt(a: Assessment) -> str:
    """The two ranges in words."""
    known, hidden = a.known.plan_year, a.hidden.plan_year
    return (
        f"Over the first year, in four cases of five: found {words.span(known.p10, known.p90, a.currency)}, not seen "
        f"yet {words.span(hidden.p10, hidden.p90, a.currency)}."
    )


def months_alt(a: Assessment) -> str:
    """What falls due month by month, in words."""
    later = a.by_month[1:]
    low, high = min(later, default=0.0), max(later, default=0.0)
    return (
        f"After the purchase between {words.about(low, a.currency)} and {words.about(high, a.currency)} falls due in "
        "each of the twelve months, on average."
    )


def why_alt(c: ComponentResult) -> str:
    """The steps of one part, in words."""
    steps = ", ".join(f"{r.label} {words.signed(r.points * 100)}" for r in c.why)
    return f"{words.sentence(c.name)}, in percentage points: {steps}; together {c.p_spent * 100:.1f}."
