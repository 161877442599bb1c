"""A car from nothing to its cost, as a person does it, on a phone and on a laptop. Tags: by hand."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

import pytest

from estimator.catalogue.load import load_catalogue
from estimator.catalogue.records import Check

pytestmark = pytest.mark.browser
SMALL = 44  # px: the least a finger hits

TAPPED = """
() => [...document.querySelectorAll(
    '[data-testid="stMain"] button, [data-testid="stMain"] a[data-testid^="stPageLink"], '
    + '[data-testid="stMain"] summary, [data-testid="stMain"] input[type="text"]')]
  .filter(e => e.offsetParent !== null && !e.closest('[data-testid="stElementToolbar"]')
      && !e.closest('[data-testid="stTooltipHoverTarget"]') && e.closest('[data-testid="stFileUploader"]') === null
      && e.getAttribute('data-testid') !== 'stNumberInputClearButton' && !e.closest('.vega-embed')
      && !(e.tagName === 'BUTTON' && e.closest('[data-testid="stSelectbox"]')))
  .map(e => [Math.round(e.getBoundingClientRect().height), e.tagName + ' ' + (e.innerText || e.ariaLabel || '')])
  .filter(([height]) => height > 0 && height < 44)
"""


def _walk_round() -> list[Check]:
    """The first three checks of the walk round that fit any car and take no reading."""
    every = load_catalogue().checks.values()
    return [
        c for c in every if c.station == "walk-round" and c.when == "all" and c.reading is None and c.links
    ][:3]


def _answer(visit: Any, check: Check, result: str) -> None:
    """Tap the check's own word for a result."""
    box = visit.page.locator(f".st-key-check_{check.id}")
    box.get_by_role("radio", name=getattr(check, result), exact=True).click()
    visit.settle()


def _station(visit: Any, name: str) -> None:
    visit.page.get_by_role("combobox", name="Station").click()
    visit.page.get_by_role("option", name=re.compile(f"^{name}")).click()
    visit.page.get_by_role("heading", name=name, exact=True).wait_for()
    visit.settle()


@pytest.mark.parametrize("width", [390, 1280])
def test_from_an_empty_page_to_the_cost(visit: Callable[..., Any], width: int) -> None:
    """Start, describe, enter a bill, answer three checks, read the cost: no sideways scroll, no request to outside."""
    v = visit(width)
    page = v.page
    assert v.overflow() <= 0
    v.picture("0-empty")
    page.get_by_label("What you call it").fill("Blue saloon")
    page.get_by_label("First registered or built").fill("1972-04-01")
    page.get_by_label("Odometer shows").fill("61200")
    page.keyboard.press("Tab")
    v.settle()
    page.get_by_role("button", name="Start", exact=True).click()
    page.get_by_role("heading", level=1, name="Blue saloon").wait_for()
    v.settle()
    for theme, answers in {
        "Body": ["one-piece welded body (monocoque)"],
        "Engine": ["engine in front, rear wheels driven", "carburettor", "alternator"],
        "Drive": ["manual gearbox", "live rear axle"],
    }.items():
        page.get_by_role("radio", name=re.compile(f"^{theme}")).first.click()
        v.settle()
        for answer in answers:
            page.get_by_role("radio", name=answer, exact=True).click()
            v.settle()
    assert not page.evaluate(TAPPED)
    assert v.overflow() <= 0
    v.picture("1-car")

    v.go("Papers", "Papers")
    page.get_by_role("button", name="Add work done").click()
    v.settle()
    page.get_by_label("When (day, month or year)").fill("2009-03-20")
    page.get_by_role("combobox", name="Part", exact=True).fill("coolant hoses")
    page.get_by_role("option", name=re.compile("^Coolant hoses")).first.click()
    v.settle()
    page.get_by_role("radio", name="invoice naming this car").click()
    v.settle()
    assert v.overflow() <= 0
    v.picture("2-papers-form")
    page.get_by_role("button", name="Add", exact=True).click()
    page.get_by_text(re.compile("Coolant hoses: renewed")).wait_for()
    v.settle()
    assert not page.evaluate(TAPPED)
    assert v.overflow() <= 0
    v.picture("2-papers")

    v.go("Inspection", "Inspection")
    _station(v, "Walk-round")
    checks = _walk_round()
    for check, result in zip(checks, ("present", "present", "absent"), strict=True):
        _answer(v, check, result)
    assert page.get_by_text(re.compile(r"^3 of \d+ looked at")).count() == 2  # of all, and at this station
    assert not page.evaluate(TAPPED)
    assert v.overflow() <= 0
    v.picture("3-inspection")

    v.go("Cost", "What it will cost")
    page.get_by_role("heading", name=re.compile("^Expect about £")).wait_for(timeout=180_000)
    page.get_by_role("heading", name="What this rests on").wait_for(timeout=60_000)
    v.settle()
    first = page.get_by_role("heading", name=re.compile("^Expect about £")).inner_text()
    assert page.get_by_text("An estimate is not an inspection").count() == 1
    assert page.locator("[data-testid=stVegaLiteChart]").count() >= 5
    assert not page.evaluate(TAPPED)
    assert v.overflow() <= 0
    v.picture("4-cost")

    v.go("Inspection", "Inspection")
    _station(v, "Walk-round")
    _answer(v, checks[0], "absent")
    v.go("Cost", "What it will cost")
    page.get_by_role("heading", name="What this rests on").wait_for(timeout=180_000)
    v.settle()
    assert page.get_by_role("heading", name=re.compile("^Expect about £")).inner_text() != first or (
        page.get_by_text("Since you last looked").count() == 0
    )

    outside = {url for url in v.requests if urlsplit(url).hostname not in ("127.0.0.1", None)}
    outside -= {url for url in outside if url.startswith(("data:", "blob:"))}
    assert outside == set()
    assert v.errors == []


def test_a_reload_loses_nothing(visit: Callable[..., Any]) -> None:
    """The address holds which car is open; what was changed last is there again."""
    v = visit(390)
    v.page.get_by_role("button", name="Small saloon", exact=True).click()
    v.page.get_by_role("heading", level=1, name=re.compile("Small saloon")).wait_for()
    v.settle()
    v.page.get_by_label("What you call it").fill("Renamed")
    v.page.keyboard.press("Tab")
    v.page.get_by_role("heading", level=1, name="Renamed").wait_for()
    v.settle()
    v.page.reload()
    v.page.get_by_role("heading", level=1, name="Renamed").wait_for(timeout=60_000)


def test_a_bad_file_is_refused_and_the_saved_file_comes_back(visit: Callable[..., Any]) -> None:
    """Upload and download through the browser."""
    v = visit(1280)
    page = v.page
    page.get_by_role("button", name="Estate", exact=True).click()
    page.get_by_role("heading", level=1, name=re.compile("Estate")).wait_for()
    v.settle()
    with page.expect_download() as got:
        page.get_by_role("button", name="Save as a file").click()
    saved = v.folder / "estate.toml"
    got.value.save_as(saved)
    assert saved.read_text("utf-8").startswith("# An invented car")
    page.get_by_text("Open a saved file in place of this car").click()
    v.settle()
    bad = v.folder / "bad.toml"
    bad.write_text("format = 1\n[car]\nodometre = 3\n", "utf-8")
    page.locator("[data-testid=stFileUploader] input[type=file]").set_input_files(bad)
    page.get_by_text("The file was not opened").wait_for()
    v.settle()
    assert page.get_by_text(re.compile("did you mean")).count() >= 1
    assert page.get_by_role("heading", level=1, name=re.compile("Estate")).count() == 1
    page.locator("[data-testid=stFileUploader] input[type=file]").set_input_files(saved)
    page.get_by_text("The file was not opened").wait_for(state="detached")


@pytest.mark.parametrize("width", [390, 1280])
def test_dark_theme_and_next_station(visit: Callable[..., Any], width: int) -> None:
    """The dark theme is used where the device asks for it; the next station begins at its top."""
    v = visit(width, color_scheme="dark")
    page = v.page
    page.get_by_role("button", name="Small saloon", exact=True).click()
    page.get_by_role("heading", level=1, name=re.compile("Small saloon")).wait_for()
    v.settle()
    colour = page.evaluate(
        "getComputedStyle(document.querySelector('[data-testid=\"stApp\"]')).backgroundColor"
    )
    assert sum(map(int, re.findall(r"\d+", colour)[:3])) < 200
    v.go("Inspection", "Inspection")
    page.get_by_role("button", name=re.compile("^Next station")).click()
    page.get_by_role("heading", name="Papers and questions", exact=True).wait_for()
    v.settle()
    page.wait_for_function(
        "document.querySelector('[data-testid=\"stMain\"]').scrollTop < 40", timeout=10_000
    )
    v.picture("dark")
