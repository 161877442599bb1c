"""Charts draw columns that exist and nothing is told by colour alone: Altair does not notice a misspelt column."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import altair as alt
import pandas as pd
import pytest

from estimator.assess import Assessment
from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.views import charts, frames, timeline


def fields(spec: Any) -> Iterator[str]:
    """Every field a Vega-Lite specification encodes."""
    if isinstance(spec, dict):
        for key, value in spec.items():
            if key == "field" and isinstance(value, str):
                yield value
            else:
                yield from fields(value)
    elif isinstance(spec, list):
        for one in spec:
            yield from fields(one)


def drawn(
    a: Assessment, case: Case, catalogue: Catalogue
) -> dict[str, tuple[alt.TopLevelMixin, pd.DataFrame, set[str]]]:
    """Every chart of the views with the frame it draws and fields of its own (the budget line's)."""
    room = a.dots[12]  # a budget that holds in twelve cases of twenty
    money = {"currency": a.currency}
    dots, curve, parts = frames.dots(a, room=room), frames.exceedance(a), frames.parts(a, most=10)
    both, months, why = frames.found_and_not(a), frames.months(a), frames.why(a.components[0])
    history, readings = timeline.history(case, catalogue), timeline.readings(case)
    line = {"room", "text"}
    return {
        "dots": (charts.dots(dots, room=room, **money), dots, line),
        "exceedance": (charts.exceedance(curve, room=room, **money), curve, line),
        "parts": (charts.parts(parts, **money), parts, set()),
        "found": (charts.found_and_not(both, **money), both, set()),
        "months": (charts.months(months, **money), months, set()),
        "why": (charts.why(why), why, set()),
        "history": (timeline.chart(history, case=case), history, set()),
        "readings": (timeline.readings_chart(readings, case=case), readings, set()),
    }


NAMES = ("dots", "exceedance", "parts", "found", "months", "why", "history", "readings")


@pytest.mark.parametrize("name", NAMES)
def test_fields_are_columns(name: str, assessment: Assessment, case: Case, catalogue: Catalogue) -> None:
    chart, frame, own = drawn(assessment, case, catalogue)[name]
    used = set(fields(chart.to_dict()))
    assert used
    assert used <= set(frame.columns) | own


@pytest.mark.parametrize("name", NAMES)
def test_no_chart_sets_a_colour(name: str, assessment: Assessment, case: Case, catalogue: Catalogue) -> None:
    """The theme owns colours: no "#rrggbb" and no colour range in any chart."""
    chart, _, _ = drawn(assessment, case, catalogue)[name]
    spec = chart.to_dict()
    spec.pop("config", None)  # Altair's own default theme
    assert "#" not in str({k: v for k, v in spec.items() if k not in ("datasets", "$schema")})


def test_beyond_the_budget_differs_in_shape(assessment: Assessment, case: Case, catalogue: Catalogue) -> None:
    chart, _, _ = drawn(assessment, case, catalogue)["dots"]
    marks = [layer["mark"] for layer in chart.to_dict()["layer"] if isinstance(layer.get("mark"), dict)]
    assert {m.get("filled") for m in marks if m["type"] == "point"} == {True, False}


def test_the_timeline_holds_every_dated_entry(case: Case, catalogue: Catalogue) -> None:
    """By hand: one row for every period, claim, test and piece of work."""
    frame = timeline.history(case, catalogue)
    assert len(frame) == len(case.lived) + len(case.coverage) + len(case.test) + len(case.work)
    assert len(timeline.readings(case)) == len(case.dated_readings)
