"""One car open in two windows of a real browser, on a phone and on a laptop. By hand: each is told, none is lost."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.browser


def test_the_window_that_comes_second_is_told_and_may_choose(visit: Callable[..., Any]) -> None:
    laptop = visit(1280)
    laptop.page.get_by_role("button", name="Small saloon", exact=True).click()
    laptop.page.get_by_role("heading", level=1, name=re.compile("Small saloon")).wait_for()
    laptop.settle()
    phone = visit(390)
    phone.page.goto(laptop.page.url)
    phone.page.get_by_role("heading", level=1, name=re.compile("Small saloon")).wait_for()
    phone.settle()

    name = laptop.page.get_by_label("What you call it")
    name.fill("Named on the laptop")
    name.press("Enter")
    laptop.page.get_by_role("heading", level=1, name="Named on the laptop").wait_for()
    name = phone.page.get_by_label("What you call it")
    name.fill("Named on the phone")
    name.press("Enter")
    phone.page.get_by_text("This car was changed in another window, too").wait_for()
    phone.settle()
    assert phone.overflow() <= 0
    phone.picture("told")
    phone.go("Papers", "Papers")
    phone.page.get_by_text("Named on the laptop there").wait_for()
    assert phone.overflow() <= 0
    phone.page.get_by_role("button", name="Take the other window's").click()
    phone.page.get_by_text("for Named on the laptop").wait_for()
    phone.settle()
    assert phone.page.get_by_text("This car was changed in another window, too").count() == 0
    assert phone.errors == []


def test_a_deleted_car_is_a_touch_away(visit: Callable[..., Any]) -> None:
    phone = visit(390)
    phone.page.get_by_role("button", name="Small saloon", exact=True).click()
    phone.page.get_by_role("heading", level=1, name=re.compile("Small saloon")).wait_for()
    phone.settle()
    phone.page.get_by_role("button", name="Delete this car").click()
    phone.page.get_by_role("button", name="Undo").wait_for()
    phone.settle()
    assert phone.overflow() <= 0
    phone.picture("deleted")
    phone.page.get_by_role("button", name="Undo").click()
    phone.page.get_by_role("heading", level=1, name=re.compile("Small saloon")).wait_for()
    assert phone.errors == []
