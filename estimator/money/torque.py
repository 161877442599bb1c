"""General tightening torques by thread and property class: a sanity check, never the figure to tighten to.

The maker's figure rules: general tables for one thread differ by a third among themselves, and a joint with
rubber, a soft metal, a gasket or a thin flange wants less (or an angle) than its bolt could bear.

    T = K d F,  F = 75 % of the proof load,  stress area A = pi / 4 (d - 0.9382 p)^2

Friction: K 0.20 dry, 0.17 zinc plated or as received, 0.15 oiled.

References
----------
ISO 898-1 (stress areas; proof stress of class 8.8 580 MPa to 16 mm, 600 MPa above; classes 10.9 and 12.9 830 and
970 MPa from memory). VDI 2230 (preload at 90 % of yield; scatter of preload by torque wrench 17 to 23 %).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, pi, sqrt

COARSE = {5: 0.8, 6: 1.0, 7: 1.0, 8: 1.25, 10: 1.5, 12: 1.75, 14: 2.0, 16: 2.0, 18: 2.5, 20: 2.5}
FINE = {8: 1.0, 10: 1.25, 12: 1.25, 14: 1.5, 16: 1.5, 18: 1.5, 20: 1.5}
CLASSES = ("8.8", "10.9", "12.9")
FRICTION = {"dry": 0.20, "zinc plated": 0.17, "oiled": 0.15}
SHARE_OF_PROOF = 0.75
_PROOF_MPA = {"8.8": (580.0, 600.0), "10.9": (830.0, 830.0), "12.9": (970.0, 970.0)}
_YIELD_MPA = {"8.8": (640.0, 660.0), "10.9": (940.0, 940.0), "12.9": (1100.0, 1100.0)}
_HEAD = 1.28  # mean diameter of friction under the head, times the thread's (hexagon heads, common practice)
ASSUMPTION = (
    "General figures for steel bolts in steel, 75 % of proof load; dry (K 0.20) to oiled (K 0.15). A torque "
    "wrench leaves the preload uncertain by a fifth either way. The maker's figure rules, always."
)


@dataclass(frozen=True)
class Thread:
    """A metric thread: nominal diameter and pitch, mm."""

    diameter_mm: float
    pitch_mm: float

    def __post_init__(self) -> None:
        if not 0 < self.pitch_mm < self.diameter_mm / 2:
            raise ValueError(
                f"A thread needs 0 < pitch < half its diameter, got {self.diameter_mm:g} x {self.pitch_mm:g}."
            )

    @classmethod
    def coarse(cls, diameter_mm: int) -> Thread:
        """The coarse thread of a size; ValueError naming the sizes there are."""
        if diameter_mm not in COARSE:
            raise ValueError(f"No coarse thread M{diameter_mm} is listed; there are {sorted(COARSE)}.")
        return cls(diameter_mm, COARSE[diameter_mm])

    @property
    def name(self) -> str:
        coarse = COARSE.get(int(self.diameter_mm)) == self.pitch_mm
        return f"M{self.diameter_mm:g}" + ("" if coarse else f" x {self.pitch_mm:g}")

    @property
    def stress_area_mm2(self) -> float:
        return pi / 4 * (self.diameter_mm - 0.9382 * self.pitch_mm) ** 2


def proof_load_kn(thread: Thread, grade: str) -> float:
    """Load a bolt of this class bears without lasting stretch, kN."""
    return thread.stress_area_mm2 * _of_size(_PROOF_MPA, thread, grade) / 1000


def general_torque_nm(thread: Thread, grade: str, *, friction: float = FRICTION["dry"]) -> float:
    """Torque for 75 % of proof load, Nm.

    Raises
    ------
    ValueError
        For an unknown class or a friction factor outside 0.05 to 0.4.
    """
    if not 0.05 <= friction <= 0.4:
        raise ValueError(f"The friction factor K must be 0.05 to 0.4, got {friction:g}.")
    return friction * thread.diameter_mm * SHARE_OF_PROOF * proof_load_kn(thread, grade)


def yield_preload_kn(thread: Thread, grade: str, *, mu: float) -> float:
    """Preload at which bolt stress, twist included, is 90 % of yield (VDI 2230), kN; mu in the thread."""
    d, p = thread.diameter_mm, thread.pitch_mm
    flank, core = d - 0.6495 * p, d - 1.2269 * p
    middle = (flank + core) / 2
    twist = 1.5 * flank / middle * (p / (pi * flank) + 1.155 * mu)
    stress = 0.9 * _of_size(_YIELD_MPA, thread, grade) / hypot(1.0, sqrt(3) * twist)
    return pi / 4 * middle**2 * stress / 1000


def yield_torque_nm(thread: Thread, grade: str, *, mu: float) -> float:
    """Torque for that preload, the same friction in thread and under the head, Nm."""
    d, p = thread.diameter_mm, thread.pitch_mm
    lever = 0.16 * p + 0.58 * (d - 0.6495 * p) * mu + _HEAD * d / 2 * mu
    return yield_preload_kn(thread, grade, mu=mu) * lever


def verdict(maker_nm: float, thread: Thread, grade: str) -> str:
    """What the general table says to a maker's figure: a slip of reading shows as far outside it."""
    low = general_torque_nm(thread, grade, friction=FRICTION["oiled"])
    high = general_torque_nm(thread, grade, friction=FRICTION["dry"])
    if maker_nm > 1.4 * high:
        return f"far above the general {low:.0f}-{high:.0f} Nm: read the figure, its unit and the bolt's class again"
    if maker_nm < 0.5 * low:
        return (
            f"far below the general {low:.0f}-{high:.0f} Nm: read it again; soft joints do have low figures"
        )
    return f"the general table has {low:.0f}-{high:.0f} Nm; the maker's {maker_nm:.0f} Nm rules"


def general_table(
    sizes: tuple[int, ...] = (6, 8, 10, 12, 14), grades: tuple[str, ...] = ("8.8", "10.9")
) -> tuple[tuple[str, str, float, float], ...]:
    """Rows (thread, class, oiled Nm, dry Nm) of the table printed on job cards."""
    return tuple(
        (
            Thread.coarse(size).name,
            grade,
            general_torque_nm(Thread.coarse(size), grade, friction=FRICTION["oiled"]),
            general_torque_nm(Thread.coarse(size), grade, friction=FRICTION["dry"]),
        )
        for size in sizes
        for grade in grades
    )


def _of_size(table: dict[str, tuple[float, float]], thread: Thread, grade: str) -> float:
    if grade not in table:
        raise ValueError(f"Property class {grade!r} is not listed; there are {', '.join(table)}.")
    return table[grade][0 if thread.diameter_mm <= 16 else 1]
