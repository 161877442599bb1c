"""A phone without network: headless Chromium at 390 px, cut off before the page is opened."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or "/usr/bin/chromium"
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
PHONE = {"width": 390, "height": 844}


@contextmanager
def phone(profile: Path) -> Iterator[tuple[object, list[str]]]:
    """(page, every address the browser asked for or tried to reach); skips with the reason where none can run."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if not Path(CHROMIUM).exists():
        pytest.skip("there is no Chromium on this machine")
    with sync_api.sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            str(profile), executable_path=CHROMIUM, args=list(FLAGS), headless=True, viewport=PHONE, is_mobile=True,
            has_touch=True, device_scale_factor=2, accept_downloads=True,
        )  # fmt: skip
        context.set_offline(True)
        asked: list[str] = []
        faults: list[str] = []
        page = context.pages[0]
        page.on("request", lambda request: asked.append(request.url))
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda said: said.type == "error" and faults.append(said.text))
        page.set_default_timeout(15_000)
        try:
            yield page, asked
        finally:
            context.close()
        assert not faults, faults
