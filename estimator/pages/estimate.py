"""The estimate of a case, kept for the cases last looked at."""

from __future__ import annotations

import streamlit as st

from estimator.assess import Assessment, Result, assess_fully
from estimator.case import Case
from estimator.catalogue.load import Catalogue
from estimator.decide.budget import BudgetRoom, budget_room

DRAWS, SEED = 20_000, 0


@st.cache_resource(max_entries=3, show_spinner=False)
def _worked(case: Case, stamp: int, draws: int, seed: int, _catalogue: Catalogue) -> Result:
    return assess_fully(case, _catalogue, draws=draws, seed=seed)


@st.cache_data(max_entries=40, show_spinner=False)
def _assessed(case: Case, stamp: int, draws: int, seed: int, _catalogue: Catalogue) -> Assessment:
    return _worked(case, stamp, draws, seed, _catalogue).assessment


def of(case: Case, catalogue: Catalogue) -> Assessment:
    """The assessment of a case. A changed finding or price runs everything but the wear stage, which the package
    keeps by the papers; the same case again is looked up. Raises InputError."""
    return _assessed(case, id(catalogue), DRAWS, SEED, catalogue)


@st.cache_data(max_entries=40, show_spinner=False)
def _budget(case: Case, stamp: int, draws: int, seed: int, _catalogue: Catalogue) -> BudgetRoom | None:
    return budget_room(_worked(case, stamp, draws, seed, _catalogue))


def budget(case: Case, catalogue: Catalogue) -> BudgetRoom | None:
    """What the budget of a case leaves at its price; None without one. Raises InputError."""
    return _budget(case, id(catalogue), DRAWS, SEED, catalogue)


def fully(case: Case, catalogue: Catalogue) -> Result:
    """The assessment with the draws behind it, for the decisions built on them: one object shared by all visits,
    never to be changed. Raises InputError."""
    return _worked(case, id(catalogue), DRAWS, SEED, catalogue)
