"""In which order the checks of a car go on its sheet. For ordering only: no figure of this is ever shown.

First what every careful buyer of any old car looks at, then whatever else this car may show to this viewer; what needs
a lift, a jack or tools that are not there comes last. Within each of them next comes the check that gives most for its
time: the money that the parts linked to it may cost, as far as nothing before it shows it, each times the chance that
this viewer sees it and that no harmless cause does; and what its result is worth to the decision, as `next` values it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from estimator import viewing
from estimator.assess import ComponentResult, Result
from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import Check
from estimator.catalogue.usual import usual_checks
from estimator.decide.next_checks import ranked
from estimator.decide.reference import reference_outlay
from estimator.problems import InputError
from estimator.report.sheet_reach import lacking

Floats = NDArray[np.float64]
ROW_MINUTES = 3.0  # reading and ticking a row, finding the place (elicited)
LOOKS = 0.3  # of a sum for comfort and looks, beside one that must be spent (elicited)


def worth_of_checks(
    result: Result, catalogue: Catalogue, *, having: Collection[str] = ()
) -> dict[str, float]:
    """Worth by check id, of the checks that fit this car; the more, the earlier. having : as `sheet_reach.lacking`."""
    case = result.prepared.car.case
    viewer: str = case.car.viewer
    checks = [check for place in viewing.stations(case, catalogue) for check in place.checks]
    within = [check for check in checks if not lacking(check, viewer, having)]
    beyond = [check for check in checks if lacking(check, viewer, having)]
    usual = set(usual_checks(catalogue))
    blocks = (
        [check for check in within if check.id in usual],
        [check for check in within if check.id not in usual],
        beyond,
    )
    unseen, decides = stakes(result, catalogue), _value_to_decision(result, catalogue)
    order: list[str] = []
    for block in blocks:
        taken, unseen = most_shown(block, unseen, viewer, decides)
        order += taken
    return {one: float(len(order) - place) for place, one in enumerate(order)}


def _value_to_decision(result: Result, catalogue: Catalogue) -> dict[str, float]:
    """What each result by itself is worth to the decision; nothing where there is no price to decide about."""
    try:
        found = ranked(result, reference_outlay(result.prepared.car.case, catalogue))
    except InputError:
        return {}
    return {check.id: check.value for check in found.checks}


def stakes(result: Result, catalogue: Catalogue) -> dict[str, float]:
    """What there is to be seen, by part: the mean of what it costs this car, and what follows from its being spent.

    A part of safety counts for an ordinary bill more when it is spent: on the road it costs more than its repair. A
    part that damages others counts for theirs, at the rate of a year.
    """
    parts = result.assessment.components
    bills = {part.id: part.cost["p50"] for part in parts if part.cost is not None}
    ordinary = float(np.median(list(bills.values()))) if bills else 0.0
    return {part.id: _stake(part, bills, ordinary, catalogue) for part in parts}


def _stake(part: ComponentResult, bills: Mapping[str, float], ordinary: float, catalogue: Catalogue) -> float:
    own = part.mean_cost * (LOOKS if part.need == "comfort" else 1.0)
    safety = part.p_spent * ordinary if part.need == "safety" else 0.0
    damage = sum(
        min(one.rate, 1.0) * bills.get(one.component, 0.0) for one in catalogue.components[part.id].damages
    )
    return own + safety + (part.p_spent + part.p_due) * damage


def most_shown(
    checks: Sequence[Check],
    unseen: Mapping[str, float],
    viewer: str,
    decides: Mapping[str, float] = MappingProxyType({}),
) -> tuple[list[str], dict[str, float]]:
    """Ids of checks, next always the one that gives most for its time; and what is unseen after all of them.

    unseen : stake by part; decides : what a check's result is worth by itself, by its id. Same money.
    A part that one check shows with chance s is left for the others with 1 - s of its stake: so that two checks of
    the same seam do not push out one of another system.
    """
    parts = list(unseen)
    left = np.array([unseen[part] for part in parts])
    shows = np.array([_shown(check, parts, viewer) for check in checks]).reshape(len(checks), len(parts))
    alone = np.array([decides.get(check.id, 0.0) for check in checks])
    minutes = np.array([ROW_MINUTES + check.minutes for check in checks])
    free = np.ones(len(checks), dtype=bool)
    order = []
    for _ in checks:
        best = int(np.argmax(np.where(free, (shows @ left + alone) / minutes, -1.0)))
        order.append(checks[best].id)
        free[best] = False
        left = left * (1 - shows[best])
    return order, dict(zip(parts, left.tolist(), strict=True))


def _shown(check: Check, parts: Sequence[str], viewer: str) -> Floats:
    """(C,) chance that the viewer sees a spent part by this check, and that nothing harmless looks the same."""
    share = float(getattr(check.who, viewer)) * (1 - check.leak)
    spent = {link.component: link.spent * share for link in check.links}
    return np.array([spent.get(part, 0.0) for part in parts])
