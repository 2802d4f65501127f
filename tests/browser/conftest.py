"""A real Chromium for the tests in this folder, the system's own, and a server for a Dash app on this machine."""

from __future__ import annotations

import logging
import os
import shutil
import threading
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, BrowserType, Page, sync_playwright
from werkzeug.serving import make_server

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]
CHROMIUM = os.environ.get("CHROMIUM") or next(
    (
        found
        for name in ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
        if (found := shutil.which(name))
    ),
    None,
)
WITHOUT = (
    "no Chromium found: install one (Debian: apt install chromium) or name it in CHROMIUM, and the browser tests run"
)


# a window of a test remembers nothing of the one before
NEW = "if (!sessionStorage.begun) { localStorage.clear(); sessionStorage.begun = '1' }"


@pytest.fixture(scope="session")
def chromium() -> Iterator[BrowserType]:
    """The system's Chromium, to be started. Without one the test is skipped in one line; in CI that is a failure."""
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail(WITHOUT)
        pytest.skip(WITHOUT)
    with sync_playwright() as play:
        yield play.chromium


@pytest.fixture(scope="session")
def browser(chromium: BrowserType, tmp_path_factory: pytest.TempPathFactory) -> Iterator[BrowserContext]:
    """One browser for the session: scripts are compiled once. It heeds no content policy, since what waits for a page
    in these tests is a script of its own; that our pages keep to theirs is tested in test_fence.py.
    """
    opened = chromium.launch_persistent_context(
        tmp_path_factory.mktemp("browser"),
        executable_path=CHROMIUM,
        args=ARGUMENTS,
        reduced_motion="reduce",
        no_viewport=True,
        bypass_csp=True,
        service_workers="block",  # what Card keeps for dead networks is for test_network.py
    )
    yield opened
    opened.close()


def calm(page: Page) -> Page:
    """A page that is looked at ten times a second while something is waited for. Left alone Playwright looks at every
    frame, and a browser without a graphics card then draws sixty of them a second for nobody.
    """
    page.wait_for_function = partial(page.wait_for_function, polling=100)  # type: ignore[method-assign]
    return page


class Watched:
    """A page of the browser and what it did that it should not."""

    def __init__(self, browser: BrowserContext, width: int, height: int = 900) -> None:
        self.page: Page = calm(browser.new_page())
        self.page.set_viewport_size({"width": width, "height": height})
        self.page.set_default_timeout(60_000)  # a busy machine is slow, not wrong
        self.page.add_init_script(NEW)
        self.wrong: list[str] = []
        self.page.on("pageerror", lambda error: self.wrong.append(f"error: {error}"))
        self.page.on(
            "console", lambda said: self.wrong.append(f"console: {said.text}") if said.type == "error" else None
        )
        self.page.on("request", lambda request: self._look(request.url))
        self.page.on(
            "response",
            lambda answer: self.wrong.append(f"{answer.status}: {answer.url}") if answer.status >= 400 else None,
        )

    def _look(self, url: str) -> None:
        if not url.startswith(("http://127.0.0.1:", "data:", "blob:")):
            self.wrong.append(f"outside: {url}")

    def says(self, words: str) -> None:
        """Wait until the page says so, whatever it still has to load."""
        self.page.wait_for_function(
            "words => document.body?.textContent.replaceAll('\\u00a0', ' ').includes(words)", arg=words
        )

    def charts_drawn(self, count: int = 1) -> None:
        """Wait until so many charts are drawn and the page has come to rest."""
        self.page.wait_for_function(f"document.querySelectorAll('.drawn').length >= {count}")
        self.page.wait_for_load_state("networkidle")
        self.page.evaluate("document.fonts.ready")
        self.page.wait_for_timeout(250)


@pytest.fixture
def watched(browser: BrowserContext) -> Iterator[Callable[..., Watched]]:
    """Opens pages of a width; each ends with the test."""
    opened: list[Watched] = []

    def open_page(width: int = 1280, height: int = 900) -> Watched:
        opened.append(Watched(browser, width, height))
        return opened[-1]

    yield open_page
    for each in opened:
        each.page.close()


@pytest.fixture(scope="session")
def served() -> Iterator[Callable[[Any], str]]:
    """Serves the Dash app it is given last, always at one address: scripts the browser has compiled stay compiled."""
    logging.getLogger("werkzeug").setLevel(logging.WARNING)  # a line a request says nothing
    shown: list[Any] = []
    server = make_server(
        "127.0.0.1", 0, lambda environ, start_response: shown[-1](environ, start_response), threaded=True
    )
    threading.Thread(target=server.serve_forever, daemon=True).start()

    def serve(app: Any) -> str:
        shown[:] = [app.server]
        return f"http://127.0.0.1:{server.server_port}"

    yield serve
    server.shutdown()


@pytest.fixture(scope="session")
def axe() -> str:
    """The script of axe, to be run in a page."""
    pytest.importorskip("axe_playwright_python")
    import axe_playwright_python as package

    return (Path(package.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
