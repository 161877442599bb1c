"""The pages after the cost in a real browser, on a phone and on a laptop. Tags: by hand."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

import pytest

pytestmark = pytest.mark.browser
PAGES = {
    "Look next": ("What to look at next", "What they are worth, and when to stop"),
    "Offer": ("The offer", "The sheet for the table"),
    "First year": ("The first year", "What was really done"),
    "Keeping it": ("Keeping it", "Sell now, or keep it"),
    "How": ("How this was worked out", "What it cannot know"),
}
IN_SIGHT = """label => [...document.querySelectorAll('.st-key-menu a')].some(link => {
  const at = link.getBoundingClientRect();
  return link.textContent.includes(label) && at.left >= 0 && at.right <= innerWidth;
})"""  # the link of the page one is on


@pytest.mark.parametrize("width", [390, 1280])
def test_later_pages_fit_and_draw(visit: Callable[..., Any], width: int) -> None:
    """Every page to its last heading: no sideways scroll, no fault in the page, no request to outside."""
    v = visit(width)
    page = v.page
    page.get_by_role("button", name="Small saloon", exact=True).click()
    page.get_by_role("heading", level=1, name=re.compile("Small saloon")).wait_for()
    v.settle()
    for label, (title, last) in PAGES.items():
        v.go(label, title)
        page.get_by_role("heading", name=last, exact=True).wait_for(timeout=240_000)
        v.settle()
        assert page.locator("[data-testid=stVegaLiteChart]").count() >= 1, label
        assert page.locator("[data-testid=stException]").count() == 0, label
        assert v.overflow() <= 0, label
        page.wait_for_function(IN_SIGHT, arg=label)
        v.picture(label.lower().replace(" ", "-"))
    outside = {url for url in v.requests if urlsplit(url).hostname not in ("127.0.0.1", None)}
    assert {url for url in outside if not url.startswith(("data:", "blob:"))} == set()
    assert v.errors == []


def test_the_next_three_stay_at_hand(visit: Callable[..., Any]) -> None:
    """On a phone: an answered check leaves, the limit is not to be read until its box is opened."""
    v = visit(390)
    page = v.page
    page.get_by_role("button", name="Small saloon", exact=True).click()
    page.get_by_role("heading", level=1, name=re.compile("Small saloon")).wait_for()
    v.settle()
    v.go("Look next", "What to look at next")
    page.get_by_role("heading", name="What they are worth, and when to stop").wait_for(timeout=240_000)
    v.settle()
    assert not page.get_by_text("the most to pay is").is_visible()
    cards = page.locator("[class*='st-key-check_']")
    first = cards.first.locator("strong").first.inner_text()
    cards.first.get_by_role("radio").nth(1).click()
    page.get_by_text(first, exact=True).first.wait_for(state="detached", timeout=240_000)
    v.settle()
    assert cards.count() <= 3
    assert v.errors == []
