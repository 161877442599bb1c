"""P(result | draw) of every check that can be made, on one common set of draws.

A draw says how every part is and where on the shared grid the car lies. A sign shows with the noisy-OR chance of
the parts' conditions, for the person who looks; dressing-up for sale masks it; care, dressing-up and a tampered
odometer move its odds by the check's own figures against their mean; a paper turns up by how long ago its parts
were renewed. Given the draw, checks are independent: the chance of several results is the product.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from estimator.car import Car
from estimator.catalogue.records import Check
from estimator.decide.papers import paper_chances
from estimator.decide.scene import Option
from estimator.evidence.findings import SENSES, care_figures, leak_by_presentation, linked
from estimator.pipeline import Prepared
from estimator.simulate import SPENT, WORN, Draws

Floats = NDArray[np.float64]
NEVER = 1e-12


def result_chances(prepared: Prepared, drawn: Draws, options: Sequence[Option]) -> Floats:
    """(n, F) chance that each check comes out present, given each draw; absent is 1 less that."""
    signs = sign_chances(prepared, drawn, options)
    papers = [f for f, o in enumerate(options) if o.check.entry is not None and o.check.entry.components]
    if papers:
        signs[:, papers] = paper_chances(prepared, drawn, [options[f] for f in papers])
    return shared_factors_moved(prepared, drawn, options, signs)


def sign_chances(prepared: Prepared, drawn: Draws, options: Sequence[Option]) -> Floats:
    """(n, F) noisy-OR chance of each sign from the parts alone.

    Somebody who looks in passing sees a share of every sign, harmless ones too; who is paid to look, looks closely.
    """
    spent, worn = silences(prepared.car, options)
    leak = np.array([leak_by_presentation(o.check, o.share) for o in options]).reshape(len(options), 2).T
    maskable = np.array([o.check.maskable for o in options])
    viewer = prepared.car.catalogue.settings.evidence.viewer
    mine = prepared.car.case.car.viewer
    by_senses = np.array([o.check.kind in SENSES and o.by == mine for o in options], dtype=bool)
    dressed, passing = grid_levels(prepared, drawn)
    out = np.empty((len(drawn), len(options)))
    for masked in (False, True):
        for glanced in (False, True):
            rows = np.flatnonzero((dressed == masked) & (passing == glanced))
            if rows.size == 0:
                continue
            seen = np.where(by_senses & glanced, viewer.in_passing, 1.0)
            share = seen * (maskable if masked else 1.0)
            table = np.concatenate([np.log(1 - spent * share), np.log(1 - worn * share)]).astype(np.float32)
            condition = drawn.condition[rows]
            which = np.concatenate([condition == SPENT, condition == WORN], axis=1).astype(np.float32)
            out[rows] = 1 - (1 - seen * leak[int(masked)]) * np.exp(which @ table)
    return np.clip(out, NEVER, 1 - NEVER)


def grid_levels(prepared: Prepared, drawn: Draws) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """(n,) whether the car was dressed up for sale, and whether its viewer looks in passing.

    Where nothing has been looked at yet, nobody's way of looking is known: it is drawn from the prior.
    """
    grid, case = prepared.grid, prepared.car.case
    dressed = grid.p[drawn.point] % 2 == 1
    if prepared.shared.closely.size > 1:
        return dressed, grid.p[drawn.point] // 2 == 1
    chance = getattr(prepared.car.catalogue.settings.evidence.viewer.passing, case.car.viewer)
    rng = np.random.Generator(np.random.SFC64(np.random.SeedSequence([len(drawn), 15_485_863])))
    return dressed, rng.random(len(drawn)) < chance


def silences(car: Car, options: Sequence[Option]) -> tuple[Floats, Floats]:
    """(C, F) chance that a part, spent or worn, causes each sign for the person who looks."""
    spent = np.zeros((len(car.parts), len(options)))
    worn = np.zeros_like(spent)
    for f, option in enumerate(options):
        for link in option.check.links:
            position = car.index.get(link.component)
            if position is not None:
                spent[position, f] = min(link.spent * option.share, 1 - NEVER)
                worn[position, f] = min(link.worn * option.share, 1 - NEVER)
    return spent, worn


def shared_factors_moved(
    prepared: Prepared, drawn: Draws, options: Sequence[Option], chance: Floats
) -> Floats:
    """The same with what a check says about care, dressing-up and the odometer.

    A check without links to this car's parts shows with the stated chance of the level, to who sees as much of it.
    With links the odds of the noisy-OR are multiplied by the odds of the level against their mean over the draws, so
    that the base rate stays the parts'; dressing-up is in their leak already.
    """
    grid = prepared.grid
    tampered = np.array([h.tampered for h in prepared.wear.history.odometer], dtype=np.intp)
    levels = {
        "care": grid.q[drawn.point],
        "presentation": grid.p[drawn.point] % 2,
        "odometer": tampered[grid.h[drawn.point]],
    }
    out = chance
    for f, option in enumerate(options):
        named = [(levels[name], figures) for name, figures in factor_figures(option.check, prepared.car)]
        if not named:
            continue
        alone = not linked(option.check, prepared.car)
        alone &= not (option.check.entry and option.check.entry.components)
        odds = np.ones(len(drawn)) if alone else out[:, f] / (1 - out[:, f])
        for number, (level, figures) in enumerate(named):
            share = np.clip(option.share * np.array(figures), 1e-6, 1 - 1e-6)
            of_level = share / (1 - share)
            mean = float(share[level].mean())
            base = 1.0 if alone and number == 0 else mean / (1 - mean)
            odds = odds * (of_level / base)[level]
        out[:, f] = odds / (1 + odds)
    return out


def factor_figures(check: Check, car: Car) -> list[tuple[str, tuple[float, ...]]]:
    """What a check says about the shared factors: (factor, P(present | level))."""
    named = (
        ("care", care_figures(check, car)),
        ("presentation", None if linked(check, car) else check.presentation),
        ("odometer", check.odometer),
    )
    return [(name, figures) for name, figures in named if figures is not None]
