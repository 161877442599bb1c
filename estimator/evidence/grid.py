"""The grid of what all parts of one car share, and its posterior.

Shared are: the odometer hypothesis, how complete the papers are, care, the common part of log life, rust,
and whether the car was dressed up for sale. Given a grid point parts are independent before findings. The common
life is integrated by a Gauss rule per slice of the other factors, built on a guide: the history's likelihood
times a factorised approximation of the findings' likelihood on a fine grid. The exact likelihood then corrects
the guide at the nodes, so a few nodes stand where the posterior is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.evidence.findings import SOUND, SPENT, WORN, Evidence
from estimator.evidence.life_grid import LifeTable, gauss_nodes
from estimator.evidence.noisy_or import NoisyOr

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
NEGLIGIBLE = 1e-6
NODES = 7


@dataclass(frozen=True)
class Shared:
    """Prior weights of the shared factors and what they do.

    odometer (H), completeness (W), care (Q), rust (R), presentation (2), closely (A): weights summing to 1;
    odometer_log, care_log, presentation_log : log likelihood of the checks that speak about them;
    rust_odds (R,) multiplies the odds of spent of parts in `rusts` (C,);
    sale_pull (C,) how much likelier the car is for sale for each part that is spent, against a car that needs
    nothing (see `for_sale_odds`), before findings;
    has (C,) chance that the car has the part; common_sd of log life; history_weight: exponent on the product of
    all parts' histories, below 1 because their silences are not independent.
    """

    odometer: Floats
    completeness: Floats
    care: Floats
    rust: Floats
    presentation: Floats
    closely: Floats
    odometer_log: Floats
    care_log: Floats
    presentation_log: Floats
    rust_odds: Floats
    rusts: NDArray[np.bool_]
    sale_pull: Floats
    has: Floats
    common_sd: float
    grid_points: int = 31
    history_weight: float = 1.0

    @property
    def viewing(self) -> Floats:
        """(V,) weights of how the viewing went, in the order of Evidence.sensitivity."""
        return np.outer(self.closely, self.presentation).ravel()


@dataclass(frozen=True)
class GridPosterior:
    """Grid points with their posterior weight and the parts' conditions there.

    weight (G,) sums to 1; h, w, q, r, p (G,) levels, p that of the viewing (0..V-1); common (G,) log life;
    prior (G, C, 3) after history, rust and the for-sale effect, before findings; unsold (G, C, 3) the same without
    the for-sale effect;
    log_evidence : of history and findings together; networks : level of the viewing -> solver on its points.
    """

    weight: Floats
    h: Ints
    w: Ints
    q: Ints
    r: Ints
    p: Ints
    common: Floats
    prior: Floats
    unsold: Floats
    marginal: Floats
    log_evidence: float
    networks: dict[int, tuple[Ints, NoisyOr]]
    frontier: int
    present: int
    method: str
    ess: float | None

    @property
    def dressed(self) -> Ints:
        """(G,) 1 where the car was dressed up for sale."""
        return self.p % 2

    def mean(self, per_point: Floats) -> Floats:
        """Average over the grid of something (G, ...)."""
        return np.asarray(np.tensordot(self.weight, per_point, axes=1))


def shift_odds(condition: Floats, odds: Floats) -> Floats:
    """Multiply the odds of spent (condition (..., C, 3), odds broadcastable to (..., C)); worn : sound is kept."""
    spent = condition[..., SPENT]
    scaled = spent * odds
    total = scaled + 1 - spent
    out = condition / total[..., None]
    out[..., SPENT] = scaled / total
    return np.asarray(out)


def for_sale_odds(condition: Floats, pull: Floats) -> Floats:
    """Factor (..., C) on the odds of spent of each part, because the car is for sale.

    A car that needs work is likelier to be for sale, in proportion to what that work costs: 1 + the sum of the pulls
    of its spent parts. Part by part that multiplies the odds by 1 + pull / (1 + expected sum of all the others'
    pulls): one large repair may be why the car is sold, and where ten are likely none of them need be. A part by
    itself gives 1 + pull.

    Parameters
    ----------
    condition : (..., C, 3), chances of spent, worn and sound, parts independent of each other.
    pull : (C,), k cost / value of each part.
    """
    expected = condition[..., SPENT] * pull
    others = expected.sum(axis=-1, keepdims=True) - expected
    return np.asarray(1 + pull / (1 + others))


def may_be_missing(condition: Floats, has: Floats) -> Floats:
    """A part the car has only with a chance: not fitted counts as sound."""
    out = condition * has[:, None]
    out[..., SOUND] += 1 - has
    return np.asarray(out)


def posterior_grid(
    table: LifeTable, shared: Shared, evidence: Evidence, *, nodes: int = NODES
) -> GridPosterior:
    """Posterior of the shared factors given history and findings, and the parts' conditions at its points.

    Raises
    ------
    ImpossibleEvidence
        If the findings cannot occur together.
    """
    fine = np.linspace(-3, 3, shared.grid_points) * shared.common_sd
    prior_u = np.exp(-0.5 * (fine / shared.common_sd) ** 2)
    log_u = np.log(prior_u / prior_u.sum())
    history_log, condition = _history(table, shared, fine)  # (H, W, Q, U), (H, W, Q, U, C, 3)
    guide = _Guide(shared, evidence)
    slices = []
    for r in range(shared.rust.size):
        for p in range(shared.viewing.size):
            if shared.viewing[p] == 0 or shared.rust[r] == 0:
                continue
            log_guide = history_log + guide.log_likelihood(condition, r=r, p=p) + log_u
            log_guide += _level_logs(shared, r=r, p=p)[..., None]
            slices.append((r, p, log_guide))
    top = max(float(s.max()) for _, _, s in slices)
    chosen: list[tuple[int, int, int, int, int, float, float]] = []
    mass = sum(np.exp(s - top).sum() for _, _, s in slices)
    for r, p, log_guide in slices:
        weight = np.exp(log_guide - top) / mass
        for h, w, q in np.ndindex(weight.shape[:3]):
            if weight[h, w, q].sum() < NEGLIGIBLE:
                continue
            u, share = gauss_nodes(fine, weight[h, w, q], nodes)
            chosen += [(h, w, q, r, p, float(a), float(b)) for a, b in zip(u, share, strict=True)]
    grid = _solve(table, shared, evidence, guide, chosen, log_scale=top + np.log(mass))
    return grid


def _level_logs(shared: Shared, *, r: int, p: int) -> Floats:
    """(H, W, Q) log prior weight of the levels and likelihood of the checks that speak about them."""
    with np.errstate(divide="ignore"):
        return np.asarray(
            (np.log(shared.odometer) + shared.odometer_log)[:, None, None]
            + np.log(shared.completeness)[None, :, None]
            + (np.log(shared.care) + shared.care_log)[None, None, :]
            + np.log(shared.rust[r])
            + np.log(shared.viewing[p])
            + shared.presentation_log[p % 2]
        )


def _history(table: LifeTable, shared: Shared, common: Floats) -> tuple[Floats, Floats]:
    log_likelihood, condition = table.at(common)
    return shared.history_weight * log_likelihood.sum(axis=0), np.moveaxis(condition, 0, -2)


class _Guide:
    """A factorised stand-in for the findings' likelihood: cheap enough for the fine grid."""

    def __init__(self, shared: Shared, evidence: Evidence) -> None:
        self.shared = shared
        self.evidence = evidence
        self.absent = evidence.belief == 0
        with np.errstate(divide="ignore"):
            self.log_silent = np.log1p(-np.minimum(evidence.sensitivity, 1 - 1e-12))  # (V, F, C, 3)
            self.log_quiet_leak = np.log1p(-evidence.leak[:, self.absent]).sum(axis=1)  # (V,)

    def conditions(self, condition: Floats, *, r: int) -> Floats:
        """Conditions before findings at a level of rust, with and without the for-sale effect applied last."""
        odds = np.where(self.shared.rusts, self.shared.rust_odds[r], 1.0)
        return shift_odds(may_be_missing(condition, self.shared.has), odds)

    def log_likelihood(self, condition: Floats, *, r: int, p: int) -> Floats:
        """log of an approximate P(findings | grid point); condition (..., C, 3) -> (...)."""
        unsold = self.conditions(condition, r=r)
        before = shift_odds(unsold, for_sale_odds(unsold, self.shared.sale_pull))
        quiet = np.exp(self.log_silent[p][self.absent].sum(axis=0))  # (C, 3)
        weighed = before * quiet
        each = weighed.sum(axis=-1)
        out = np.log(np.maximum(each, 1e-300)).sum(axis=-1) + self.log_quiet_leak[p]
        after = weighed / np.maximum(each, 1e-300)[..., None]
        leak, belief = self.evidence.leak[p], self.evidence.belief
        for f in np.flatnonzero(~self.absent):
            s = self.evidence.sensitivity[p, f]
            linked = np.flatnonzero(s.any(axis=-1))
            silent = 1 - np.einsum("...ck,ck->...c", after[..., linked, :], s[linked])
            present = 1 - (1 - leak[f]) * silent.prod(axis=-1)
            out = out + np.log(np.maximum(belief[f] * present + (1 - belief[f]) * (1 - present), 1e-300))
        return np.asarray(out)


def _solve(
    table: LifeTable,
    shared: Shared,
    evidence: Evidence,
    guide: _Guide,
    chosen: list[tuple[int, int, int, int, int, float, float]],
    *,
    log_scale: float,
) -> GridPosterior:
    """Exact evidence at the chosen nodes; weights corrected from guide to exact."""
    levels = np.array([c[:5] for c in chosen], dtype=np.intp)
    common = np.array([c[5] for c in chosen])
    share = np.array([c[6] for c in chosen])
    raw = _conditions_at(table, levels, common)
    count, parts = raw.shape[:2]
    unsold = np.empty((count, parts, 3))
    for r in np.unique(levels[:, 3]):
        here = levels[:, 3] == r
        unsold[here] = guide.conditions(raw[here], r=int(r))
    prior = shift_odds(unsold, for_sale_odds(unsold, shared.sale_pull))
    marginal = np.empty_like(prior)
    log_evidence, log_guide = np.zeros(count), np.zeros(count)
    networks: dict[int, tuple[Ints, NoisyOr]] = {}
    frontier, present, method, ess = 0, 0, "exact", None
    for p in np.unique(levels[:, 4]):
        here = np.flatnonzero(levels[:, 4] == p)
        network = NoisyOr(prior[here], evidence.sensitivity[p], evidence.leak[p])
        found = network.posterior(evidence.belief)
        marginal[here], log_evidence[here] = found.marginal, found.log_evidence
        for r in np.unique(levels[here, 3]):
            rows = here[levels[here, 3] == r]
            log_guide[rows] = guide.log_likelihood(raw[rows], r=int(r), p=int(p))
        networks[int(p)] = (here, network)
        frontier, present, method = max(frontier, found.frontier), found.present, found.method
        if found.ess is not None:
            ess = found.ess if ess is None else min(ess, found.ess)
    log_weight = np.log(np.maximum(share, 1e-300)) + log_evidence - log_guide
    top = log_weight.max()
    weight = np.exp(log_weight - top)
    total = weight.sum()
    keep = weight / total > NEGLIGIBLE
    position = np.cumsum(keep) - 1
    kept_networks = {}
    for p, (here, network) in networks.items():
        inside = keep[here]
        if inside.any():
            solver = NoisyOr(network.prior[inside], network.sensitivity, network.leak)
            kept_networks[p] = (position[here[inside]], solver)
    h, w, q, r, p = levels[keep].T
    return GridPosterior(
        weight=weight[keep] / weight[keep].sum(),
        h=h, w=w, q=q, r=r, p=p,
        common=common[keep],
        prior=prior[keep],
        unsold=unsold[keep],
        marginal=marginal[keep],
        log_evidence=float(log_scale + top + np.log(total)),
        networks=kept_networks,
        frontier=frontier,
        present=present,
        method=method,
        ess=ess,
    )  # fmt: skip


def _conditions_at(table: LifeTable, levels: Ints, common: Floats) -> Floats:
    """(G, C, 3) conditions given history at scattered grid points."""
    parts = table.log_likelihood.shape[0]
    out = np.empty((common.size, parts, 3))
    keys, inverse = np.unique(levels[:, :3], axis=0, return_inverse=True)
    for number, (h, w, q) in enumerate(keys):
        rows = np.flatnonzero(inverse.ravel() == number)
        part = LifeTable(
            table.log_likelihood[:, h : h + 1, w : w + 1, q : q + 1],
            table.condition[:, h : h + 1, w : w + 1, q : q + 1],
            table.due[:, :1, :1, :1],
            table.points, table.fine, table.total_sd, table.own_sd,
        )  # fmt: skip
        _, condition = part.at(common[rows])
        out[rows] = np.moveaxis(condition[:, 0, 0, 0], 0, 1)
    return out


def due_at(table: LifeTable, grid: GridPosterior) -> NDArray[np.float32]:
    """(G, C, 2, M) chance of need within months 1..M of a part that is there, given worn, given sound."""
    months = table.due.shape[-1]
    out = np.empty((grid.weight.size, table.log_likelihood.shape[0], 2, months), dtype=np.float32)
    keys, inverse = np.unique(np.stack([grid.h, grid.w, grid.q]), axis=1, return_inverse=True)
    for number, (h, w, q) in enumerate(keys.T):
        rows = np.flatnonzero(inverse.ravel() == number)
        out[rows] = table.due_at(h=int(h), w=int(w), q=int(q), common=grid.common[rows])
    return out


def there_if_sound(table: LifeTable, grid: GridPosterior, has: Floats) -> Floats:
    """(G, C) chance that a part which counts as sound is not merely missing; what is worn is there for certain.

    has (C,) chance that the car has the part.
    """
    out = np.ones((grid.weight.size, has.size))
    unsure = np.flatnonzero(has < 1)
    if unsure.size:
        levels = np.stack([grid.h, grid.w, grid.q], axis=1)
        there = has[unsure] * _conditions_at(table.take(unsure), levels, grid.common)[..., SOUND]
        out[:, unsure] = there / (there + 1 - has[unsure])
    return out


__all__ = [
    "SPENT",
    "WORN",
    "GridPosterior",
    "Shared",
    "due_at",
    "for_sale_odds",
    "posterior_grid",
    "shift_odds",
]
