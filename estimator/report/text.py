"""An assessment as text for a terminal: 80 columns, plain characters, no colour."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from estimator.assess import Assessment, ComponentResult
from estimator.catalogue.load import Catalogue
from estimator.distribution import Distribution
from estimator.report.blocks import bullets, joined, stop_rows, wrapped
from estimator.report.plain_words import (
    amount,
    chance,
    clean,
    commonest_first,
    first_sentence,
    money,
    table_step,
)
from estimator.why import Reason

TOP = 10
NAME, CHANCE = 34, 25
MOST_WARNINGS, MOST_SUSPECTS = 8, 5
LOCAL_RULES = (
    "This is an estimate from what was written down, not an inspection, a valuation or a roadworthiness "
    "certificate. Local rules, the maker's instructions and competent or licensed people come first."
)
ROWS = (
    ("likely", "p50"),
    ("one in five is dearer than", "p80"),
    ("worst to plan for", "p95"),
    ("mean", "mean"),
)
STEP_WORDS = {
    "base": "any such part",
    "age": "age and distance",
    "history": "papers",
    "shared": "care, life, rust",
    "for-sale": "for sale",
    "together": "findings together",
}


def assessment_text(
    found: Assessment,
    catalogue: Catalogue,
    *,
    takes: Sequence[str] = (),
    top: int = TOP,
    everything: bool = False,
) -> str:
    """What `estimator assess` prints: stops, one sentence, totals, twenty outcomes, parts, doubts, cautions.

    takes : sentences of what the estimate takes the car to be like as a whole; top : number of parts in the
    breakdown; `everything` shows all parts and all warnings.
    """
    money_parts = [c for c in found.components if c.need != "comfort"]
    shown = money_parts if everything else money_parts[:top]
    sections = (
        stop_rows(found.stops, found.open_stops, catalogue, sums="the sums say", ends="the deal"),
        [clean(found.case)],
        wrapped(sentence(found)),
        _totals(found),
        _picture(found),
        _parts(shown, len(money_parts)),
        _suspects(found, catalogue, everything),
        _apart(found),
        ["What the car is taken to be like as a whole", *bullets(takes)] if takes else [],
        _warnings(found, everything),
        _care(shown, catalogue),
        _made_how(found),
    )
    return joined(sections)


def sentence(found: Assessment) -> str:
    """The one sentence that stands above every figure."""
    year = found.total.plan_year
    return (
        f"In the first year this car is likely to need about {money(year.p50, found.currency)} of work; "
        f"one time in five it is more than {money(year.p80, found.currency)}, "
        f"and the worst to plan for is {money(year.p95, found.currency)} (one in twenty is dearer still)."
    )


def _totals(found: Assessment) -> list[str]:
    head = f"  {'':<26}{'found':>14}{'not seen yet':>16}{'total':>14}"
    rows = [f"Work to be safe, legal, running and to protect dearer parts, {found.currency} with tax", head]
    step = table_step(found.total.plan_year.p95)
    for label, pick in (("now", "now"), ("first year, now included", "plan_year")):
        rows.append(label)
        for name, key in ROWS:
            figures = [
                amount(getattr(getattr(split, pick), key), step=step)
                for split in (found.known, found.hidden, found.total)
            ]
            rows.append(f"  {name:<26}{figures[0]:>14}{figures[1]:>16}{figures[2]:>14}")
    rows.append("  Only the means add up: bad luck in one column seldom meets it in the other.")
    return rows


BINS, CELL = 14, 5


def _picture(found: Assessment) -> list[str]:
    """Twenty equally likely outcomes as a dot plot (Kay et al., CHI 2016)."""
    dots = found.dots
    width = nice_width(max(dots) / BINS)
    place = [min(int(dot / width), BINS) for dot in dots]
    counts = [place.count(b) for b in range(max(place) + 1)]
    rows = [f"Twenty equally likely first years, {found.currency}: each o is one in twenty"]
    for level in range(max(counts), 0, -1):
        rows.append(("  " + "".join("  o  " if count >= level else " " * CELL for count in counts)).rstrip())
    rows.append("  " + ("|" + "-" * (CELL - 1)) * len(counts) + "|")
    labels = [f"{edge * width:,.0f}" for edge in range(0, len(counts) + 1, 2)]
    rows.append(("  " + "".join(f"{label:<{2 * CELL}}" for label in labels)).rstrip())
    return rows


def nice_width(least: float) -> float:
    """The smallest of 1, 2, 2.5, 5 times a power of ten that is no smaller; 1 at least."""
    power = 1.0
    while True:
        for factor in (1, 2, 2.5, 5):
            if factor * power >= least:
                return factor * power
        power *= 10


def _parts(shown: Sequence[ComponentResult], count: int) -> list[str]:
    if not shown:
        return []
    heads = "Dearest parts, on average", "needs doing now, about"
    rows = [f"{heads[0]:<{NAME}}{heads[1]:<{CHANCE}}{'if so':>12}{'mean':>8}"]
    for part in shown:
        name = textwrap.wrap(clean(part.name), NAME - 2) or [part.id]
        if_so = "-" if part.cost is None else f"{amount(part.cost['p10'])}-{amount(part.cost['p90'])}"
        now = ("found: " if part.found else "") + bare_chance(part.p_spent)
        rows.append(f"{name[0]:<{NAME}}{now:<{CHANCE}}{if_so:>12}{amount(part.mean_cost):>8}")
        rows += name[1:]
        rows += wrapped(why(part), first="    ", rest="    ")
    rows += _more(count - len(shown))
    rows += wrapped(
        "if so: eight in ten bills for it lie between the two, its share of the strip-down included. "
        "mean: what it adds to the first year on average. Below it: of 100 cars like this, how many "
        "need it now and why.",
        first="  ",
        rest="  ",
    )
    return rows


def bare_chance(probability: float) -> str:
    """The chance without its "about", where the heading says it."""
    return chance(probability).removeprefix("about ")


def why(part: ComponentResult, *, most: int = 3) -> str:
    """The reasons in short: where the chance starts and the steps that moved it most, in points of 100."""
    start, *steps = part.why
    moved = sorted((s for s in steps if abs(s.points) >= 0.005), key=lambda s: -abs(s.points))[:most]
    said = [f"{100 * s.points:+.0f} {_step_words(s)}" for s in steps if s in moved]
    text = ", ".join([f"{100 * start.points:.0f} {_step_words(start)}", *said])
    due = f"; {100 * part.p_due:.0f} more fall due in the year" if part.p_due >= 0.015 else ""
    return f"{clean(part.failure)}: {text} = {100 * part.p_spent:.0f}{due}"


def _step_words(reason: Reason) -> str:
    return STEP_WORDS.get(reason.step) or textwrap.shorten(clean(reason.label), 40, placeholder=" ...")


def _suspects(found: Assessment, catalogue: Catalogue, everything: bool) -> list[str]:
    """Signs present and the parts they may come from; those whose suspects cost most stand first."""
    if not found.suspects:
        return []
    mean = {c.id: c.mean_cost for c in found.components}
    ranked = sorted(found.suspects, key=lambda g: -sum(mean[part] for part, _ in g.parts))
    most = len(ranked) if everything else MOST_SUSPECTS
    rows = ["Signs that several parts could explain: probably one of them"]
    for group in ranked[:most]:
        parts = group.parts if everything else group.parts[:3]
        names = ", ".join(f"{catalogue.components[part].name} ({bare_chance(p)})" for part, p in parts)
        rows += bullets([f"{group.name.rstrip('?:')}: {names}"])
    return rows + _more(len(ranked) - most)


def _more(count: int) -> list[str]:
    return [f"  ... and {count} more: --all shows every one"] if count > 0 else []


def _apart(found: Assessment) -> list[str]:
    def line(label: str, figures: Distribution) -> str:
        return f"  {label:<38}{amount(figures.p50):>12}{amount(figures.p80):>14}{amount(figures.p95):>12}"

    looks = [c for c in found.components if c.need == "comfort"][:3]
    rows = [
        f"{f'Apart from the total, {found.currency}, first year':<40}"
        f"{'likely':>12}{'one in five':>14}{'worst':>12}",
        line("comfort and looks", found.comfort),
        line("work no list can name beforehand", found.unlisted),
        line("of the total: to be safe and to drive", found.needed.plan_year),
    ]
    if looks and looks[0].mean_cost > 0:
        names = ", ".join(f"{clean(c.name)} ({bare_chance(c.p_spent)})" for c in looks)
        rows += wrapped(f"comfort and looks, dearest: {names}", first="  ", rest="  ")
    return rows


def _warnings(found: Assessment, everything: bool) -> list[str]:
    if not found.warnings:
        return []
    shown = found.warnings if everything else found.warnings[:MOST_WARNINGS]
    rows = ["Doubts, and what was taken where the file is silent", *bullets(shown)]
    return rows + _more(len(found.warnings) - len(shown))


def _care(shown: Sequence[ComponentResult], catalogue: Catalogue) -> list[str]:
    """First sentences of the cautions that go with the parts shown, those of most parts first."""
    named = [c for part in shown for c in catalogue.components[part.id].cautions if c in catalogue.cautions]
    ranked = commonest_first(named)[:4]
    rows = ["What needs care"]
    rows += bullets(f"{first_sentence(catalogue.cautions[c].text)} ({c})" for c in ranked)
    if ranked:
        rows.append("  `estimator catalogue show` and the word in brackets prints the whole caution.")
    return rows + wrapped(LOCAL_RULES, first="  ", rest="  ")


def _made_how(found: Assessment) -> list[str]:
    error = 2 * found.total.plan_year.se["p50"]
    text = (
        f"{found.draws:,} draws, seed {found.seed}, prices of {found.price_year}; the likely first year is "
        f"known to +-{amount(error)} (two standard errors of the simulation, not of the world). "
        f"{found.policy}"
    )
    return wrapped(text)
