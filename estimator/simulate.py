"""Joint draws of what a car needs: conditions today, and the month in which the rest falls due.

Draws are made for every grid point of the shared factors in proportion to its weight (systematic sampling),
conditions jointly by the exact noisy-OR sampler, then put in random order, so that any stretch of them is a fair
sample. Parts that spoil others are spent together with them more often than that says: see `Damage`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.car import Car
from estimator.evidence.grid import GridPosterior
from estimator.pipeline import Prepared
from estimator.streams import struck

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]
States = NDArray[np.int8]
SPENT, WORN, SOUND = 0, 1, 2
BLOCK = 5_000
MOST_OWED = 0.5  # share of one part's needs that can be owed to others (elicited)


@dataclass(frozen=True)
class Draws:
    """point (n,) grid point of each draw; condition (n, C) int8: 0 spent, 1 worn, 2 sound."""

    point: Ints
    condition: States

    def __len__(self) -> int:
        return int(self.point.size)


@dataclass(frozen=True)
class Needs:
    """Work needed in a block of draws, one entry an event: index of the draw and of the part.

    spent_draw, spent_part : spent today, in order of draws. due_draw, due_part : fall due in month due_month, 1 to 12;
    due_worn : of those, what can be seen to be worn today. worn_draw, worn_part : worn today and not due within the
    year: renewed only where it costs no more strip-down.
    """

    spent_draw: Ints
    spent_part: Ints
    due_draw: Ints
    due_part: Ints
    due_month: Ints
    due_worn: Flags
    worn_draw: Ints
    worn_part: Ints


def draw_conditions(grid: GridPosterior, belief: Floats, *, n: int, rng: np.random.Generator) -> Draws:
    """n joint draws from the posterior.

    Raises
    ------
    ValueError
        If n < 1.
    """
    if n < 1:
        raise ValueError(f"The number of draws must be at least 1, got {n}.")
    edges = np.cumsum(grid.weight)
    places = (np.arange(n) + rng.random()) / n
    chosen = np.minimum(np.searchsorted(edges, places * edges[-1], side="right"), grid.weight.size - 1)
    counts = np.bincount(chosen, minlength=grid.weight.size)
    start = np.concatenate([[0], np.cumsum(counts)])
    place = rng.permutation(n)  # where each draw goes
    point = np.empty(n, dtype=np.intp)
    point[place] = chosen
    condition = np.empty((n, grid.prior.shape[1]), dtype=np.int8)
    for level in sorted(grid.networks):
        rows, network = grid.networks[level]
        if rows.size:
            here = np.concatenate([place[start[g] : start[g + 1]] for g in rows])
            condition[here] = network.sample(belief, counts[rows], rng)
    return Draws(point, condition)


@dataclass(frozen=True)
class Damage:
    """How spent parts spoil others, in draws of cost: which needs come together, not how many there are.

    The catalogue's lives are of parts on cars as they are: by what half have needed renewal, for whatever reason,
    other parts' damage among them; and what has happened shows in the wear and the findings of the victim itself. So
    nothing is added to that. In draws with a spent attacker the victim is spent more often, in draws without as much
    less often, such that before any finding both make up its own chance; an attacker that was found bad then raises
    it, one that was found sound lowers it. Damage still to come is none in the first year as priced (what is spent is
    put right at once); it counts where work is put off (estimator.decide).

    A victim that a present sign points at stays as drawn: the sign says more of it. Other limits: conditions of the
    victim are no evidence on its attacker; one step, as drawn, so that what was spoilt spoils nothing in its turn.

    attacker (A,), victim (V,) : positions. Pairs of them (K,), by attacker: pairs, first (A,) how many each has and
    where they start; of_pair (K,) the pair's victim, 0 .. V - 1; hit (K,) : chance that a victim drawn not spent is
    spent where the attacker is; owed (K,) : share of its draws as spent that is owed to the attacker.
    most_owed (V,) : the sum of that; worn (V,) : chance that a victim relieved is worn, else it is sound.
    """

    attacker: Ints
    victim: Ints
    pairs: Ints
    first: Ints
    of_pair: Ints
    hit: Floats
    owed: Floats
    most_owed: Floats
    worn: Floats

    @classmethod
    def of(cls, prepared: Prepared) -> Damage:
        """The damage between the parts of a car, from its posterior."""
        car, grid, evidence = prepared.car, prepared.grid, prepared.evidence
        signs = np.any(evidence.sensitivity[:, evidence.belief > 0] > 0, axis=(0, 1, 3)).tolist()
        pairs = [
            (i, car.index[d.component], d.rate)
            for i, part in enumerate(car.parts)
            for d in part.damages
            if d.component in car.index and not signs[car.index[d.component]]
        ]
        before, now = (np.clip(grid.mean(c), 1e-9, 1 - 1e-9) for c in (grid.prior, grid.marginal))
        fitted = np.minimum(
            now[:, WORN] + now[:, SOUND] * grid.mean(prepared.there_if_sound), 1 - now[:, SPENT]
        )
        attacker = np.unique([i for i, _, _ in pairs]).astype(np.intp)
        victim = np.unique([j for _, j, _ in pairs]).astype(np.intp)
        chance, gone = np.zeros(len(pairs)), np.zeros(len(pairs))
        edges = prepared.wear.age_edges
        left = float(grid.weight @ np.array(car.catalogue.settings.evidence.care.deferral)[grid.q])
        for k, (i, j, rate) in enumerate(pairs):
            spoilt = spoilt_share(
                rate,
                attacker_years=left * car.parts[i].deferral_years,
                victim_years=left * car.parts[j].deferral_years,
                age_weights=prepared.wear.fitted_age[j],
                ages=(edges[1:] + edges[:-1]) / 2,
            )
            # what was seen of the victim that speaks against its being spent speaks against its being spoilt
            heard = min(1.0, _odds(now[j, SPENT]) / _odds(before[j, SPENT]))
            spoilt = spoilt * heard / (1 - spoilt + spoilt * heard)
            bad = before[i, SPENT]
            chance[k] = spoilt * (1 - bad) / (1 - spoilt * bad) * fitted[j] / (1 - now[j, SPENT])
            gone[k] = chance[k] * bad / (1 - bad) * (1 - now[j, SPENT]) / now[j, SPENT]
        of_pair = np.searchsorted(victim, np.array([j for _, j, _ in pairs], np.intp))
        all_gone = np.bincount(of_pair, gone, victim.size).astype(float, copy=False)
        within = np.minimum(1.0, MOST_OWED / np.maximum(all_gone, 1e-12))
        count = np.bincount(np.searchsorted(attacker, np.array([i for i, _, _ in pairs], np.intp)))
        return cls(
            attacker=attacker,
            victim=victim,
            pairs=count,
            first=np.cumsum(count) - count,
            of_pair=of_pair,
            hit=chance * within[of_pair],
            owed=gone * within[of_pair],
            most_owed=all_gone * within,
            worn=now[victim, WORN] / (now[victim, WORN] + now[victim, SOUND]),
        )

    def done(self, condition: States, rng: np.random.Generator) -> States:
        """(n, C) conditions as drawn, with who is spent together put right."""
        if not self.victim.size:
            return condition
        n, count = len(condition), self.victim.size
        bad = np.flatnonzero(condition[:, self.attacker] == SPENT)
        row, which = np.divmod(bad, self.attacker.size)
        each = self.pairs.take(which)
        pair = np.repeat(self.first.take(which) - np.cumsum(each) + each, each) + np.arange(each.sum())
        cell = np.repeat(row * count, each) + self.of_pair.take(pair)
        drawn = condition[:, self.victim].ravel()
        spoilt = cell[rng.random(cell.size, dtype=np.float32) < self.hit.take(pair)]
        spoilt = spoilt[drawn[spoilt] != SPENT]
        spent = np.flatnonzero(drawn == SPENT)
        owed = self.most_owed.take(spent % count) - np.bincount(cell, self.owed.take(pair), n * count).take(
            spent
        )
        spared = spent[rng.random(spent.size, dtype=np.float32) < owed]
        drawn[spoilt] = SPENT
        drawn[spared] = np.where(rng.random(spared.size) < self.worn[spared % count], WORN, SOUND)
        out = condition.copy()
        out[:, self.victim] = drawn.reshape(n, count)
        return out


def spoilt_share(
    rate: float, *, attacker_years: float, victim_years: float, age_weights: Floats, ages: Floats
) -> float:
    """Chance that a part is spent today because another is, given that the other is.

    The other has been spent for an exponential time of mean attacker_years, as long as it is usually left so; that
    spoils the part at `rate` a year, from the day it was fitted, ages (A,) years ago with age_weights (A,); what is
    spoilt is left so for victim_years on average and then renewed, to be spoilt anew. With r the rate, d and v the
    two times: r d / (1 + (r + 1/v) d) times 1 - E exp(-age (r + 1/v + 1/d)), the two-state Markov process from the
    later of both beginnings.
    """
    turns = rate + 1 / victim_years
    young = float(age_weights @ np.exp(-ages * (turns + 1 / attacker_years)))
    return rate * attacker_years / (1 + turns * attacker_years) * (1 - young)


class Prospects:
    """What one car's parts come to within the year; made once, drawn from block by block."""

    def __init__(self, car: Car, due: NDArray[np.float32], damage: Damage | None = None) -> None:
        """due (G, C, 2, M) : chance of need within months 1..M given worn, given sound."""
        self.due = due
        self.damage = damage
        self._worn_year, self._sound_year = (np.ascontiguousarray(due[:, :, k, -1]) for k in (0, 1))
        self.most_sound = self._sound_year.max(axis=0).astype(float)

    @classmethod
    def of(cls, prepared: Prepared) -> Prospects:
        """What the parts of a car come to, and what they spoil."""
        return cls(prepared.car, prepared.due, Damage.of(prepared))

    def conditions(self, draws: Draws, rows: slice, rng: np.random.Generator) -> States:
        """(n, C) conditions of a stretch of draws, parts that spoil others and what they spoil put together."""
        condition = draws.condition[rows]
        return condition if self.damage is None else self.damage.done(condition, rng)

    def needs(
        self, condition: States, point: Ints, rng: np.random.Generator, parts: Flags | None = None
    ) -> Needs:
        """Events of some draws, (n, C) conditions and (n,) grid points; of some parts only, (C,) flags."""
        wanted = np.ones(condition.shape[1], dtype=bool) if parts is None else parts
        spent_draw, spent_part = _places((condition == SPENT) & wanted)
        worn_draw, worn_part = _places((condition == WORN) & wanted)
        u_worn = rng.random(worn_draw.size, dtype=np.float32)
        year = self._worn_year.take(point.take(worn_draw) * wanted.size + worn_part)
        falls, stays = np.flatnonzero(u_worn < year), np.flatnonzero(u_worn >= year)
        sound_draw, sound_part, u_sound = self._sound_due(condition, point, wanted, rng)
        due_draw = np.concatenate([worn_draw.take(falls), sound_draw])
        due_part = np.concatenate([worn_part.take(falls), sound_part])
        u = np.concatenate([u_worn.take(falls), u_sound])
        kind = np.repeat([0, 1], [falls.size, sound_draw.size])
        curve = self.due[point.take(due_draw), due_part, kind]  # (E, M)
        month = 1 + (u[:, None] >= curve).sum(axis=1)
        return Needs(
            spent_draw=spent_draw,
            spent_part=spent_part,
            due_draw=due_draw,
            due_part=due_part,
            due_month=np.minimum(month, self.due.shape[-1]),
            due_worn=kind == 0,
            worn_draw=worn_draw.take(stays),
            worn_part=worn_part.take(stays),
        )

    def block(self, draws: Draws, rows: slice, rng: np.random.Generator, parts: Flags | None = None) -> Needs:
        """Events of a stretch of draws, numbered from its start."""
        return self.needs(self.conditions(draws, rows, rng), draws.point[rows], rng, parts)

    def _sound_due(
        self, condition: States, point: Ints, wanted: Flags, rng: np.random.Generator
    ) -> tuple[Ints, Ints, NDArray[np.float32]]:
        """Draw, part and uniform of the sound parts that fall due; few, so that only candidates are looked at."""
        n, parts = condition.shape
        hit = np.zeros((n, parts), dtype=bool)
        hit[struck(self.most_sound * wanted, n, rng)] = True
        draw, part = _places(hit)
        u = (rng.random(draw.size) * self.most_sound[part]).astype(np.float32)
        due = (condition[draw, part] == SOUND) & (u < self._sound_year[point[draw], part])
        return draw[due], part[due], u[due]


def _odds(chance: float) -> float:
    return chance / (1 - chance)


def _places(flags: Flags) -> tuple[Ints, Ints]:
    """Row and column of every true flag, in order: np.nonzero, faster on few true among many."""
    row = np.repeat(np.arange(flags.shape[0]), flags.sum(axis=1, dtype=np.int16))
    return row, np.flatnonzero(flags) - row * flags.shape[1]
