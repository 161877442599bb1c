"""What an estimate rests on: shares of expected cost and of its variance by where the figures come from.

A part's expected cost is (how likely it needs doing) x (what that costs). Half of it is laid to the figures
that say when (lives on either clock, deferral, alike), half to those that say how much. That is a convention,
not a measurement: it says where to look first. A figure's own source (`sources`) goes before its record's
(`source`). Which figures say how much, and what a case's variance comes from, `estimator.provenance` knows.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from estimator.catalogue.records import Component, Source

KINDS = ("published", "common-practice", "elicited", "from-memory", "entered")
Weights = Mapping[str, float]  # source -> share, summing to 1


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
    how_much: Sequence[Weights] | None = None,
    when_share: Sequence[float] | None = None,
) -> Provenance:
    """Shares by source of what a resolved car is expected to cost.

    Parameters
    ----------
    components : the car's parts, n of them.
    mean_cost : (n,) expected cost of each part, any currency, none negative.
    variance : (n,) its part of the variance: its own, or its covariance with the total (which may be negative
        where little was drawn); not negative in sum.
    sources : the catalogue's sources by key.
    how_much : per part the sources of what it costs; by default its remedies and its own hours, alike.
    when_share : (n,) share, 0 to 1, of each part's variance that comes from whether it needs doing at all;
        half by default.

    Raises
    ------
    ValueError
        If the lengths differ, a cost is negative or a figure is not a number.
    KeyError
        If a part names a source that is not among `sources`.
    """
    n = len(components)
    priced = [how_much_weights(c) for c in components] if how_much is None else how_much
    split = [0.5] * n if when_share is None else when_share
    if not n == len(mean_cost) == len(variance) == len(priced) == len(split):
        raise ValueError(
            f"as many costs and variances as parts are needed, found {n} parts, "
            f"{len(mean_cost)} costs, {len(variance)} variances"
        )
    if not all(value >= 0 for value in mean_cost) or not all(math.isfinite(value) for value in variance):
        raise ValueError("costs must be numbers of 0 or more, variances ordinary numbers")
    if sum(variance) < 0 or not all(0 <= share <= 1 for share in split):
        raise ValueError("variances must not be negative in sum, shares must lie between 0 and 1")
    when = [when_weights(component) for component in components]
    cost = _shares([_mixed(a, b, 0.5) for a, b in zip(when, priced, strict=True)], mean_cost)
    spread = _shares([_mixed(a, b, s) for a, b, s in zip(when, priced, split, strict=True)], variance)
    return Provenance(
        cost_by_kind=_by_kind(cost, sources),
        variance_by_kind=_by_kind(spread, sources),
        cost_by_source=cost,
        variance_by_source=spread,
        spread=sum(share * sources[key].spread for key, share in cost.items()),
    )


def when_weights(component: Component) -> dict[str, float]:
    """Sources of the figures that say when a part needs doing, alike; sums to 1."""
    figures = ["deferral_years"]
    figures += [key for key in ("life_km", "life_years") if getattr(component, key) is not None]
    found: dict[str, float] = {}
    for figure in figures:
        _add(found, component.sources.get(figure, component.source), 1 / len(figures))
    return found


def how_much_weights(component: Component) -> dict[str, float]:
    """Sources of the figures that say what a part costs, where nothing is known of the car: its own hours and
    every remedy alike; sums to 1.
    """
    found: dict[str, float] = {}
    share = 1 / (len(component.remedy) + 1)
    _add(found, component.sources.get("hours", component.source), share)
    for remedy in component.remedy:
        _add(found, remedy.source or component.sources.get("remedy", component.source), share)
    return found


def _add(found: dict[str, float], source: str, share: float) -> None:
    found[source] = found.get(source, 0.0) + share


def _mixed(one: Weights, other: Weights, share: float) -> dict[str, float]:
    """`share` of the first, the rest of the second."""
    found = {source: share * weight for source, weight in one.items()}
    for source, weight in other.items():
        _add(found, source, (1 - share) * weight)
    return found


def _shares(weights: Sequence[Weights], amounts: Sequence[float]) -> dict[str, float]:
    """Each source's share of the sum of `amounts`, largest first; empty when the sum is 0."""
    total = float(sum(amounts))
    found: dict[str, float] = {}
    for weight, amount in zip(weights, amounts, strict=True):
        for source, share in weight.items():
            _add(found, source, share * float(amount))
    if total == 0:
        return {}
    ordered = sorted(found.items(), key=lambda item: (-item[1], item[0]))
    return {source: amount / total for source, amount in ordered if amount}


def _by_kind(shares: Mapping[str, float], sources: Mapping[str, Source]) -> dict[str, float]:
    if not shares:
        return {}
    return {kind: sum(s for key, s in shares.items() if sources[key].kind == kind) for kind in KINDS}
