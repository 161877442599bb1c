"""Frames of the first year and of the years after (first_year, keeping) -> charts. The theme owns colours and fonts."""

from __future__ import annotations

import altair as alt
import pandas as pd

from estimator.views import first_year
from estimator.views.charts import ROW, Layered, amount_format, name_above


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


def keeping_years(frame: pd.DataFrame, bands: pd.DataFrame, *, currency: str) -> Layered:
    """Cost of each year by what it goes on, with the band of the whole year.

    frame, bands : `keeping.years`, `keeping.bands`.
    """
    groups = list(frame["group"].unique())
    bars = (
        alt.Chart(frame)
        .mark_bar()
        .encode(
            x=alt.X("year:O").title("Year").axis(labelAngle=0, labelOverlap=True),
            y=alt.Y("mean:Q").title("Cost of the year").axis(labelExpr=amount_format(currency), tickCount=5),
            color=alt.Color("group:N")
            .scale(domain=groups)
            .sort(groups)
            .title(None)
            .legend(orient="top", columns=3),
            tooltip=[
                alt.Tooltip("year:O", title="Year"),
                alt.Tooltip("group:N", title=" "),
                alt.Tooltip("mean:Q", title="on average", format=",.0f"),
            ],
        )
    )
    base = alt.Chart(bands).encode(x="year:O")
    rule = base.mark_rule(strokeWidth=1.5).encode(y="low:Q", y2="high:Q")
    ends = base.mark_tick(thickness=1.5, size=9, opacity=1)
    return alt.layer(bars, rule, ends.encode(y="low:Q"), ends.encode(y="high:Q")).properties(height=340)


def keeping_split(frame: pd.DataFrame, *, currency: str) -> Layered:
    """What it goes on over all the years; below zero the car gains.

    frame : `keeping.split`.
    """
    base = alt.Chart(frame).encode(
        y=alt.Y("place:O").axis(None).scale(paddingOuter=0.3),
        tooltip=[
            alt.Tooltip("name:N", title=" "),
            alt.Tooltip("nominal:Q", title="money of the day", format=",.0f"),
            alt.Tooltip("present:Q", title="today's money", format=",.0f"),
        ],
    )
    bar = base.mark_bar(height=9, cornerRadius=2).encode(
        x=alt.X("nominal:Q")
        .title("Over all the years, on average")
        .axis(labelExpr=amount_format(currency), tickCount=4, labelOverlap=True)
    )
    return alt.layer(bar, name_above(base, "label")).properties(height=ROW * max(len(frame), 1) + 60)
