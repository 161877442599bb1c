"""Widgets bound to keys of the case: each shows what the case says, and changes it when it is changed.

What the checks refuse stays in the field, with the message below it.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from estimator.files import KeyPath
from estimator.pages import session
from estimator.views import words

EXAMPLE_DAY = "e.g. 1998-06-11 or 1998"  # in an empty field: it must not look like one filled in


def read_day(typed: str | None) -> datetime.date | int | str | None:
    """A day as people type it: "1998-06-11", "1998-06" or "1998". What is none comes back as it is, to be refused."""
    text = (typed or "").strip()
    if not text:
        return None
    if re.fullmatch(r"\d{4}", text):
        return int(text)
    parts = re.fullmatch(r"(\d{4})-(\d{1,2})(?:-(\d{1,2}))?", text)
    if parts:
        try:
            return datetime.date(int(parts[1]), int(parts[2]), int(parts[3] or 1))
        except ValueError:
            return text
    return text


def show_day(value: Any, *, year_only: tuple[int, int] = (7, 1)) -> str:
    """A day as `read_day` reads it; the day by which a bare year is kept is shown as the year."""
    if value is None:
        return ""
    if isinstance(value, datetime.date):
        return str(value.year) if (value.month, value.day) == year_only else value.isoformat()
    return str(value)


def complain(path: KeyPath) -> None:
    """Below a field: why what stands in it cannot be used."""
    message = session.refusal(path)
    if message:
        st.error(f"{words.plain(message)}\n\nWhat you entered stays here; the estimate goes on without it.")


def text(path: KeyPath, label: str, value: str, *, placeholder: str = "", help: str | None = None) -> None:
    """One line of text."""
    key = session.bind(path, value)
    st.text_input(label, key=key, placeholder=placeholder, help=help, on_change=_put_text, args=(path, key))
    complain(path)


def _put_text(path: KeyPath, key: str) -> None:
    session.change({path: session.value(key) or None})


def day(
    path: KeyPath, label: str, value: datetime.date | None, *, built: bool = False, help: str | None = None
) -> None:
    """A day, a month or a year."""
    year_only = (1, 1) if built else (7, 1)
    key = session.bind(
        path, show_day(value, year_only=year_only), to_screen=lambda v: show_day(v, year_only=year_only)
    )
    st.text_input(
        label,
        key=key,
        placeholder=EXAMPLE_DAY,
        help=help,
        on_change=_put_day,
        args=(path, key),
    )
    complain(path)
    if value is not None and value > session.today() + datetime.timedelta(days=1):
        st.warning("This day has not come yet: is the year right? It stays as you entered it.")


def _put_day(path: KeyPath, key: str) -> None:
    session.change({path: read_day(session.value(key))})


def number(
    path: KeyPath,
    label: str,
    value: float | None,
    *,
    step: float = 1.0,
    digits: int = 0,
    scale: float = 1.0,
    placeholder: str = "",
    help: str | None = None,
) -> None:
    """A number, perhaps none. scale: the case's value times this is what people read (100 for per cent)."""

    def to_screen(one: Any) -> float | None:
        return None if one is None else round(float(one) * scale, 6)

    key = session.bind(path, to_screen(value), to_screen=to_screen)
    st.number_input(
        label,
        value=None,
        step=float(step),
        format=f"%.{digits}f",
        key=key,
        placeholder=placeholder,
        help=help,
        on_change=_put_number,
        args=(path, key, scale),
    )
    complain(path)


def _put_number(path: KeyPath, key: str, scale: float) -> None:
    typed = session.value(key)
    session.change({path: None if typed is None else round(typed / scale, 9)})


def whole(path: KeyPath, label: str, value: int, *, help: str | None = None) -> None:
    """A whole number."""
    key = session.bind(path, value)
    st.number_input(label, value=None, step=1, key=key, help=help, on_change=_put_plain, args=(path, key))
    complain(path)


def _put_plain(path: KeyPath, key: str) -> None:
    session.change({path: session.value(key)})


def triple(
    path: KeyPath, label: str, value: Sequence[float] | None, *, step: float = 100.0, help: str | None = None
) -> None:
    """Low, likely and high, side by side."""
    st.markdown(label, help=help)
    shown = [None, None, None] if value is None else list(value)
    box = st.container(key=f"three_{session.key_for(path)}")
    for column, place, name in zip(
        box.columns(3, wrap=False, gap="small"), range(3), ("low", "likely", "high"), strict=True
    ):
        key = session.bind(
            (*path, place),
            None if shown[place] is None else float(shown[place]),  # type: ignore[arg-type]
        )
        column.number_input(
            name,
            value=None,
            step=float(step),
            format="%.0f",
            key=key,
            on_change=_put_triple,
            args=(path, place),
        )
    complain(path)


def _put_triple(path: KeyPath, place: int) -> None:
    keys = [session.key_for((*path, one)) for one in range(3)]
    typed = [session.value(key) for key in keys]
    if all(one is None for one in typed):
        session.change({path: None})
        typed = []
    elif any(one is None for one in typed):
        session.draft(path, typed, "All three are wanted: low, likely and high.")
    elif session.change({path: typed}) is None:
        typed = []
    session.drafts_for(path, typed)


def choice(
    path: KeyPath,
    label: str,
    value: str,
    options: Mapping[str, str],
    *,
    default: str | None = None,
    help: str | None = None,
) -> None:
    """One of a few words, as buttons. Taking the choice back gives the default."""
    key = session.bind(path, value)
    st.pills(
        label,
        list(options),
        format_func=lambda one: options.get(one, one),
        key=key,
        help=help,
        wrap=True,
        on_change=_put_choice,
        args=(path, key, default),
    )
    complain(path)


def _put_choice(path: KeyPath, key: str, default: str | None) -> None:
    chosen = session.value(key)
    session.change({path: default if chosen is None else chosen})


def yes_no(path: KeyPath, label: str, value: bool, *, help: str | None = None) -> None:
    """A switch."""
    key = session.bind(path, value)
    st.toggle(label, key=key, help=help, on_change=_put_plain, args=(path, key))
    complain(path)


def select(path: KeyPath, label: str, value: str, options: Sequence[str]) -> None:
    """One of many words, as a list to open."""
    key = session.bind(path, value)
    st.selectbox(label, list(options), key=key, on_change=_put_plain, args=(path, key))
    complain(path)
