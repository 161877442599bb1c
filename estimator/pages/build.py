"""How the car is built: the catalogue's questions, those that apply, one theme at a time."""

from __future__ import annotations

import streamlit as st

from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import Group
from estimator.pages import session
from estimator.views import words

UNKNOWN = "don't know"
TRAITS = ("car", "traits")
REST = "Equipment"


def asked_groups(catalogue: Catalogue, traits: frozenset[str]) -> list[Group]:
    """Questions that make sense for a car with these traits, and those it has an answer to."""
    questions = catalogue.questions
    named = questions.complete(traits)
    return [
        g for g in catalogue.groups.values() if questions.asked(g, named) or _answers(catalogue, g.id, traits)
    ]


def _answers(catalogue: Catalogue, group: str, traits: frozenset[str]) -> list[str]:
    return [t for t in catalogue.members.get(group, ()) if t in traits]


def _section_of(group: str) -> str:
    return next((name for name, groups in words.BUILD_SECTIONS.items() if group in groups), REST)


def show(case: Case) -> None:
    """The questions in an expander that says how many are still open."""
    catalogue = session.catalogue()
    traits = frozenset(session.typed(TRAITS, case.car.traits))
    groups = asked_groups(catalogue, traits)
    still = set(catalogue.open_groups(traits))
    title = "How it is built" + (f" ({words.plural(len(still), 'question')} open)" if still else "")
    with st.expander(title, expanded=bool(still), key=f"part_build_{session.serial()}"):
        st.caption(
            "It decides which parts the car has. What you leave open is weighted by how common it was in "
            f"{case.car.built.year}."
        )
        sections = {name: [g for g in groups if _section_of(g.id) == name] for name in words.BUILD_SECTIONS}
        sections = {name: found for name, found in sections.items() if found}
        opened = {name: sum(g.id in still for g in found) for name, found in sections.items()}
        chosen = st.pills(
            "Theme",
            list(sections),
            format_func=lambda name: f"{name} · {opened[name]} open" if opened.get(name) else name,
            **session.steady("build_section", next(iter(sections)), sections),
            label_visibility="collapsed",
            wrap=True,
        )
        message = session.refusal(TRAITS)
        if message:
            st.error(
                f"{words.plain(message)}\n\nYour answers stay here; the estimate goes on with those before."
            )
        dropped = session.note("build_dropped")
        if dropped:
            st.info(dropped)
        for group in sections.get(chosen or next(iter(sections)), []):
            _question(catalogue, group, traits)


def _question(catalogue: Catalogue, group: Group, traits: frozenset[str]) -> None:
    options = list(catalogue.members.get(group.id, ()))
    key = session.key_for(("car", "traits", group.id))
    answers = [t for t in options if t in traits]
    names = {t: catalogue.traits[t].name for t in options}

    if group.choose == "one":
        fallback = group.otherwise or UNKNOWN
        shown = answers[0] if answers else fallback
        offered = options if group.otherwise else [*options, UNKNOWN]
        st.pills(
            group.name,
            offered,
            format_func=lambda one: names.get(one, one),
            key=session.hold(key, shown),
            on_change=_put_answer,
            args=(group.id, key),
            help=group.help or None,
            wrap=True,
        )
    else:
        st.pills(
            group.name,
            options,
            format_func=lambda one: names.get(one, one),
            selection_mode="multi",
            key=session.hold(key, answers),
            on_change=_put_answer,
            args=(group.id, key),
            help=group.help or None,
            wrap=True,
        )


def _put_answer(group: str, key: str) -> None:
    case = session.case()
    if case is None:
        return
    catalogue = session.catalogue()
    chosen = session.value(key)
    picked = list(chosen) if isinstance(chosen, list | tuple) else [chosen]
    picked = [one for one in picked if one in catalogue.traits]
    before = session.typed(TRAITS, case.car.traits)
    members = set(catalogue.members.get(group, ()))
    traits = [t for t in before if t not in members] + picked
    traits, dropped = without_moot(catalogue, traits)
    names = words.listed([catalogue.traits[t].name for t in dropped])
    session.remember("build_dropped", f"Taken out, as it no longer applies: {names}." if dropped else None)
    session.change({TRAITS: traits or None})


def without_moot(catalogue: Catalogue, traits: list[str]) -> tuple[list[str], list[str]]:
    """The traits less those of questions that are no longer asked of such a car, and those taken out."""
    questions = catalogue.questions
    kept, dropped = list(traits), []
    for _ in range(len(catalogue.groups)):
        moot = [
            t
            for t in kept
            if t in catalogue.traits
            and catalogue.traits[t].group in catalogue.groups
            and not questions.asked(
                catalogue.groups[catalogue.traits[t].group], questions.complete(frozenset(kept) - {t})
            )
        ]
        if not moot:
            break
        kept = [t for t in kept if t not in moot]
        dropped += moot
    return kept, dropped
