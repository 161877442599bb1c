"""The real server on a free port and a headless Chromium; skipped with a reason where either is missing."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from estimator.store import DATA_DIR_VARIABLE

ROOT = Path(__file__).resolve().parents[2]
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
HEIGHTS = {390: 844, 1280: 900}


def _browser_path() -> str | None:
    return next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of a server of our own, with an empty store."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    folder = tmp_path_factory.mktemp("server")
    environment = {**os.environ, DATA_DIR_VARIABLE: str(folder / "cases")}
    command = [sys.executable, "-m", "streamlit", "run", "app.py", "--server.port", str(port)]
    with open(folder / "log.txt", "wb") as log:
        running = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=log, stderr=log)
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(240):
            try:
                with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2):
                    break
            except OSError:
                if running.poll() is not None:
                    raise AssertionError((folder / "log.txt").read_text("utf-8")) from None
                time.sleep(0.25)
        else:
            raise AssertionError("the server did not answer within a minute")
        yield address
    finally:
        running.terminate()
        running.wait(timeout=20)
    said = (folder / "log.txt").read_text("utf-8")
    assert "Traceback" not in said, said


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """A headless browser; put away after each module, as only one driver may be at work."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = _browser_path()
    if path is None:
        pytest.skip("no Chromium is installed")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=FLAGS, headless=True)
        yield browser
        browser.close()


@pytest.fixture
def visit(chromium: Any, server: str, tmp_path: Path) -> Iterator[Callable[..., Visit]]:
    """Opens the dashboard at a width."""
    opened: list[Visit] = []

    def open_at(width: int, **options: Any) -> Visit:
        opened.append(Visit(chromium, server, width, tmp_path, **options))
        return opened[-1]

    yield open_at
    for one in opened:
        one.picture("last")  # what stood there when the test ended, well or badly
        one.context.close()


class Visit:
    """One visit to the dashboard at one width: every request and every error of the page is noted."""

    def __init__(self, browser: Any, address: str, width: int, folder: Path, **options: Any) -> None:
        phone = width < 600
        self.address, self.folder, self.width = address, folder, width
        self.context = browser.new_context(
            viewport={"width": width, "height": HEIGHTS[width]}, has_touch=phone, is_mobile=phone, **options
        )
        self.page = self.context.new_page()
        self.requests: list[str] = []
        self.errors: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.goto(address)
        self.page.get_by_role("heading", level=1).first.wait_for(timeout=60_000)
        self.settle()

    def settle(self) -> None:
        """Wait until the script has run and the page stands still."""
        self.page.wait_for_timeout(250)
        self.page.wait_for_selector(
            '[data-testid="stApp"][data-test-script-state="notRunning"]', timeout=180_000
        )
        self.page.wait_for_timeout(250)

    def go(self, label: str, title: str) -> None:
        """Follow a link of the row of pages."""
        self.page.locator(".st-key-menu").get_by_role("link", name=label, exact=True).click()
        self.page.get_by_role("heading", level=1, name=title, exact=True).wait_for(timeout=60_000)
        self.settle()

    def picture(self, name: str) -> Path:
        """A picture of all of the page as it is, in the test's own folder."""
        size = self.page.viewport_size
        tall = self.page.evaluate("document.querySelector('[data-testid=\"stMain\"]').scrollHeight")
        self.page.set_viewport_size({"width": size["width"], "height": min(tall + 20, 6000)})
        self.page.wait_for_timeout(300)
        path = self.folder / f"{name}-{self.width}.png"
        self.page.screenshot(path=str(path))
        self.page.set_viewport_size(size)
        return path

    def overflow(self) -> int:
        """Pixels by which the page is wider than the window."""
        return int(
            self.page.evaluate(
                "Math.max(document.documentElement.scrollWidth, "
                "document.querySelector('[data-testid=\"stMain\"]').scrollWidth) - window.innerWidth"
            )
        )
