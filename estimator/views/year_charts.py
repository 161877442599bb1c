"""Frames of the first year and of the years after (first_year, keeping) -> charts. The theme owns colours and fonts."""

from __future__ import annotations

import altair as alt
import pandas as pd

from estimator.views import first_year
from estimator.views.charts import Layered, amount_format


def cash_band(frame: pd.DataFrame, spent: pd.DataFrame, *, currency: str) -> Layered:
    """Spent so far by month: band of four cases of five, the middle, money there as steps, really paid as dots.

    frame, spent : `first_year.band`, `first_year.spent`.
    """
    x = alt.X("month:T").title(None).axis(format="%b", tickCount=6, grid=False, labelOverlap=True)
    base = alt.Chart(frame)
    tip = [
        alt.Tooltip("month:T", title="Month", format="%b %Y"),
        alt.Tooltip("low:Q", title="from", format=",.0f"),
        alt.Tooltip("middle:Q", title="as likely more as less", format=",.0f"),
        alt.Tooltip("high:Q", title="to", format=",.0f"),
    ]
    y = alt.Y("low:Q").title("Spent so far").axis(labelExpr=amount_format(currency), tickCount=5)
    area = base.mark_area(opacity=0.3).encode(x=x, y=y, y2="high:Q", tooltip=tip)
    middle = base.mark_line(strokeWidth=2.5).encode(x=x, y="middle:Q", tooltip=tip)
    layers: list[alt.Chart | Layered] = [area, middle]
    if frame["money"].notna().any():
        there = base.mark_line(strokeDash=[5, 4], strokeWidth=1.5, interpolate="step-after")
        layers.append(there.encode(x=x, y="money:Q"))
        last = alt.Chart(frame.tail(1).assign(text="money there"))
        layers.append(
            last.mark_text(align="right", baseline="bottom", dy=-5, fontSize=12).encode(
                x=x, y="money:Q", text="text:N"
            )
        )
    if not spent.empty:
        paid = alt.Chart(spent).mark_point(filled=False, size=110, strokeWidth=2.5, opacity=1)
        layers.append(
            paid.encode(
                x=x, y="amount:Q", tooltip=[alt.Tooltip("amount:Q", title="really paid", format=",.0f")]
            )
        )
    return alt.layer(*layers).properties(height=300)


def months(frame: pd.DataFrame, *, currency: str) -> alt.Chart:
    """Expected cost by month, planned jobs and what turns up besides on top of each other.

    frame : `first_year.months`.
    """
    kinds = [first_year.PLANNED, first_year.TURNS_UP]
    return (
        alt.Chart(frame)
        .mark_bar()
        .encode(
            x=alt.X("yearmonth(month):O").title(None).axis(format="%b", labelAngle=0, labelOverlap=True),
            y=alt.Y("mean:Q")
            .title("Expected in the month")
            .axis(labelExpr=amount_format(currency), tickCount=4),
            color=alt.Color("kind:N").scale(domain=kinds).title(None).legend(orient="top"),
            order=alt.Order("kind:N"),
            tooltip=[
                alt.Tooltip("month:T", title="Month", format="%b %Y"),
                alt.Tooltip("kind:N", title=" "),
                alt.Tooltip("mean:Q", title="on average", format=",.0f"),
            ],
        )
        .properties(height=240)
    )
