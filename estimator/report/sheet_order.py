"""How telling each check of a car is: by what its result is worth, where that can be worked out."""

from __future__ import annotations

from collections.abc import Mapping

from estimator.assess import Result
from estimator.catalogue.load import Catalogue
from estimator.decide.next_checks import ranked
from estimator.decide.reference import reference_outlay
from estimator.problems import InputError


def worth_of_checks(result: Result, catalogue: Catalogue) -> Mapping[str, float]:
    """Worth by check id; the more, the more telling. For ordering only: never shown.

    The value of the result to the buyer's decision; without an asking price, or where that cannot be said from so
    few draws, the mean cost of the parts the check would show.
    """
    shown = cost_shown(result, catalogue)
    case = result.prepared.car.case
    try:
        found = ranked(result, reference_outlay(case, catalogue))
    except InputError:
        return shown
    most = max((check.value for check in found.checks), default=0.0) + 1.0
    worth = {
        check.id: most * check.proposed + max(check.value, check.marginal) + 0.01 * check.moves
        for check in found.checks
    }
    least = 1e-9 / max(max(shown.values(), default=1.0), 1.0)  # only between checks that are worth the same
    return {check: worth.get(check, 0.0) + least * cost for check, cost in shown.items()}


def cost_shown(result: Result, catalogue: Catalogue) -> dict[str, float]:
    """For each check the mean cost of the parts linked to it, each times the chance that it shows when spent."""
    cost = {part.id: part.mean_cost for part in result.assessment.components}
    return {
        check.id: sum(link.spent * cost.get(link.component, 0.0) for link in check.links)
        for check in catalogue.checks.values()
    }
