"""The fields of each kind of entry. A half-written entry outlives a change of page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import streamlit as st

from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.pages import session
from estimator.pages.fields import EXAMPLE_DAY, read_day, show_day
from estimator.views import words

PREFIX = "entry_field_"
PART, KIT = "one part", "a kit of parts"


@dataclass
class Form:
    """The fields drawn so far and how to read each: keys of the entry -> how its value is taken from the screen."""

    case: Case
    catalogue: Catalogue
    original: dict[str, Any]
    readers: dict[str, Callable[[], Any]] = field(default_factory=dict)

    def key(self, name: str, first: Any) -> str:
        """Widget key of a field, first shown as the entry has it."""
        return session.start(f"{PREFIX}{name}", first)

    def result(self, original: dict[str, Any]) -> dict[str, Any]:
        """The entry as the fields say; keys the form does not show stay as they were."""
        made = dict(original)
        for name, read in self.readers.items():
            value = read()
            if value is None:
                made.pop(name, None)
            else:
                made[name] = value
        return made

    def day(self, name: str, label: str) -> None:
        key = self.key(name, show_day(self.original.get(name)))
        st.text_input(label, key=key, placeholder=EXAMPLE_DAY, persist_state="session")
        self.readers[name] = lambda: read_day(session.value(key))

    def period(self) -> None:
        """From one day to another, side by side."""
        left, right = st.columns(2, wrap=False)
        with left:
            self.day("from", "From")
        with right:
            self.day("to", "To")

    def number(
        self, name: str, label: str, *, digits: int = 0, scale: float = 1.0, first: float | None = None
    ) -> None:
        stated = self.original.get(name)
        shown = first if stated is None else round(float(stated) * scale, 6)
        key = self.key(name, shown)
        st.number_input(label, value=None, step=1.0, format=f"%.{digits}f", key=key, persist_state="session")

        def read() -> float | None:
            typed = session.value(key)
            return None if typed is None else round(typed / scale, 9)

        self.readers[name] = read

    def choice(self, name: str, label: str, options: dict[str, str], *, first: str) -> str:
        """One of a few words; returns what is chosen now."""
        key = self.key(name, self.original.get(name, first))
        st.pills(
            label,
            list(options),
            format_func=lambda one: options.get(one, one),
            key=key,
            wrap=True,
            persist_state="session",
        )
        self.readers[name] = lambda: session.value(key) or first
        return str(session.value(key) or first)

    def text(self, name: str, label: str) -> None:
        key = self.key(name, self.original.get(name, ""))
        st.text_input(label, key=key, persist_state="session")
        self.readers[name] = lambda: session.value(key) or None

    def toggle(self, name: str, label: str) -> None:
        key = self.key(name, bool(self.original.get(name, False)))
        st.toggle(label, key=key, persist_state="session")
        self.readers[name] = lambda: session.value(key) or None

    def part_names(self) -> dict[str, str]:
        """Parts this car has or may have, by system: id -> name with its system."""
        traits, year = frozenset(self.case.car.traits), self.case.car.built.year
        rows = [c for c in self.catalogue.components.values() if self.catalogue.has(c.id, traits, year) > 0]
        rows.sort(key=lambda c: (list(words.SYSTEMS).index(c.system), c.name))
        return {c.id: f"{words.sentence(c.name)} · {words.SYSTEMS[c.system].lower()}" for c in rows}

    def select(self, name: str, label: str, options: dict[str, str], *, first: str | None = None) -> None:
        """One of many, found by typing."""
        stated = self.original.get(name, first)
        every = dict(options) if stated is None or stated in options else {stated: str(stated), **options}
        key = self.key(name, stated)
        st.selectbox(
            label,
            list(every),
            index=None,
            format_func=lambda one: every.get(one, one),
            key=key,
            placeholder="type to find it",
            persist_state="session",
        )
        self.readers[name] = lambda: session.value(key)


def work(form: Form) -> None:
    """[[work]]"""
    form.day("date", "When (day, month or year)")
    kind_key = form.key("kind", KIT if form.original.get("kit") else PART)
    kind = st.pills("What the entry is about", [PART, KIT], key=kind_key, persist_state="session")
    if kind == KIT:
        kits = form.catalogue.kits
        form.select("kit", "Kit", {one.id: words.sentence(one.name) for one in kits.values()})
        chosen = kits.get(session.value(f"{PREFIX}kit") or "")
        if chosen is not None:
            depths = {one: words.DEPTHS.get(one, one.replace("-", " ")) for one in chosen.depths}
            held = session.value(f"{PREFIX}depth")
            if held is not None and held not in depths:
                session.hold(f"{PREFIX}depth", next(iter(depths)))
            form.choice("depth", "How far it went", depths, first=next(iter(depths)))
            if chosen.note:
                st.caption(chosen.note)
        form.readers["component"] = lambda: None
    else:
        form.select("component", "Part", form.part_names())
        form.readers["kit"] = form.readers["depth"] = lambda: None
    what = form.choice("what", "What was done", words.CHOICES["what"], first="renewed")
    if what.startswith("seen-"):
        form.readers["fitted"] = form.readers["moulded"] = lambda: None
    else:
        fitted = form.choice("fitted", "What was fitted", words.CHOICES["fitted"], first="unknown")
        if fitted == "old-stock":
            form.day("moulded", "Year its rubber was moulded")
        else:
            form.readers["moulded"] = lambda: None
    form.choice("evidence", "How it is known", words.CHOICES["evidence"], first="note")
    with st.expander("By whom, which side, odometer, price, note"):
        form.choice("by", "Done by", words.CHOICES["by"], first="unknown")
        form.choice("side", "Side", words.CHOICES["side"], first="both")
        form.number("odometer", f"Odometer then ({form.original.get('unit', form.case.car.unit)})")
        form.number("price", f"What it cost then ({form.case.money.currency}), for your records")
        form.text("note", "Note")


def reading(form: Form) -> None:
    """[[reading]]"""
    form.day("date", "When")
    form.number("odometer", f"Odometer showed ({form.original.get('unit', form.case.car.unit)})")
    form.text("note", "Note")


def test(form: Form) -> None:
    """[[test]]"""
    form.day("date", "When")
    form.choice("result", "Result", words.CHOICES["test_result"], first="passed")
    names = form.part_names()
    key = form.key("components", list(form.original.get("components", [])))
    every = {**{one: one for one in form.original.get("components", [])}, **names}
    st.multiselect(
        "Parts it advised on or refused for",
        list(every),
        format_func=lambda one: every.get(one, one),
        key=key,
        placeholder="type to find them",
        persist_state="session",
    )
    form.readers["components"] = lambda: list(session.value(key) or []) or None
    form.number("odometer", f"Odometer then ({form.original.get('unit', form.case.car.unit)})")
    form.text("note", "Note")


def lived(form: Form) -> None:
    """[[lived]]"""
    form.period()
    form.choice("use", "Use", words.CHOICES["use"], first="unknown")
    form.choice("storage", "Where it stood", words.CHOICES["storage"], first="unknown")
    form.choice("climate", "Climate", words.CHOICES["climate"], first="unknown")
    form.text("note", "Note")


def coverage(form: Form) -> None:
    """[[coverage]]"""
    form.period()
    form.number("completeness", "Of all that was done, the papers hold, per cent", scale=100, first=90.0)
    form.toggle("own_work", "The owner's own work is written down too")
    form.text("note", "Note")


def odometer_replaced(form: Form) -> None:
    """[[odometer_replaced]]"""
    unit = form.original.get("unit", form.case.car.unit)
    form.day("date", "When")
    form.number("old", f"The old one last showed ({unit}; empty: unknown)")
    form.number("new", f"The new one started at ({unit})", first=0.0)
    form.text("note", "Note")
