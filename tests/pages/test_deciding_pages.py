"""Stops, the budget and what is owned, on the pages where one decides.

Tags: by hand (what must follow from what was typed), second method (the same figure from the package itself).
"""

from __future__ import annotations

import re
from collections.abc import Callable

from streamlit.testing.v1 import AppTest

from estimator.catalogue.load import data_folder, load_catalogue
from estimator.store import Store
from estimator.views import words
from tests.pages.conftest import go, ran, words_on
from tests.pages.test_later_pages import plainly

Opened = Callable[[str], AppTest]


def keep(name: str, more: str) -> str:
    """Put another saloon among the kept cars; its id."""
    text = (data_folder() / "examples" / "small-saloon.toml").read_text("utf-8")
    text = re.sub(r'(?m)^name = ".*"', f'name = "{name}"', text, count=1)
    return Store().save(f"{text}\n{more}", name=name, kind="saved").case_id


def a_stop() -> str:
    """A check that ends the deal: papers against the body."""
    checks = load_catalogue().checks.values()
    return next(c.id for c in checks if c.stop and c.station == "walk-round" and "papers" in c.needs)


def dated(at: AppTest) -> str:
    """What stands under the title."""
    return plainly(at.caption[0].value).replace(words.NBSP, " ")


def test_a_car_with_a_stop_says_so_before_any_ranking(opened: Opened) -> None:
    """By hand: two of the same car, one with a stop found: that stands first, and the other is the choice."""
    at = opened("small-saloon")
    keep("Twin", f'[[finding]]\ncheck = "{a_stop()}"\nresult = "present"\n')
    at = go(at, "candidates")
    said = plainly(words_on(at))
    assert at.subheader[0].value == "Stop"
    assert "the only one without a stop" in plainly(at.header[0].value)
    assert "not to be chosen before its stop is settled" in said
    assert "Not looked at yet" in said


def test_open_stops_stand_first_on_the_next_page(opened: Opened) -> None:
    said = plainly(words_on(go(opened("coupe"), "next_look")))
    assert "Not looked at yet, so look at these first" in said
    assert "not possible now" in said


def test_cost_page_and_offer_say_the_same_of_the_budget(opened: Opened) -> None:
    """Second method: the sentence of the one page stands on the other."""
    at = go(opened("small-saloon"), "cost")
    cost = plainly(words_on(at))
    start = cost.index("The budget of")
    sentence = cost[start : cost.index(" at the asking price", start)]
    assert "of 100 cases" in sentence
    assert sentence in plainly(words_on(go(at, "offer")))


def test_once_bought_the_offer_page_has_no_bidding(opened: Opened) -> None:
    """By hand."""
    at = opened("small-saloon")
    bought = keep("Mine", "[bought]\ndate = 2026-10-30\nprice = 7600\n")
    at = go(at, "candidates")
    at = ran(at.button(key=f"candidate_{bought}").click().run())
    for page in ("cost", "first_year"):
        assert "bought on 30 Oct 2026. The first year here runs from" in dated(go(at, page)), page
    at = go(at, "offer")
    said = plainly(words_on(at))
    assert "Paid" in plainly(at.header[0].value)
    assert "You paid" in said
    for word in ("Walk away", "Aim for", "Open at", "What a concession is worth", "The sheet for the table"):
        assert word not in said
    assert words.CAUTION in said
