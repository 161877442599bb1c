"""What an estimate rests on: shares of expected cost and of its variance by where the figures come from.

A part's expected cost is (how likely it needs doing) x (what that costs). Half of it is laid to the figures
that say when (lives on either clock, deferral), half to those that say how much (each remedy's price, own
hours); within each half the figures count alike. That is a convention, not a measurement: it says where to
look first, and a figure's own source (`sources`) goes before its record's (`source`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from estimator.catalogue.records import Component, Source

KINDS = ("published", "common-practice", "elicited", "from-memory")


@dataclass(frozen=True)
class Provenance:
    """Shares of a case's expected cost and of its variance, each summing to 1 (empty when there is no cost).

    by kind: every kind of `KINDS`, in that order. by source: the keys met, largest share of cost first.
    spread: cost-weighted mean of the sources' own spread (sd of the logarithm).
    """

    cost_by_kind: dict[str, float]
    variance_by_kind: dict[str, float]
    cost_by_source: dict[str, float]
    variance_by_source: dict[str, float]
    spread: float


def provenance(
    components: Sequence[Component],
    *,
    mean_cost: Sequence[float],
    variance: Sequence[float],
    sources: Mapping[str, Source],
) -> Provenance:
    """Shares by source of what a resolved car is expected to cost.

    Parameters
    ----------
    components : the car's parts, n of them.
    mean_cost, variance : (n,) expected cost of each part and its variance, any currency, none negative.
    sources : the catalogue's sources by key.

    Raises
    ------
    ValueError
        If the lengths differ or a figure is negative or not a number.
    KeyError
        If a part names a source that is not among `sources`.
    """
    if not len(components) == len(mean_cost) == len(variance):
        raise ValueError(
            f"as many costs and variances as parts are needed, found {len(components)} parts, "
            f"{len(mean_cost)} costs, {len(variance)} variances"
        )
    if not all(value >= 0 for value in (*mean_cost, *variance)):
        raise ValueError("costs and variances must be numbers of 0 or more")
    weights = [source_weights(component) for component in components]
    cost = _shares(weights, mean_cost)
    spread = _shares(weights, variance)
    return Provenance(
        cost_by_kind=_by_kind(cost, sources),
        variance_by_kind=_by_kind(spread, sources),
        cost_by_source=cost,
        variance_by_source=spread,
        spread=sum(share * sources[key].spread for key, share in cost.items()),
    )


def source_weights(component: Component) -> dict[str, float]:
    """Share of a part's expected cost laid to each source its figures name; sums to 1."""
    when = ["deferral_years"]
    when += [key for key in ("life_km", "life_years") if getattr(component, key) is not None]
    found: dict[str, float] = {}
    for figure in when:
        _add(found, component.sources.get(figure, component.source), 0.5 / len(when))
    share = 0.5 / (len(component.remedy) + 1)
    _add(found, component.sources.get("hours", component.source), share)
    for remedy in component.remedy:
        _add(found, remedy.source or component.sources.get("remedy", component.source), share)
    return found


def _add(found: dict[str, float], source: str, share: float) -> None:
    found[source] = found.get(source, 0.0) + share


def _shares(weights: Sequence[Mapping[str, float]], amounts: Sequence[float]) -> dict[str, float]:
    """Each source's share of the sum of `amounts`, largest first; empty when the sum is 0."""
    total = float(sum(amounts))
    found: dict[str, float] = {}
    for weight, amount in zip(weights, amounts, strict=True):
        for source, share in weight.items():
            _add(found, source, share * float(amount))
    if total == 0:
        return {}
    ordered = sorted(found.items(), key=lambda item: (-item[1], item[0]))
    return {source: amount / total for source, amount in ordered}


def _by_kind(shares: Mapping[str, float], sources: Mapping[str, Source]) -> dict[str, float]:
    if not shares:
        return {}
    return {kind: sum(s for key, s in shares.items() if sources[key].kind == kind) for kind in KINDS}
