"""Frames of decisions (look_next, offering, choosing) -> charts. No colours or fonts: the theme owns them."""

from __future__ import annotations

import altair as alt
import pandas as pd

from estimator.views.charts import ROW, Layered, amount_format, name_above


def check_values(frame: pd.DataFrame, *, currency: str, title: str) -> Layered:
    """Bars of what each check is worth, in the order to make them, what it takes under its name.

    frame : `look_next.bars`.
    """
    top = max(float(frame["amount"].max()) * 1.05, 1.0)
    base = alt.Chart(frame).encode(
        y=alt.Y("place:O").axis(None).scale(paddingOuter=0.4),
        tooltip=[alt.Tooltip("check:N", title="Check"), alt.Tooltip("facts:N", title=" ")],
    )
    bar = base.mark_bar(height=9, cornerRadius=2).encode(
        x=alt.X("amount:Q")
        .title(title)
        .scale(domain=[0, top], nice=False)
        .axis(labelExpr=amount_format(currency), tickCount=4, grid=False)
    )
    name = name_above(base, "label", dy=-8)
    facts = base.mark_text(align="left", baseline="top", dy=8, fontSize=12, limit=345).encode(
        x=alt.value(0), text="facts:N"
    )
    return alt.layer(bar, name, facts).properties(height=(ROW + 28) * max(len(frame), 1) + 70)


def kinds(frame: pd.DataFrame) -> Layered:
    """Share of the expected cost by kind of figure.

    frame : `worked_out.by_kind`.
    """
    base = alt.Chart(frame).encode(
        y=alt.Y("place:O").axis(None).scale(paddingOuter=0.4),
        tooltip=[
            alt.Tooltip("kind:N", title="Kind"),
            alt.Tooltip("cost:Q", title="of the expected cost", format=".0%"),
            alt.Tooltip("spread:Q", title="of its spread", format=".0%"),
        ],
    )
    bar = base.mark_bar(height=10, cornerRadius=2).encode(
        x=alt.X("cost:Q")
        .title("Share of the expected cost")
        .scale(domain=[0, 1])
        .axis(format=".0%", tickCount=4)
    )
    return alt.layer(bar, name_above(base, "label")).properties(height=ROW * max(len(frame), 1) + 60)
