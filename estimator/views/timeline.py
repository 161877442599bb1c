"""The papers of a case on a line of time: entries -> tidy frame -> chart."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

import altair as alt
import pandas as pd

from estimator.case import Case, Coverage, Lived, Test, Work
from estimator.casefile.words import in_unit
from estimator.catalogue.load import Catalogue
from estimator.views import words
from estimator.views.charts import Layered

LANES = ("Kept and used", "Papers complete", "Tests", "Work done", "Looked at")
SHAPES = {"renewed": "circle", "overhauled": "diamond", "adjusted": "triangle-up", "looked at": "square",
          "passed": "stroke", "passed with advice": "cross", "refused": "triangle-down"}  # fmt: skip


def work_name(entry: Work, catalogue: Catalogue) -> str:
    """What an entry is about, in words: the part, or the kit with its depth."""
    if entry.kit is not None:
        kit = catalogue.kits.get(entry.kit)
        name = kit.name if kit else entry.kit
        depth = f", {words.DEPTHS.get(entry.depth, entry.depth.replace('-', ' '))}" if entry.depth else ""
        return words.sentence(name) + depth
    part = catalogue.components.get(entry.component or "")
    return words.sentence(part.name if part else entry.component or "")


def work_line(entry: Work) -> str:
    """The rest of a work entry in a line: what was done, with what, how it is known."""
    pieces = [words.CHOICES["what"][entry.what]]
    if entry.fitted != "unknown":
        pieces.append(words.CHOICES["fitted"][entry.fitted])
    if entry.side != "both":
        pieces.append(f"{entry.side} side")
    pieces.append(words.CHOICES["evidence"][entry.evidence])
    return ", ".join(pieces)


def lived_line(entry: Lived) -> str:
    """How the car was kept in a period."""
    known = [
        words.CHOICES[key][value]
        for key, value in (("use", entry.use), ("storage", entry.storage), ("climate", entry.climate))
        if value != "unknown"
    ]
    return ", ".join(known) or "nothing known"


def coverage_line(entry: Coverage) -> str:
    """What the papers of a period claim."""
    own = ", own work too" if entry.own_work else ""
    return f"{words.percent(entry.completeness)} complete{own}"


def test_line(entry: Test, catalogue: Catalogue) -> str:
    """An official test and what it named."""
    names = [catalogue.components[c].name for c in entry.components if c in catalogue.components]
    result = words.CHOICES["test_result"][entry.result]
    return f"{result}: {', '.join(names)}" if names else result


def history(case: Case, catalogue: Catalogue) -> pd.DataFrame:
    """Everything dated: lane, start, end (missing for a day), kind, text."""
    columns = ["lane", "start", "end", "kind", "text"]
    frame = pd.DataFrame(list(_rows(case, catalogue)), columns=columns)
    for column in ("start", "end"):
        frame[column] = pd.to_datetime(frame[column])
    return frame


Row = tuple[str, datetime.date, datetime.date | None, str, str]


def _rows(case: Case, catalogue: Catalogue) -> Iterator[Row]:
    for period in case.lived:
        yield LANES[0], period.start, period.end, "period", lived_line(period)
    for claim in case.coverage:
        yield LANES[1], claim.start, claim.end, "period", coverage_line(claim)
    for test in case.test:
        yield LANES[2], test.date, None, words.CHOICES["test_result"][test.result], test_line(test, catalogue)
    for entry in case.work:
        seen = entry.what.startswith("seen-")
        kind = "looked at" if seen else entry.what
        text = f"{work_name(entry, catalogue)}: {work_line(entry)}"
        yield LANES[4] if seen else LANES[3], entry.date, None, kind, text


def readings(case: Case) -> pd.DataFrame:
    """Odometer readings in the case's unit, replaced odometers added: date, distance, shown."""
    unit = case.car.unit
    rows = [(r.date, in_unit(r.km, unit), in_unit(r.shown_km, unit)) for r in case.dated_readings]
    frame = pd.DataFrame(rows, columns=["date", "distance", "shown"])
    frame["date"] = pd.to_datetime(frame["date"])
    return frame


def _axis(case: Case, field: str) -> alt.X:
    """Years from when the car was built to today."""
    span = [case.car.built.isoformat(), case.today.isoformat()]
    return (
        alt.X(f"{field}:T")
        .title(None)
        .scale(domain=span)
        .axis(format="%Y", tickCount=6, labelOverlap=True, grid=True)
    )


def chart(frame: pd.DataFrame, *, case: Case) -> Layered:
    """The timeline: periods as bars, days as marks whose shape says what was done.

    frame : `history`.
    """
    used = [lane for lane in LANES if (frame["lane"] == lane).any()]
    lanes = (
        alt.Y("lane:N")
        .sort(used)
        .scale(domain=used)
        .title(None)
        .axis(labelLimit=120, domain=False, ticks=False)
    )
    tips = [
        alt.Tooltip("text:N", title=" "),
        alt.Tooltip("start:T", title="from", format="%d %b %Y"),
        alt.Tooltip("end:T", title="to", format="%d %b %Y"),
    ]
    base = alt.Chart(frame).encode(y=lanes, tooltip=tips)
    is_period = alt.datum.kind == "period"
    bars = (
        base.transform_filter(is_period)
        .mark_bar(height=16, cornerRadius=2, opacity=0.55)
        .encode(x=_axis(case, "start"), x2="end:T", stroke=alt.value("currentColor"))
    )
    kinds = [k for k in SHAPES if (frame["kind"] == k).any()]
    shape = alt.Shape("kind:N").scale(domain=kinds, range=[SHAPES[k] for k in kinds]).title(None)
    marks = (
        base.transform_filter(~is_period)
        .mark_point(size=110, strokeWidth=2, opacity=0.9)
        .encode(
            x=_axis(case, "start"),
            shape=shape.legend(orient="bottom", columns=2, symbolFillColor="transparent")
            if kinds
            else alt.value("circle"),
        )
    )
    return alt.layer(bars, marks).properties(height=36 * max(len(used), 1) + 110)


def readings_chart(frame: pd.DataFrame, *, case: Case) -> Layered:
    """Distance over time through the dated readings.

    frame : `readings`.
    """
    base = alt.Chart(frame).encode(
        x=_axis(case, "date"),
        y=alt.Y("distance:Q").title(f"Odometer, {case.car.unit}").axis(format=",.0f", tickCount=4),
        tooltip=[
            alt.Tooltip("date:T", title="On", format="%d %b %Y"),
            alt.Tooltip("shown:Q", title="Shown", format=",.0f"),
        ],
    )
    return alt.layer(base.mark_line(strokeWidth=1.5), base.mark_point(filled=True, size=60)).properties(
        height=220
    )


def alt_text(frame: pd.DataFrame) -> str:
    """The timeline in words."""
    counts = [f"{words.plural(int((frame['lane'] == lane).sum()), 'entry', 'entries')} under {lane.lower()}"
              for lane in LANES if (frame["lane"] == lane).any()]  # fmt: skip
    first, last = frame["start"].min(), frame["start"].max()
    return f"Timeline of the papers from {first.year} to {last.year}: {words.listed(counts)}."


def readings_alt(frame: pd.DataFrame, *, case: Case) -> str:
    """The readings in words."""
    first, last = frame.iloc[0], frame.iloc[-1]
    return (
        f"{len(frame)} odometer readings, from {words.distance(float(first['shown']), case.car.unit)} in "
        f"{first['date'].year} to {words.distance(float(last['shown']), case.car.unit)} in {last['date'].year}."
    )
