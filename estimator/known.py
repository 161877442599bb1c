"""What counts as found: the one place where the threshold stands. Prices never jump here: totals do not use it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.evidence.findings import SPENT
from estimator.evidence.noisy_or import NoisyOr
from estimator.pipeline import Prepared
from estimator.why import mean_network

Floats = NDArray[np.float64]
PROBABLE = 0.5
THREEFOLD = 3.0
RAISED = 0.2


@dataclass(frozen=True)
class SuspectGroup:
    """Parts of which one probably explains a sign: check id, its name, (part id, P(spent)) most likely first."""

    check: str
    name: str
    parts: tuple[tuple[str, float], ...]


def found_parts(prepared: Prepared) -> NDArray[np.bool_]:
    """(C,) parts that are probably due and that the signs, readings and papers of this viewing point to.

    Pointed to: a sign that is present can come from the part, and all present signs together raise its P(spent) by
    0.2, or its odds threefold (odds, because a part already likely to be spent cannot become three times as likely).
    """
    spent = prepared.grid.mean(prepared.grid.marginal)[:, SPENT]
    return np.asarray((_pointed_to(prepared) | _seen_today(prepared)) & (spent >= PROBABLE))


def known_share(prepared: Prepared) -> Floats:
    """(C,) how far each part's need was known at the viewing, 0 to 1, with no threshold: the share of the doubt that
    the present signs took away; what a paper or test of the day names is known as far as it is likely.
    """
    with_them, without, linked = _with_and_without(prepared)
    share = np.where(linked, np.clip((with_them - without) / np.maximum(1 - without, 1e-12), 0.0, 1.0), 0.0)
    return np.maximum(share, np.where(_seen_today(prepared), with_them, 0.0))


def _pointed_to(prepared: Prepared) -> NDArray[np.bool_]:
    """(C,) whether the present signs raise a part far enough to count as found."""
    with_them, without, linked = _with_and_without(prepared)
    return np.asarray(
        linked & ((with_them - without >= RAISED) | (_odds(with_them) >= THREEFOLD * _odds(without)))
    )


def _with_and_without(prepared: Prepared) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """(C,) P(spent) with the present signs, without them, and whether one of them can come from the part; at the
    posterior mean of the grid. A sign held to be there and not there alike says nothing, so that both agree there.
    """
    evidence = prepared.evidence
    present = evidence.belief >= 0.5
    if not present.any():
        spent = prepared.grid.mean(prepared.grid.marginal)[:, SPENT]
        return spent, spent, np.zeros(spent.size, dtype=bool)
    prior, sensitivity, leak = mean_network(prepared)
    network = NoisyOr(prior, sensitivity, leak)
    with_them = network.posterior(evidence.belief).marginal[:, SPENT]
    without = network.posterior(np.where(present, -1.0, evidence.belief)).marginal[:, SPENT]
    linked = np.asarray((sensitivity[present, :, SPENT] > 0).any(axis=0))
    return with_them, without, linked


def _odds(chance: Floats) -> Floats:
    return np.asarray(chance / np.maximum(1 - chance, 1e-12))


def _seen_today(prepared: Prepared) -> NDArray[np.bool_]:
    """Parts seen worn or spent in a paper or test dated at this viewing."""
    car, case = prepared.car, prepared.car.case
    out = np.zeros(len(car.parts), dtype=bool)
    for work in case.work:
        if work.date >= case.car.viewed and work.what in ("seen-spent", "seen-worn"):
            out[car.worked_on(work)] = True
    for cid in (c for t in case.test if t.date >= case.car.viewed for c in t.components):
        if cid in car.index:
            out[car.index[cid]] = True
    return out


def suspects(prepared: Prepared, *, most: int = 5) -> tuple[SuspectGroup, ...]:
    """For every sign present that no single part clearly explains: the parts it may come from."""
    spent = prepared.grid.mean(prepared.grid.marginal)[:, SPENT]
    prior = prepared.grid.mean(prepared.grid.prior)[:, SPENT]
    groups = []
    for f, check in enumerate(prepared.evidence.checks):
        if prepared.evidence.belief[f] < 0.5:
            continue
        linked = np.flatnonzero(prepared.evidence.sensitivity[0, f].any(axis=-1))
        raised = [c for c in linked if spent[c] > prior[c] + 0.02]
        ranked = sorted(raised, key=lambda c: -spent[c])[:most]
        if len(ranked) >= 2:
            parts = tuple((prepared.car.parts[c].id, float(spent[c])) for c in ranked)
            groups.append(SuspectGroup(check, prepared.car.catalogue.checks[check].name, parts))
    return tuple(groups)
