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


def prices(frame: pd.DataFrame, *, currency: str) -> Layered:
    """The prices on one line of money, lowest first.

    frame : `offering.prices`.
    """
    top = max(float(frame["amount"].max()) * 1.04, 1.0)
    low = float(frame["amount"].min())
    start = 0.0 if low < 0.4 * top else low - 0.1 * (top - low)
    base = alt.Chart(frame).encode(
        y=alt.Y("place:O").axis(None).scale(paddingOuter=0.4),
        tooltip=[alt.Tooltip("name:N", title="Price"), alt.Tooltip("amount:Q", title=" ", format=",.0f")],
    )
    x = (
        alt.X("amount:Q")
        .title("Price")
        .scale(domain=[start, top], nice=False)
        .axis(labelExpr=amount_format(currency), tickCount=4, labelOverlap=True)
    )
    asked = alt.datum.id == "asking"
    dot = base.transform_filter(~asked).mark_point(filled=True, size=170, opacity=1).encode(x=x)
    hollow = base.transform_filter(asked).mark_point(filled=False, size=150, strokeWidth=2.5, opacity=1)
    line = (
        base.transform_calculate(origin=str(start))
        .mark_rule(strokeDash=[2, 4], opacity=0.6)
        .encode(x=alt.X("origin:Q").scale(domain=[start, top], nice=False), x2="amount:Q")
    )
    return alt.layer(line, dot, hollow.encode(x=x), name_above(base, "label", dy=-7)).properties(
        height=ROW * max(len(frame), 1) + 70
    )


def budget_holds(frame: pd.DataFrame, marks: pd.DataFrame, *, currency: str) -> Layered:
    """Chance that price and first year stay within the budget, by price, with the limit and the price asked.

    frame, marks : `offering.curve`, `offering.marks`.
    """
    curve = (
        alt.Chart(frame)
        .mark_line(strokeWidth=2.5)
        .encode(
            x=alt.X("price:Q")
            .title("Price paid")
            .axis(labelExpr=amount_format(currency), grid=False, tickCount=5, labelOverlap=True),
            y=alt.Y("chance:Q")
            .title("The budget holds")
            .axis(format=".0%", tickCount=5)
            .scale(domain=[0, 1]),
            tooltip=[
                alt.Tooltip("price:Q", title="Price", format=",.0f"),
                alt.Tooltip("chance:Q", title="Budget holds", format=".0%"),
            ],
        )
    )
    rule = alt.Chart(marks).mark_rule(strokeDash=[5, 4], strokeWidth=1.5).encode(x="price:Q")
    limit = alt.datum.name == "limit"
    above = alt.Chart(marks).transform_filter(limit).mark_text(align="right", dx=-4, fontSize=12)
    below = alt.Chart(marks).transform_filter(~limit).mark_text(align="left", dx=4, fontSize=12)
    names = [
        above.encode(x="price:Q", y=alt.value(12), text="name:N"),
        below.encode(x="price:Q", y=alt.value(28), text="name:N"),
    ]
    return alt.layer(curve, rule, *names).properties(height=280)


def concessions(frame: pd.DataFrame, *, currency: str) -> Layered:
    """What each concession raises the limit by.

    frame : `offering.concessions`.
    """
    top = max(float(frame["worth"].max()) * 1.05, 1.0)
    base = alt.Chart(frame).encode(
        y=alt.Y("place:O").axis(None).scale(paddingOuter=0.4),
        tooltip=[alt.Tooltip("label:N", title=" "), alt.Tooltip("bill:N", title=" ")],
    )
    bar = base.mark_bar(height=9, cornerRadius=2).encode(
        x=alt.X("worth:Q")
        .title("Raises your limit by")
        .scale(domain=[0, top], nice=False)
        .axis(labelExpr=amount_format(currency), tickCount=4, grid=False)
    )
    bill = base.mark_text(align="left", baseline="top", dy=8, fontSize=12, limit=345).encode(
        x=alt.value(0), text="bill:N"
    )
    return alt.layer(bar, name_above(base, "label"), bill).properties(
        height=(ROW + 26) * max(len(frame), 1) + 60
    )


def side_by_side(frame: pd.DataFrame, *, currency: str, title: str, with_price: bool) -> Layered:
    """Ranges of several cars under each other (four cases of five, with the middle); the price as a hollow mark.

    frame : `choosing.costs` or `choosing.gains`.
    """
    base = alt.Chart(frame).encode(
        y=alt.Y("place:O").axis(None).scale(paddingOuter=0.4),
        tooltip=[
            alt.Tooltip("case:N", title="Car"),
            alt.Tooltip("low:Q", title="from", format=",.0f"),
            alt.Tooltip("middle:Q", title="as likely more as less", format=",.0f"),
            alt.Tooltip("high:Q", title="to", format=",.0f"),
        ],
    )
    bar = base.mark_bar(height=10, cornerRadius=2).encode(
        x=alt.X("low:Q")
        .title(title)
        .axis(labelExpr=amount_format(currency), tickCount=4, labelOverlap=True)
        .scale(zero=True),
        x2="high:Q",
    )
    middle = base.mark_tick(thickness=3, size=22, opacity=1).encode(x="middle:Q")
    layers: list[alt.Chart | Layered] = [bar, middle, name_above(base, "label", dy=-9)]
    if with_price:
        layers.append(base.mark_point(filled=False, size=110, strokeWidth=2.5, opacity=1).encode(x="price:Q"))
    facts = base.mark_text(align="left", baseline="top", dy=9, fontSize=12, limit=345).encode(
        x=alt.value(0), text="facts:N"
    )
    return alt.layer(*layers, facts).properties(height=(ROW + 30) * max(len(frame), 1) + 70)
