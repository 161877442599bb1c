"""One chunk of components carried from built to today (and on), step by step.

Semi-Markov process with deferral: fitted -> spent -> stays fitted for an exponential time of mean
D -> renewed. Per step of length h, births at mid step, a renewal inside the step allowed:

    e = exp(-h / D), q = 1 - e, q1 = 1 - (1 - e) D / h, p = 1 - S(mid step -> end), t = 1 - k
    r = t (q b + q0 f0 + g0) / (1 - t (q1 p + g1 (1 - p))),  b' = e b + (1 - q0) f0 + (1 - q1) r p

with b the spent mass, f0 failures of older cohorts and g0 their precautionary renewals at rate a,
two risks that run side by side, g1 = 1 - exp(-a h / 2) the precautions among parts just fitted, q0
like q1 but for failures that grow within the step (`within_step`), and k the chance that a renewal
in the step would be on record. Mass falls where a record would have been: what is left is the
likelihood of silence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.wear.ages import AgeLedger, look_nodes
from estimator.wear.cohorts import Columns, Survival, lay_out
from estimator.wear.entries import SeenTerms, by_node, tells_worn_from_sound
from estimator.wear.life import Lives
from estimator.wear.records import Entry, Observation, Renewal
from estimator.wear.within_step import AT_ONCE_YEARS, FailureGrowth, StepShares, step_shares

Floats = NDArray[np.float64]

_SMALL_MASS = 1e-60  # below this a point's weights are scaled up again and the logarithm is kept
_LOOK_EVERY = 4  # steps
_MOST_INSIDE = 1 - 1e-12  # parts shorter-lived than half a step: renewals within it stay finite
_TINY = 1e-300


@dataclass(frozen=True)
class Chunk:
    """Inputs of a few components, axes ordered (c, H, Q, Z, W) for the points.

    kept_years (N + 1,) years of upkeep at each node, on which deferral and precaution run;
    clocks (c, H, 2, N + 1); life_factor (c, Q, Z); deferral_years, precaution_rate and
    replacement_life (c, Q); recording (c or 1, 1, Q, 1, W, N); weight (c, H, Q, Z, W).
    Only a single component may have observations that tell worn from sound.
    """

    nodes_years: Floats
    kept_years: Floats
    today: int
    steps: int
    lives: Lives
    clocks: Floats
    life_factor: Floats
    deferral_years: Floats
    precaution_rate: Floats
    replacement_life: Floats
    recording: Floats
    weight: Floats
    entries: list[dict[int, list[Entry]]]


class Sweep:
    """State of the pass: weights of all cohorts, spent mass, logarithm of what has been scaled out."""

    def __init__(self, chunk: Chunk, *, ages: bool = True) -> None:
        self.chunk = chunk
        c, h = chunk.clocks.shape[:2]
        q, z = chunk.life_factor.shape[1:]
        levels = chunk.recording.shape[4]
        self.points = (c, h, q, z, levels)
        self.columns = _columns(chunk)
        self.survival = Survival(chunk.lives, chunk.life_factor, self.columns)
        run = np.diff(chunk.clocks, axis=-1)[..., : chunk.steps] / 2
        self.fails_inside = np.minimum(1 - self.survival.of_step(run, chunk.replacement_life), _MOST_INSIDE)
        self.weight = np.zeros((*self.points, self.columns.birth_years.size))
        self.weight[..., 0] = 1.0
        self.alive = np.ones(self.points)
        self.spent = np.zeros(self.points)
        self.log_scale = np.zeros(self.points)
        self._failures = FailureGrowth(
            chunk.nodes_years,
            chunk.kept_years,
            chunk.clocks,
            chunk.deferral_years[:, None, :, None, None],
            self.points,
        )
        self.rate = chunk.precaution_rate[:, None, :, None, None]
        self._kept_shares: dict[float, StepShares] = {}
        self._most_rate = float(self.rate.max())
        self.since = chunk.kept_years[0]  # weights stand for masses at this time of upkeep
        tells = [tells_worn_from_sound([e for g in table.values() for e in g]) for table in chunk.entries]
        self.seen = SeenTerms(self.columns.birth_years.size) if any(tells) else None
        if self.seen is not None and c > 1:
            raise ValueError("Observations that tell worn from sound need a chunk of their own.")
        age_today = chunk.nodes_years[chunk.today]
        self.ages: AgeLedger | None = None
        if ages:
            self.ages = AgeLedger(
                self.columns.birth_years,
                age_today=age_today,
                entry_columns=self.columns.of_entry.values(),
                point_shape=self.points,
            )
        self._looks = look_nodes(chunk.nodes_years, chunk.today) if ages else set()
        self._event_nodes = {node for table in chunk.entries for node in table}

    def to_today(self) -> None:
        """Carry the mass to today, entries of today included."""
        self._apply_entries(0)
        for step in range(self.chunk.today):
            self._step(step, 1.0 - self.chunk.recording[..., step])
            self._apply_entries(step + 1)
            if step % _LOOK_EVERY == 0 or step + 1 in self._event_nodes:
                self._rescale(self.chunk.kept_years[step + 1])

    def onwards(self) -> Floats:
        """Expected renewals per step after today, (X, steps - today), per unit of mass today."""
        self.ages = None
        self._rescale(self.chunk.kept_years[self.chunk.today], always=True)
        out = np.empty((*self.points, self.chunk.steps - self.chunk.today))
        for step in range(self.chunk.today, self.chunk.steps):  # silence tells nothing: mass stays one
            out[..., step - self.chunk.today] = self._step(step, 1.0)
            self._rescale(self.chunk.kept_years[step + 1])
        return out

    def mass(self) -> Floats:
        return self.alive + self.spent

    def held_until(self, node: int) -> Floats:
        """Share that escaped precautionary renewal since the weights were last scaled; (c,1,Q,1,1)."""
        return np.exp(-self.rate * (self.chunk.kept_years[node] - self.since))

    def survivors(self, node: int, n: int) -> Floats:
        """(c, H, Q, Z, n) survival of the first n columns at a node, seen conditions included."""
        exponents = self.survival.exponents(self.chunk.clocks[..., node], n)
        if self.seen is None:
            return self.survival.alive(exponents)
        self.seen.fold(exponents)
        total = self.survival.alive(exponents) * self.seen.plain[:n]
        for level, c in self.seen.terms:
            m = level.shape[-1]
            total[..., :m] += c * self.survival.alive(np.maximum(exponents[..., :m], level))
        return total

    def _step(self, step: int, silence: Floats | float) -> Floats:
        """Advance one step; returns the mass fitted in it."""
        n = int(self.columns.before_step[step])
        shares = self._shares(step)
        inside = self.fails_inside[..., step, None]
        survival = self.survivors(step + 1, n)
        lived = np.vecdot(self.weight[..., :n], survival[..., None, :]) * self.held_until(step)
        older = lived * shares.held
        # both risks run through the whole step: half of the precautions come before a failure
        failed = np.maximum(self.alive - lived, 0.0) * shares.held_half
        q0 = self._failures.renewed_before_end(step, failed)
        precautions = np.maximum(self.alive - older - failed, 0.0)
        wanted = (1 - shares.left) * self.spent + q0 * failed + precautions
        new_again = shares.renewed * inside + (1 - shares.held_half) * (1 - inside)
        fitted = silence * wanted / (1 - silence * new_again)
        new_alive = fitted * (shares.held_half * (1 - inside))
        self.spent = shares.left * self.spent + (1 - q0) * failed + fitted * ((1 - shares.renewed) * inside)
        self.alive = older + new_alive
        held_all = self.held_until(step + 1)
        self.weight[..., n] = fitted * (shares.held_half / held_all)
        if self.ages is not None:
            self.ages.stepped(column=n, fitted=fitted, kept=shares.left, held=shares.held)
            if step + 1 in self._looks or step + 1 in self._event_nodes:
                per_group = self.ages.per_group(self.weight, survival) * held_all[..., None]
                per_group[..., self.ages.group_of[n]] += new_alive
                self.ages.look(per_group, self.spent)
        return fitted

    def _shares(self, step: int) -> StepShares:
        years = float(self.chunk.kept_years[step + 1] - self.chunk.kept_years[step])
        key = round(years, 9)
        if key not in self._kept_shares:
            self._kept_shares[key] = step_shares(
                deferral_years=self.chunk.deferral_years[:, None, :, None, None],
                precaution_rate=self.rate,
                step_years=years,
            )
        return self._kept_shares[key]

    def _apply_entries(self, node: int) -> None:
        if node not in self._event_nodes:
            return
        for index, table in enumerate(self.chunk.entries):
            for event in table.get(node, []):
                if isinstance(event, Renewal):
                    self._renew(index, event)
                else:
                    self._observe(index, event)

    def _renew(self, index: int, event: Renewal) -> None:
        """True with credibility c: all mass moves to age zero; false: it stays as it is.

        The factor of a point is c k r / mean(k r) + (1 - c), r the rate of renewals at the node per
        unit of mass, b / D + a (not spent); the mean is over the component's points by prior weight
        and history so far. The first term's share of the factor is the fraction moved.
        """
        mass = self.alive[index] + self.spent[index]
        deferral = np.maximum(self.chunk.deferral_years[index][None, :, None, None], AT_ONCE_YEARS)
        rate = self.spent[index] / deferral + self.rate[index] * self.alive[index]
        recording = self.chunk.recording[index % self.chunk.recording.shape[0], ..., event.node - 1]
        prior = self.chunk.weight[index] * np.exp(
            self.log_scale[index] - max(float(self.log_scale[index].max()), -1e300)
        )
        for moved in (recording * rate, rate, mass):
            mean = (prior * moved).sum() / max(float((prior * mass).sum()), _TINY)
            if mean > 0:  # else no renewal was possible or none would be on record: it tells nothing
                break
        doubt = 1 - event.credibility
        renewed = event.credibility * moved / max(mean, _TINY)
        column = self.columns.of_entry[event.node]
        if self.seen is not None:
            self.seen.forget(column)
        self.weight[index, ..., :column] *= doubt
        at_birth: Floats | float = 1.0
        if event.extra_age_years:
            exponents = self.survival.exponents(self.chunk.clocks[..., event.node], column + 1)[..., -1:]
            at_birth = np.maximum(self.survival.alive(exponents)[index, ..., :1], 1e-12)
        held = self.held_until(event.node)[index]
        self.weight[index, ..., column] = renewed / (held * at_birth)
        self.alive[index] = self.alive[index] * doubt + renewed
        self.spent[index] *= doubt
        self._failures.density[index] *= doubt
        if self.ages is not None:
            self.ages.alive[index] *= doubt
            self.ages.spent[index] *= doubt
            self.ages.alive[index, ..., self.ages.group_of[column]] += renewed

    def _observe(self, index: int, event: Observation) -> None:
        spent, worn, sound = event.likelihood
        self.spent[index] *= spent
        if self.ages is not None:
            self.ages.spent[index] *= spent
        n = int(self.columns.before_step[event.node])
        if worn == sound:
            self.weight[index, ..., :n] *= worn
            self.alive[index] *= worn
            self._failures.density[index] *= worn
            if self.ages is not None:
                self.ages.alive[index] *= worn
            return
        assert self.seen is not None
        exponents = self.survival.exponents(self.chunk.clocks[..., event.node], n)
        self.seen.observe(exponents * self.survival.warned[:, None, None, :, None], worn=worn, sound=sound)
        self._failures.density[index] = 0.0
        survival = self.survivors(event.node, n)
        held = self.held_until(event.node)
        self.alive = np.vecdot(self.weight[..., :n], survival[..., None, :]) * held
        np.maximum(self.alive, 0.0, out=self.alive)  # sums of terms of both signs: rounding only
        if self.ages is not None:
            self.ages.alive = self.ages.per_group(self.weight, survival) * held[..., None]

    def _rescale(self, years: float, *, always: bool = False) -> None:
        """Before weights leave the range of doubles, scale the mass of each point back to one."""
        mass = self.alive + self.spent
        span = years - self.since
        if not always and mass.min() > _SMALL_MASS and self._most_rate * span < 200:
            return
        safe = np.where(mass > 0, mass, 1.0)
        self.weight *= (np.exp(-self.rate * span) / safe)[..., None]
        self.alive = self.alive / safe
        self.spent = self.spent / safe
        self._failures.density /= safe
        if self.ages is not None:
            self.ages.scale(1 / safe)
        with np.errstate(divide="ignore"):
            self.log_scale = self.log_scale + np.log(mass)
        self.since = years


def _columns(chunk: Chunk) -> Columns:
    """Columns of the chunk, with the life and age of what each renewal entry fitted."""
    renewals = [
        (index, event)
        for index, table in enumerate(chunk.entries)
        for group in table.values()
        for event in group
        if isinstance(event, Renewal)
    ]
    columns = lay_out(
        chunk.nodes_years,
        chunk.clocks,
        chunk.replacement_life,
        steps=chunk.steps,
        entry_nodes=[event.node for _, event in renewals],
    )
    for index, event in renewals:
        column = columns.of_entry[event.node]
        columns.share[index, :, column] = event.life_share
        columns.birth_clock[index, :, 1, column] -= event.extra_age_years
    return columns


def chunk_entries(entries: list[list[Entry]]) -> list[dict[int, list[Entry]]]:
    """Per component the events by node, the renewals of one node merged."""
    return [by_node(events) for events in entries]
