"""What a refusal is worth as evidence: how far it lowers what the car is worth, by weighing the draws as if nothing
had been refused.

A refused look moves care and dressing-up (the evidence engine's factors); a question answered by a refusal speaks of
parts as well. Both are likelihoods given a draw, so that dividing the draws by them takes the refusal back. What is
on no list is sized by means over all draws, so that it is drawn anew at the means without the refusal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from estimator.assess import Result
from estimator.car import Car
from estimator.decide.likelihood import result_chances
from estimator.decide.scene import ASKS_FOR, Option, Scene, is_refusal, refused_conditions
from estimator.decide.stakes import Stakes, payoffs_at
from estimator.evidence.findings import AWAY, attention
from estimator.money.unlisted import unlisted_draws

Floats = NDArray[np.float64]
TAKES_APART = "small-things-off"  # nobody is blamed for not letting a stranger take things apart


@dataclass(frozen=True)
class Refusal:
    """What the seller refused.

    checks : names of the checks and questions; closes : how many other checks cannot be made for it.
    lowers : by how much it lowers the most to pay by what the car is worth, money (below zero: it raises it).
    """

    checks: tuple[str, ...]
    closes: int
    lowers: float

    def as_dict(self) -> dict[str, Any]:
        """For the JSON of `next`."""
        return {**asdict(self), "checks": list(self.checks)}


def refusal_of(result: Result, stakes: Stakes, scene: Scene) -> Refusal | None:
    """What was refused and what that does; None where nothing was, or the car is owned."""
    car = result.prepared.car
    said = [f for f in car.case.finding if f.check in car.catalogue.checks and is_refusal(f)]
    if not said or stakes.settlement.owned:
        return None
    weight = 1 / likelihood(result, said)
    outlay = stakes.outlay - result.outlays.unlisted + unlisted_at(result, weight)
    without = float(payoffs_at(car.case, stakes, outlay) @ weight / weight.sum())
    lowers = float(stakes.price_by_value(stakes.settlement.most(np.asarray(without)))) - stakes.by_value
    why = set(refused_conditions(car).values())
    names = dict.fromkeys(car.catalogue.checks[f.check].name for f in said)
    return Refusal(tuple(names), sum(reason in why for _, reason in scene.closed), lowers)


def unlisted_at(result: Result, weight: Floats) -> Floats:
    """(n,) outlay on no list, sized by the parts' means under weights (n,) of the draws; it strikes the same draws."""
    part = result.outlays.part  # of the first draws only
    share = weight[: len(part)] / weight[: len(part)].sum()
    means = np.asarray(share.astype(np.float32) @ part, float)
    _, seed = np.random.SeedSequence(result.assessment.seed).spawn(2)  # the assessment's own
    return unlisted_draws(result.prepared, result.draws, means, seed=seed)


def likelihood(result: Result, said: Sequence[Any]) -> Floats:
    """(n,) chance of these refusals given each draw, up to a factor."""
    prepared = result.prepared
    car, grid, point = prepared.car, prepared.grid, result.draws.point
    settings = car.catalogue.settings.evidence.refused
    log = np.zeros(len(point))
    looks = {car.catalogue.checks[f.check].station for f in said if f.result == "refused"}
    for _ in looks - {TAKES_APART, AWAY}:
        log += np.log(np.array(settings.care))[grid.q[point]]
        log += np.log(np.array(settings.presentation))[grid.p[point] % 2]
    answers = [f for f in said if f.result == "present" and f.check in ASKS_FOR]
    if answers:
        options = [_as_option(f, car) for f in answers]
        log += np.log(result_chances(prepared, result.draws, options)).sum(axis=1)
    return np.exp(log - log.max())


def _as_option(finding: Any, car: Car) -> Option:
    check = car.catalogue.checks[finding.check]
    by = finding.by or car.case.car.viewer
    return Option(check, by, "in-person", attention(finding, check, car), check.minutes, 0.0)
