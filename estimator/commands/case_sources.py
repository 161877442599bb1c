"""`estimator catalogue sources CASE`: what a car's expected cost and its variance rest on."""

from __future__ import annotations

import textwrap
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from estimator.commands.shell import ProgressBar

if TYPE_CHECKING:
    from estimator.catalogue.load import Catalogue
    from estimator.catalogue.provenance import Provenance
    from estimator.provenance import PartShare

WIDTH = 79
MOST = 8  # parts listed: their figures are the ones to replace first by your own
LEAST = 0.0005  # shares below half a thousandth are not listed by source
NAMES = {
    "published": "published",
    "common-practice": "common practice of the trade",
    "elicited": "elicited: judgement of practitioners",
    "from-memory": "from memory, not looked up",
    "entered": "entered by the buyer",
}
HOW = (
    "Half of each part's expected cost is laid to the figures that say when it needs doing (lives, deferral), half "
    "to those that say what that costs (parts, own hours, strip-down, rate): a convention. Its share of the variance "
    "is its covariance with the total, split between when and how much as the draws were. What you found and the "
    "papers move the chances themselves; they are no source of figures."
)


def case_sources(catalogue: Catalogue, path: str) -> tuple[dict[str, Any], str]:
    """JSON and text for one case; InputError as for `assess`."""
    from estimator.assess import assess_fully
    from estimator.case import load_case
    from estimator.provenance import heaviest, rests_on

    case = load_case(path, catalogue)
    with ProgressBar("working it out") as bar:
        result = assess_fully(case, catalogue, progress=bar)
    found, parts = rests_on(result), heaviest(result)
    kinds = {
        kind: {"cost": found.cost_by_kind.get(kind, 0.0), "variance": found.variance_by_kind.get(kind, 0.0)}
        for kind in NAMES
    }
    sources = [
        {
            "id": key,
            "title": catalogue.sources[key].title,
            "kind": catalogue.sources[key].kind,
            "cost": share,
            "variance": found.variance_by_source.get(key, 0.0),
        }
        for key, share in found.cost_by_source.items()
    ]
    data = {
        "case": case.name,
        "currency": case.money.currency,
        "mean": result.assessment.total.plan_year.mean,
        "draws": result.assessment.draws,
        "seed": result.assessment.seed,
        "kinds": kinds,
        "sources": sources,
        "parts": [asdict(part) for part in parts],
        "spread": found.spread,
    }
    return data, _text(case.name, found, kinds, sources, parts)


def _text(
    name: str,
    found: Provenance,
    kinds: dict[str, dict[str, float]],
    sources: list[dict[str, Any]],
    parts: tuple[PartShare, ...],
) -> str:
    if not found.cost_by_source:
        return f"{name}: nothing is expected to be spent, so there is nothing to lay to any source."
    head = f"{name}: what its first year rests on, comfort and looks apart"
    rows = [*textwrap.wrap(head, WIDTH), "", f"{'kind of figure':<42}{'expected cost':>16}{'variance':>12}"]
    rows += [_row(NAMES[kind], one["cost"], one["variance"]) for kind, one in kinds.items()]
    rows += ["", f"{'by source':<42}{'expected cost':>16}{'variance':>12}"]
    rows += [_row(s["id"], s["cost"], s["variance"]) for s in sources if s["cost"] >= LEAST]
    head = "parts that make most of the spread"
    rows += ["", f"{head:<42}{'expected cost':>16}{'variance':>12}"]
    rows += [_row(textwrap.shorten(p.name, 38, placeholder="..."), p.cost, p.variance) for p in parts[:MOST]]
    return "\n".join([*rows, "", *textwrap.wrap(HOW, WIDTH)])


def _row(name: str, cost: float, variance: float) -> str:
    return f"  {name:<40}{_percent(cost):>16}{_percent(variance):>12}"


def _percent(share: float) -> str:
    return f"{share:.1%}".replace("%", " %") if abs(share) >= LEAST else "-"
