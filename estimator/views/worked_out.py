"""How an estimate was worked out: the method in plain words, and frames of what it rests on."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from estimator import provenance
from estimator.assess import Result
from estimator.casefile.words import in_unit
from estimator.catalogue.provenance import Provenance
from estimator.catalogue.records import Source
from estimator.views import words

METHOD = (
    (
        "Every part ages by distance and by time",
        "For each wearing part the catalogue holds two lives: by when one in ten has needed renewal, and by when half "
        "have. Rust, rubber, sun and long rest run the clock of time faster or slower, by how the car was kept.",
    ),
    (
        "Most parts have been renewed before, and not all of it was written down",
        "The model runs the whole life of the car forward: parts wear out, stay in for a while because nobody notices "
        "or pays, and are renewed. A bill moves a part back to new, as far as it can be believed. Complete papers that "
        "never mention a part are bad news about it.",
    ),
    (
        "What you find counts for every part it could come from",
        "A knock can have several causes. One that is confirmed clears the others; a check that comes out well clears "
        "all of them, as far as who looked, and how, could have seen it. This is worked out exactly, not sampled.",
    ),
    (
        "What all parts share",
        "Care, how complete the papers are, what the odometer really turned, whether the car was dressed up for sale, "
        "rust, and whether its parts last longer than usual are not known either. Each is weighed by how well it "
        "explains the papers and the findings together; that is why a few bad findings make everything else likelier.",
    ),
    (
        "From condition to cost",
        "Thousands of possible cars are drawn, each with a condition for every part. Each is priced as a workshop "
        "would: what has to come off is paid once for all parts behind it, prices vary, bolts break, parts are not to "
        "be had. The ranges are what those bills come to.",
    ),
    (
        "From cost to decisions",
        "What to look at next, what to offer and when to do the work are worked out on the same draws: a check is "
        "worth what its answer would change, a price is right when the bad cases are in it.",
    ),
)
CANNOT = (
    "It has not seen the car. What you did not look at, or could not, is taken from what such cars usually are.",
    "The lives of parts are mostly judgement, given ranges because judgement is too sure of itself. A car can be the "
    "exception.",
    "It does not know this seller, only how cars for sale usually differ from cars that are not.",
    "Accident damage that was put right well, and parts nobody has listed, are in it as a lump, not by name.",
    "Prices are those of one year, with their spread; your workshop may be outside it.",
    "Whether a car is original, rare or loved is in the value you gave, not in the estimate.",
    "Law and local rules decide what may be driven. Ask there, and have a competent person look.",
)
KINDS = {
    "published": "published",
    "common-practice": "common practice",
    "elicited": "judgement",
    "from-memory": "recalled, not looked up",
    "entered": "what you entered",
}
FACTORS = {
    "care": "Care it has had",
    "completeness": "Of the bills such papers would hold, entered are",
    "presentation": "How it is presented",
    "viewing": "How it was looked at",
    "rust": "Rust of the structure",
}


def shared_factors(result: Result) -> pd.DataFrame:
    """Chance of every level of what all parts share: factor, level, before (findings and papers), now; how complete
    the papers are only where they are said to be.
    """
    prepared = result.prepared
    shared, history, now = prepared.shared, prepared.wear.history, result.assessment.grid
    before = {
        "care": history.care_weight,
        "completeness": history.completeness_weight,
        "presentation": shared.presentation,
        "viewing": shared.closely,
        "rust": shared.rust,
    }
    rows = []
    for factor, name in FACTORS.items():
        if len(now[factor]) < 2 or (factor == "completeness" and not prepared.car.case.coverage):
            continue
        for (level, chance), first in zip(now[factor].items(), before[factor], strict=True):
            rows.append(
                {"factor": name, "level": _level(factor, level), "before": float(first), "now": chance}
            )
    return pd.DataFrame(rows, columns=["factor", "level", "before", "now"])


def _level(factor: str, level: str) -> str:
    if factor == "completeness":
        return f"{float(level) * 100:.0f}{words.NBSP}%"
    if factor == "rust":
        odds = float(level.rsplit(" ", 1)[-1])
        return "as usual" if odds == 1 else f"{odds:g} times the usual odds"
    return level


def odometer(result: Result) -> pd.DataFrame:
    """What the odometer may really have turned: what, distance (in the car's unit), unit, before, now."""
    prepared = result.prepared
    unit = prepared.car.case.car.unit
    now = result.assessment.grid["odometer"]
    rows = [
        {
            "what": h.label,
            "distance": in_unit(h.today_km, unit),
            "unit": unit,
            "before": h.weight,
            "now": now[h.label],
        }
        for h in prepared.wear.history.odometer
    ]
    return pd.DataFrame(rows, columns=["what", "distance", "unit", "before", "now"])


def rests_on(result: Result) -> Provenance:
    """Shares of the expected cost and of its spread by where the figures come from."""
    return provenance.rests_on(result)


def by_kind(found: Provenance) -> pd.DataFrame:
    """Share of cost and of its spread by kind of figure: kind, place, cost, spread, label."""
    rows = []
    for place, (kind, name) in enumerate(KINDS.items()):
        cost, spread = found.cost_by_kind.get(kind, 0.0), found.variance_by_kind.get(kind, 0.0)
        label = f"{words.sentence(name)}: {words.percent(cost)}"
        rows.append({"kind": name, "place": place, "cost": cost, "spread": spread, "label": label})
    return pd.DataFrame(rows)


def by_kind_alt(frame: pd.DataFrame) -> str:
    """The bars in words."""
    parts = [f"{r['kind']} {words.percent(r['cost'])}" for r in frame.to_dict("records")]
    return f"Share of the expected cost by where its figures come from: {', '.join(parts)}."


def sources(found: Provenance, known: dict[str, Source]) -> pd.DataFrame:
    """The sources met, those of most cost first: title, by, year, kind, cost (share)."""
    rows = []
    for key, share in found.cost_by_source.items():
        source = known[key]
        rows.append(
            {
                "title": source.title,
                "by": source.publisher,
                "year": None if source.year is None else str(source.year),
                "kind": KINDS[source.kind],
                "cost": share,
            }
        )
    return pd.DataFrame(rows, columns=["title", "by", "year", "kind", "cost"])


ERRORS = {
    "mean": "average",
    "p10": "one in ten below",
    "p50": "half below",
    "p80": "one in five above",
    "p90": "one in ten above",
    "p95": "one in twenty above",
    "worst_fifth": "average of the worst fifth",
}


def errors(result: Result) -> pd.DataFrame:
    """Every figure of the first year's sum with its Monte Carlo standard error: figure, amount, error."""
    total = result.assessment.total.plan_year
    rows = [
        {"figure": name, "amount": getattr(total, key), "error": total.se[key]}
        for key, name in ERRORS.items()
    ]
    return pd.DataFrame(rows)


def solved(result: Result) -> str:
    """How the findings were weighed."""
    told = result.assessment.evidence
    if told["present"] == 0:
        return "No sign was found present, so nothing had to be shared out among several causes."
    how = "exactly" if told["method"] == "exact" else f"by {told['method']}"
    ess = "" if told["ess"] is None else f" (worth {told['ess']:,.0f} independent samples)"
    return (
        f"{words.sentence(words.plural(told['present'], 'sign'))} present, weighed against all their possible causes "
        f"{how}{ess}; at most {told['frontier']} had to be kept open at a time."
    )


def table(frame: pd.DataFrame, head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """A Markdown table; frame only says whether there is anything."""
    if frame.empty:
        return ""
    top = list(head)
    body = ["| " + " | ".join(row) + " |" for row in rows]
    return "\n".join(["| " + " | ".join(top) + " |", "|" + "---|" * len(top), *body])
