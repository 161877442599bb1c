"""A fitted life as text for a terminal."""

from __future__ import annotations

from estimator.wear.fitting import LifeFit


def fit_text(found: LifeFit) -> str:
    """What `estimator fit` prints."""
    rows = [f"{found.n} units, {found.failed} failed; intervals of {100 * found.level:g} in 100"]
    for clock, fit in found.clocks.items():
        rows.append(
            f"  {clock:<10} shape {fit.shape:.4g} ({_span(fit.shape_interval)})  "
            f"scale {fit.scale:.6g} ({_span(fit.scale_interval)})"
        )
    rate = "" if found.distance_per_year is None else f" at {found.distance_per_year:,.0f} a year"
    rows.append(f"  one in ten has failed by {found.b10:,.5g}, half by {found.b50:,.5g} ({found.unit}{rate})")
    rows.append(f"  log likelihood {found.log_likelihood:.4f}")
    if found.blend is not None:
        b = found.blend
        rows.append(
            f"  with the elicited {b.prior[0]:,.5g} and {b.prior[1]:,.5g}, the data weighing {b.weight:.2f}: "
            f"b10 = {b.b10:,.5g}, b50 = {b.b50:,.5g}"
        )
    return "\n".join([*rows, *(f"  * {note}" for note in found.notes)])


def _span(interval: tuple[float | None, float | None]) -> str:
    low, high = ("open" if end is None else f"{end:.5g}" for end in interval)
    return f"{low} to {high}"
