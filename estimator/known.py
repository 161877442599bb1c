"""What counts as found: the one place where the threshold stands. Prices never jump here: totals do not use it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.evidence.findings import SPENT
from estimator.pipeline import Prepared

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


def found_parts(prepared: Prepared, finding_points: Floats) -> NDArray[np.bool_]:
    """(C,) parts that are probably due and that a finding, reading or paper of this viewing points to.

    finding_points (F, C) : what each finding adds to P(spent) (see estimator.why).
    """
    spent = prepared.grid.mean(prepared.grid.marginal)[:, SPENT]
    if finding_points.shape[0]:
        raised = finding_points.max(axis=0)
        without = np.maximum(spent - raised, 1e-12)
        pointed = (raised > 0) & ((spent >= THREEFOLD * without) | (raised >= RAISED))
    else:
        pointed = np.zeros(spent.size, dtype=bool)
    return np.asarray((pointed | _seen_today(prepared)) & (spent >= PROBABLE))


def _seen_today(prepared: Prepared) -> NDArray[np.bool_]:
    """Parts seen worn or spent in a paper or test dated at this viewing."""
    case, index = prepared.car.case, prepared.car.index
    out = np.zeros(len(index), dtype=bool)
    named = [
        w.component for w in case.work if w.date >= case.car.viewed and w.what in ("seen-spent", "seen-worn")
    ]
    named += [c for t in case.test if t.date >= case.car.viewed for c in t.components]
    for cid in named:
        if cid in index:
            out[index[cid]] = True
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
