"""What goes into the forward pass and what comes out: frozen records of plain arrays.

Axes: C components, H odometer hypotheses, W levels of completeness, Q levels of care, Z points of
log life, N steps between N + 1 nodes, K = 3 conditions (spent, worn, sound), M = 12 months.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimator.wear.life import Lives

Floats = NDArray[np.float64]

MONTHS = 12


@dataclass(frozen=True)
class Renewal:
    """A paper or a word that says the part was renewed or overhauled at this node.

    Parameters
    ----------
    node : index of the node, 1..today. The renewal counts as that of the step which ends there.
    credibility : chance that it really happened to this car, 0..1.
    life_share : life of what was fitted as a share of a new part's, > 0.
    extra_age_years : effective age the part had when fitted (old stock from its moulding date), >= 0.
        It had not failed when fitted: nobody fits a part he can see is spent.
    """

    node: int
    credibility: float
    life_share: float = 1.0
    extra_age_years: float = 0.0

    def __post_init__(self) -> None:
        if not 0 <= self.credibility <= 1:
            raise ValueError(f"The credibility of a renewal must be 0 to 1, got {self.credibility:g}.")
        if not (self.life_share > 0 and np.isfinite(self.life_share)):
            raise ValueError(f"The life share of a renewal must be > 0, got {self.life_share:g}.")
        if not (self.extra_age_years >= 0 and np.isfinite(self.extra_age_years)):
            raise ValueError(f"The extra age of a renewal must be >= 0 years, got {self.extra_age_years:g}.")


@dataclass(frozen=True)
class Observation:
    """Somebody saw the part's condition at this node.

    Parameters
    ----------
    node : index of the node, 0..today.
    likelihood : P(what was reported | spent), (.. | worn), (.. | sound), each >= 0, not all 0.
    """

    node: int
    likelihood: tuple[float, float, float]

    def __post_init__(self) -> None:
        values = np.asarray(self.likelihood, float)
        if values.shape != (3,) or not ((values >= 0) & np.isfinite(values)).all() or not values.any():
            raise ValueError(
                f"An observation needs three likelihoods >= 0, not all 0, got {self.likelihood}."
            )


Entry = Renewal | Observation


@dataclass(frozen=True)
class PassInput:
    """Everything the forward pass needs to know about one car.

    Parameters
    ----------
    nodes_years : (N + 1,) strictly increasing, years since built.
    today : index of today's node, >= 1; the nodes must run at least a year past it.
    lives : Lives of C components.
    years_clock : (C, N + 1) effective age clock at each node, non-decreasing.
    km_clock : (H, C, N + 1) effective distance clock at each node, non-decreasing.
    life_factor : (C, Q, Z) multiplies both scales, > 0.
    deferral_years : (C, Q) mean time a spent part stays fitted, >= 0.
    precaution_rate : (C, Q) renewals per year of parts not yet spent, >= 0.
    replacement_life : (C, Q) life share of what unrecorded renewals fitted, > 0.
    recording : (W, Q, N) or (C, W, Q, N) chance that a renewal in the step would be on record, 0..1.
        Steps after today are not used.
    upkeep : (N,) or scalar, pace at which renewals happen in each step against ordinary years, >= 0: on a car
        that stands forgotten nothing is renewed, spent or not. Divides deferral, multiplies precaution.
    weight : (H, W, Q, Z) or (C, H, W, Q, Z) prior weights of the pass points, >= 0.
    entries : per component a sequence of Renewal and Observation, in any order; () = none at all.
        Several renewals of one component at one node count as one with credibility
        1 - prod(1 - c) and the life of the most credible; at one node observations follow renewals
        only if listed after them.
    future : also return the expected renewals per step after today.

    Raises
    ------
    ValueError
        Naming the field, for a wrong shape, an entry after today or a figure out of range.
    """

    nodes_years: Floats
    today: int
    lives: Lives
    years_clock: Floats
    km_clock: Floats
    life_factor: Floats
    deferral_years: Floats
    precaution_rate: Floats
    replacement_life: Floats
    recording: Floats
    weight: Floats
    entries: Sequence[Sequence[Entry]] = ()
    future: bool = False
    upkeep: Floats | float = 1.0

    def __post_init__(self) -> None:
        for name in _ARRAYS:
            object.__setattr__(self, name, np.asarray(getattr(self, name), float))
        if self.upkeep.ndim == 0:  # type: ignore[union-attr]
            object.__setattr__(self, "upkeep", np.full(self.nodes_years.size - 1, self.upkeep))
        if self.life_factor.ndim != 3:
            raise ValueError(f"life_factor must be (C, Q, Z), got shape {self.life_factor.shape}.")
        c, q, z = self.life_factor.shape
        n = self.nodes_years.size - 1
        h = self.km_clock.shape[0] if self.km_clock.ndim == 3 else -1
        w = self.recording.shape[-3] if self.recording.ndim >= 3 else -1
        shapes: dict[str, tuple[tuple[int, ...], ...]] = {
            "nodes_years": ((n + 1,),),
            "years_clock": ((c, n + 1),),
            "km_clock": ((h, c, n + 1),),
            "deferral_years": ((c, q),),
            "precaution_rate": ((c, q),),
            "replacement_life": ((c, q),),
            "recording": ((w, q, n), (c, w, q, n)),
            "weight": ((h, w, q, z), (c, h, w, q, z)),
            "upkeep": ((n,),),
        }
        for name, allowed in shapes.items():
            found = getattr(self, name).shape
            if found not in allowed:
                wanted = " or ".join(str(shape) for shape in allowed)
                raise ValueError(f"{name} must have shape {wanted}, got {found}.")
        if len(self.lives) != c:
            raise ValueError(f"lives holds {len(self.lives)} components, life_factor {c}.")
        if not 1 <= self.today <= n:
            raise ValueError(f"today must be a node index from 1 to {n}, got {self.today}.")
        self._check_values()
        self._check_entries(c)

    def _check_values(self) -> None:
        if not (np.diff(self.nodes_years) > 0).all():
            raise ValueError("nodes_years must increase strictly.")
        if self.nodes_years[-1] < self.nodes_years[self.today] + 1 - 1e-6:
            raise ValueError("The nodes must run at least a year past today.")
        for name in ("years_clock", "km_clock"):
            value = getattr(self, name)
            if not (np.isfinite(value).all() and (np.diff(value) >= 0).all()):
                raise ValueError(f"{name} must be finite and never fall.")
        for name, low, high in _RANGES:
            value = getattr(self, name)
            good = (value > 0 if low is None else value >= low) & (value <= high) & np.isfinite(value)
            if not good.all():
                raise ValueError(f"{name} is out of range: {value[~good].flat[0]:g}.")
        if not self.weight.sum() > 0:
            raise ValueError("weight must have a positive sum.")

    def _check_entries(self, c: int) -> None:
        if len(self.entries) not in (0, c):
            raise ValueError(
                f"entries must be empty or one sequence per component ({c}), got {len(self.entries)}."
            )
        for component, events in enumerate(self.entries):
            for event in events:
                first = 1 if isinstance(event, Renewal) else 0
                if not first <= event.node <= self.today:
                    raise ValueError(
                        f"An entry of component {component} is at node {event.node}; "
                        f"allowed are {first} to today's {self.today}."
                    )


_ARRAYS = (
    "nodes_years", "years_clock", "km_clock", "life_factor", "deferral_years",
    "precaution_rate", "replacement_life", "recording", "weight", "upkeep",
)  # fmt: skip

# field, lowest allowed (None: above zero), highest allowed
_RANGES: tuple[tuple[str, float | None, float], ...] = (
    ("life_factor", None, 1e6),
    ("deferral_years", 0.0, np.inf),
    ("precaution_rate", 0.0, 100.0),
    ("replacement_life", None, 1e6),
    ("recording", 0.0, 1.0),
    ("weight", 0.0, np.inf),
    ("upkeep", 0.0, np.inf),
)


@dataclass(frozen=True)
class PassResult:
    """What the forward pass says about today, per pass point.

    Parameters
    ----------
    condition : (C, H, W, Q, Z, 3) P(spent), P(worn), P(sound) today given the history; sums to 1.
    due : (C, H, W, Q, Z, 2, M) P(need within months 1..m | worn), (.. | sound), cumulative, month
        ends m / 12 year after today; nothing is renewed in between. 0 where the condition has no mass.
    log_likelihood : (C, H, W, Q, Z) of the component's history, up to a constant per component;
        -inf where the history is impossible (condition is then a third each).
    mean_age_years : (C, H, W, Q, Z) calendar age of the part fitted today, spent or not.
    fitted_age : (C, A) P(age of the part fitted today falls in the bin), over all points by weight
        times likelihood; the part it was built with is in the last bin.
    age_edges : (A + 1,) years, from 0 to the car's age.
    original_share : (C,) P(the part fitted today is the one it was built with), likewise averaged.
    future_renewals : None, or (C, H, W, Q, Z, N - today) expected renewals in each step after today.
    """

    condition: Floats
    due: Floats
    log_likelihood: Floats
    mean_age_years: Floats
    fitted_age: Floats
    age_edges: Floats
    original_share: Floats
    future_renewals: Floats | None = None
