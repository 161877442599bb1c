"""Tidy frames (estimator.views.frames) -> charts. No colours or fonts: the theme owns them. Nothing is told by
colour alone, and no figure is only in a tooltip: phones have no pointer."""

from __future__ import annotations

import altair as alt
import pandas as pd

from estimator.views import frames, words

Layered = alt.LayerChart | alt.FacetChart  # what alt.layer says it returns
ROW = 44  # height of a row with its words above the bar


def name_above(base: alt.Chart, field: str, *, dy: int = -8) -> alt.Chart:
    """Words at the left end of a row, above its bar: part names are too long for an axis on a phone."""
    mark = base.mark_text(align="left", baseline="bottom", dy=dy, fontSize=13, limit=345)
    return mark.encode(x=alt.value(0), text=f"{field}:N")


def amount_format(currency: str) -> str:
    """A Vega expression that writes an amount as on the rest of the page."""
    sample = words.money(0, currency).replace("0", "")
    return f"(datum.value < 0 ? '-' : '') + '{sample}' + format(abs(datum.value), ',.0f')"


def dots(frame: pd.DataFrame, *, currency: str, room: float | None = None) -> Layered:
    """Twenty dots, each an equally likely outcome; room, the sum up to which the budget
    holds, as a line; beyond it dots are hollow.

    frame : `frames.dots`.
    """
    tallest = int(frame["height"].max())
    top = float(frame["right"].max())
    base = alt.Chart(frame).encode(
        x=alt.X("middle:Q")
        .title("Cost in the first year")
        .axis(labelExpr=amount_format(currency), grid=False, labelOverlap=True, tickCount=6)
        .scale(domain=[0, top], nice=False),
        y=alt.Y("height:Q").axis(None).scale(domain=[0.3, max(tallest, 4) + 0.7]),
        tooltip=[alt.Tooltip("amount:Q", title="Outcome", format=",.0f"), alt.Tooltip("side:N", title=" ")],
    )
    hollow = alt.datum.side == frames.BEYOND
    layers: list[alt.Chart | Layered] = [
        base.transform_filter(~hollow).mark_point(filled=True, size=230, opacity=1),
        base.transform_filter(hollow).mark_point(filled=False, size=210, strokeWidth=2.5, opacity=1),
    ]
    if room is not None and room > 0:
        layers.append(_budget_line(min(room, top), beyond=room > top))
    return alt.layer(*layers).properties(height=28 * max(tallest, 4) + 90)


def _budget_line(room: float, *, beyond: bool = False) -> Layered:
    text = "the budget holds beyond this" if beyond else "the budget holds to here"
    data = pd.DataFrame({"room": [room], "text": [text]})
    rule = alt.Chart(data).mark_rule(strokeDash=[5, 4], strokeWidth=1.5).encode(x="room:Q")
    label = (
        alt.Chart(data)
        .mark_text(
            align="right" if beyond else "left", dx=4 if beyond else -4, baseline="bottom", fontSize=12
        )
        .encode(x="room:Q", y=alt.value(-3), text="text:N")
    )
    return alt.layer(rule, label)


def exceedance(frame: pd.DataFrame, *, currency: str, room: float | None = None) -> Layered:
    """Chance that the first year costs more than each amount, with room, the sum up to which the budget holds.

    frame : `frames.exceedance`.
    """
    curve = (
        alt.Chart(frame)
        .mark_line(strokeWidth=2.5, interpolate="step-after")
        .encode(
            x=alt.X("amount:Q")
            .title("Cost in the first year")
            .axis(labelExpr=amount_format(currency), grid=False, labelOverlap=True, tickCount=6),
            y=alt.Y("chance:Q").title("Chance of more").axis(format=".0%", tickCount=5).scale(domain=[0, 1]),
            tooltip=[
                alt.Tooltip("amount:Q", title="Cost", format=",.0f"),
                alt.Tooltip("chance:Q", title="Chance of more", format=".0%"),
            ],
        )
    )
    layers: list[alt.Chart | Layered] = [curve]
    top = float(frame["amount"].max())
    if room is not None and room > 0:
        layers.append(_budget_line(min(room, top), beyond=room > top))
    return alt.layer(*layers).properties(height=300)


def found_and_not(frame: pd.DataFrame, *, currency: str) -> Layered:
    """Found and not seen yet: the range that holds in four cases of five, with its middle.

    frame : `frames.found_and_not`.
    """
    base = alt.Chart(frame).encode(
        y=alt.Y("kind:N").title(None).axis(None).sort(["Found", "Not seen yet"]),
        tooltip=[
            alt.Tooltip("kind:N", title=" "),
            alt.Tooltip("low:Q", title="from", format=",.0f"),
            alt.Tooltip("middle:Q", title="as likely more as less", format=",.0f"),
            alt.Tooltip("high:Q", title="to", format=",.0f"),
        ],
    )
    x = (
        alt.X("low:Q")
        .title("Cost in the first year, four cases of five")
        .axis(labelExpr=amount_format(currency), labelOverlap=True, tickCount=5)
    )
    kind = alt.Color("kind:N").scale(domain=["Found", "Not seen yet"]).legend(None)
    bar = base.mark_bar(height=12, cornerRadius=2).encode(x=x, x2="high:Q", color=kind)
    middle = base.mark_tick(thickness=3, size=24, opacity=1).encode(x="middle:Q")
    label = name_above(base, "kind", dy=-12)
    return alt.layer(bar, middle, label).properties(height=2 * 52 + 70)


def parts(frame: pd.DataFrame, *, currency: str) -> Layered:
    """What each part costs if it needs doing (four cases of five, with the middle); the line is the thicker the
    likelier it needs doing in the first year.

    frame : `frames.parts`.
    """
    base = alt.Chart(frame).encode(
        y=alt.Y("place:O").axis(None).scale(paddingOuter=0.3),
        tooltip=[
            alt.Tooltip("part:N", title="Part"),
            alt.Tooltip("chance_year:Q", title="Needs doing in the first year", format=".0%"),
            alt.Tooltip("low:Q", title="if so, from", format=",.0f"),
            alt.Tooltip("high:Q", title="to", format=",.0f"),
            alt.Tooltip("found:N", title=" "),
        ],
    )
    span = base.mark_rule(strokeCap="round").encode(
        x=alt.X("low:Q")
        .title("Cost if it needs doing")
        .axis(labelExpr=amount_format(currency), labelOverlap=True, tickCount=5, orient="top"),
        x2="high:Q",
        strokeWidth=alt.StrokeWidth("chance_year:Q").scale(domain=[0, 1], range=[1.2, 13]).legend(None),
        color=alt.Color("found:N").scale(domain=["found", "not seen yet"]).title(None).legend(orient="top"),
    )
    middle = base.mark_tick(thickness=2.5, size=18, opacity=1).encode(x="middle:Q")
    label = name_above(base, "label", dy=-11)
    return alt.layer(span, middle, label).properties(height=ROW * max(len(frame), 1) + 110)


def why(frame: pd.DataFrame) -> Layered:
    """Steps in percentage points, each starting where the one before ended; the last ends at the chance itself.

    frame : `frames.why`.
    """
    base = alt.Chart(frame).encode(
        y=alt.Y("place:O").axis(None).scale(paddingOuter=0.3),
        tooltip=[
            alt.Tooltip("step:N", title="Step"),
            alt.Tooltip("points:Q", title="percentage points", format="+.1f"),
            alt.Tooltip("end:Q", title="sum so far", format=".1f"),
        ],
    )
    bar = base.mark_bar(height=9, cornerRadius=2).encode(
        x=alt.X("start:Q")
        .title("Chance that it needs doing now, per cent")
        .scale(domain=[0, 100])
        .axis(tickCount=5),
        x2="end:Q",
    )
    label = name_above(base, "label")
    return alt.layer(bar, label).properties(height=40 * max(len(frame), 1) + 70)


def months(frame: pd.DataFrame, *, currency: str) -> alt.Chart:
    """Expected cost falling due month by month after the purchase.

    frame : `frames.months`.
    """
    return (
        alt.Chart(frame)
        .mark_bar()
        .encode(
            x=alt.X("month:O").title("Month after the purchase").axis(labelAngle=0),
            y=alt.Y("mean:Q")
            .title("Falls due, on average")
            .axis(labelExpr=amount_format(currency), tickCount=4),
            tooltip=[
                alt.Tooltip("month:O", title="Month"),
                alt.Tooltip("mean:Q", title="On average", format=",.0f"),
            ],
        )
        .properties(height=230)
    )
