"""From the wear pass, made at a few points of log life, to any value of the life that all parts share.

Log life of a part is a common part u (shared by the whole car) plus one of its own. The pass is made at
some points of their sum; its log likelihood and the logits of its probabilities are interpolated by cubic
splines to a finer grid, and the part's own share is integrated there for any u asked for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.wear.records import PassResult

Floats = NDArray[np.float64]
_TINY = 1e-300
FINE_POINTS = 31


def spline_matrix(coarse: Floats, fine: Floats) -> Floats:
    """(J, Z) linear map from values at `coarse` to a not-a-knot cubic spline at `fine`.

    `coarse` (Z,) equally spaced, Z >= 4; `fine` (J,) within its range. Solves the spline's tridiagonal
    system for every unit vector, so any number of curves is interpolated by one product.
    """
    z = coarse.size
    h = coarse[1] - coarse[0]
    second = np.zeros((z, z))
    right = np.zeros((z, z))
    for i in range(1, z - 1):
        second[i, i - 1 : i + 2] = (1.0, 4.0, 1.0)
        right[i, i - 1 : i + 2] = (6 / h**2, -12 / h**2, 6 / h**2)
    second[0, :3] = (1.0, -2.0, 1.0)
    second[-1, -3:] = (1.0, -2.0, 1.0)
    curvature = np.linalg.solve(second, right)
    left = np.clip(((fine - coarse[0]) / h).astype(int), 0, z - 2)
    b = (fine - coarse[left]) / h
    a = 1.0 - b
    eye = np.eye(z)
    return np.asarray(
        a[:, None] * eye[left]
        + b[:, None] * eye[left + 1]
        + ((a**3 - a)[:, None] * curvature[left] + (b**3 - b)[:, None] * curvature[left + 1]) * h**2 / 6
    )


@dataclass(frozen=True)
class LifeTable:
    """The pass on the fine grid of total log life.

    log_likelihood : (C, H, W, Q, J); condition : (C, H, W, Q, J, 3); due : (C, H, W, Q, Z, 2, M), as the
    pass left it (it is large and wanted on few slices); points (Z,), fine (J,) : in units of each part's
    total sd; total_sd, own_sd : (C,).
    """

    log_likelihood: Floats
    condition: Floats
    due: Floats
    points: Floats
    fine: Floats
    total_sd: Floats
    own_sd: Floats

    def take(self, parts: NDArray[np.intp]) -> LifeTable:
        """The table of some parts only."""
        mine = (self.log_likelihood[parts], self.condition[parts], self.due[parts])
        return LifeTable(*mine, self.points, self.fine, self.total_sd[parts], self.own_sd[parts])

    def kernel(self, common: Floats) -> Floats:
        """(C, U, J) weights of the fine points given each value (U,) of the common log life."""
        z = self.total_sd[:, None] * self.fine[None, :]
        distance = (z[:, None, :] - common[None, :, None]) / self.own_sd[:, None, None]
        weight = np.exp(-0.5 * distance**2)
        return np.asarray(weight / weight.sum(axis=-1, keepdims=True))

    def at(self, common: Floats) -> tuple[Floats, Floats]:
        """Log likelihood (C, H, W, Q, U) of each part's history and condition (C, H, W, Q, U, 3) given it."""
        kernel = self.kernel(common)
        top = self.log_likelihood.max(axis=-1, keepdims=True)
        top = np.where(np.isfinite(top), top, 0.0)
        likelihood = np.exp(self.log_likelihood - top)
        mass = np.einsum("cuj,chwqj->chwqu", kernel, likelihood, optimize=True)
        joint = np.einsum("cuj,chwqjk->chwquk", kernel, likelihood[..., None] * self.condition, optimize=True)
        safe = np.maximum(mass, _TINY)
        return np.log(safe) + top, joint / safe[..., None]

    def due_at(self, *, h: int, w: int, q: int, common: Floats) -> Floats:
        """(U, C, 2, M) chance of need within months 1..M given worn, given sound, on one slice."""
        kernel = self.kernel(common)
        ll = self.log_likelihood[:, h, w, q]
        likelihood = np.exp(ll - np.where(np.isfinite(m := ll.max(-1, keepdims=True)), m, 0.0))
        weight = likelihood[..., None] * self.condition[:, h, w, q, :, 1:]
        due = np.einsum("jz,czsm->cjsm", _linear_matrix(self.points, self.fine), self.due[:, h, w, q])
        joint = np.einsum("cuj,cjs,cjsm->ucsm", kernel, weight, due, optimize=True)
        mass = np.einsum("cuj,cjs->ucs", kernel, weight, optimize=True)
        return np.asarray(joint / np.maximum(mass, _TINY)[..., None])


def life_table(result: PassResult, *, points: Floats, total_sd: Floats, own_sd: Floats) -> LifeTable:
    """Interpolate a pass made at `points` (Z,) standard deviations of each part's total log life."""
    fine = np.linspace(points[0], points[-1], FINE_POINTS)
    to_fine = spline_matrix(points, fine)
    floor = np.where(np.isfinite(result.log_likelihood), result.log_likelihood, -700.0)
    log_likelihood = floor @ to_fine.T
    spent, worn, sound = (np.clip(result.condition[..., k], 1e-14, 1.0) for k in range(3))
    spent_logit = (np.log(spent) - np.log(worn + sound)) @ to_fine.T
    worn_logit = (np.log(worn) - np.log(sound)) @ to_fine.T
    spent_share = _expit(spent_logit)
    worn_share = _expit(worn_logit)
    condition = np.stack(
        [spent_share, (1 - spent_share) * worn_share, (1 - spent_share) * (1 - worn_share)], axis=-1
    )
    return LifeTable(log_likelihood, condition, result.due, points, fine, total_sd, own_sd)


def _linear_matrix(coarse: Floats, fine: Floats) -> Floats:
    return np.array([np.interp(fine, coarse, row) for row in np.eye(coarse.size)]).T


def _expit(x: Floats) -> Floats:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(x, -700.0, 700.0))))


def gauss_nodes(points: Floats, weight: Floats, count: int) -> tuple[Floats, Floats]:
    """Nodes and weights of the Gauss rule for a discrete measure: exact up to degree 2 count - 1.

    points (L,), weight (L,) >= 0. The rule has at most `count` nodes and the same total weight.

    References
    ----------
    Gautschi, *Orthogonal Polynomials: Computation and Approximation*, 2004, sections 2.2.3 and 3.1 (Stieltjes
    procedure, Golub-Welsch).
    """
    total = weight.sum()
    alive = weight > total * 1e-14
    x, w = points[alive], weight[alive] / total
    if x.size <= count:
        return x, w * total
    alpha, beta = np.zeros(count), np.zeros(count)
    before, now = np.zeros_like(x), np.ones_like(x)
    norm_before = 1.0
    for k in range(count):
        norm = float(w @ now**2)
        alpha[k] = float(w @ (x * now**2)) / norm
        if k:
            beta[k] = norm / norm_before
        before, now = now, (x - alpha[k]) * now - beta[k] * before
        norm_before = norm
    off = np.sqrt(beta[1:])
    values, vectors = np.linalg.eigh(np.diag(alpha) + np.diag(off, 1) + np.diag(off, -1))
    return values, total * vectors[0] ** 2
