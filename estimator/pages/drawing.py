"""The plan-view drawing in the colours of the theme, and its list."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import streamlit as st

from estimator.assess import Assessment
from estimator.views import frames, plan, words


def colours() -> plan.Colours:
    """Ink, paper and shade of the theme in use."""
    kind = "dark" if st.context.theme.type == "dark" else "light"
    usual = plan.Colours()
    return plan.Colours(
        ink=st.get_option(f"theme.{kind}.textColor") or usual.ink,
        paper=st.get_option(f"theme.{kind}.backgroundColor") or usual.paper,
        shade=st.get_option(f"theme.{kind}.primaryColor") or usual.shade,
    )


def inked(chart: Any) -> Any:
    """A chart whose words and lines are in the theme's ink, which Streamlit gives to axes only."""
    ink = colours().ink
    return chart.configure_text(color=ink).configure_rule(color=ink)


def show(a: Assessment, traits: Collection[str]) -> None:
    """The car from above with its dearest areas numbered, and what the numbers mean."""
    frame = frames.areas(a)
    picture, names = st.columns([3, 2], gap="medium", vertical_alignment="center")
    with picture:
        title = plan.alt_text(frame, a.currency)
        st.image(
            plan.drawing(frame, traits=traits, colours=colours(), title=title), width="stretch", alt=title
        )
        st.caption(
            "Stronger colour: more is expected to be spent there in the first year, comfort and looks left out."
        )
    with names:
        st.markdown("  \n".join(words.plain(line) for line in plan.legend(frame, a.currency)))
        st.caption("Average of all outcomes.")
