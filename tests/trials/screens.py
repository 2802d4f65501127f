"""What each page weighs: height, nodes, bytes of a first and a second visit, processor time of the browser, papers.

Run by hand: `python -m tests.trials.screens [SHOP]`, a folder with a shop; without one the demo is made and loaded.
Each page is opened in a fresh Chromium at 1280 px and, in the same one, a second time; then at 390 px. Bytes are those
that crossed the wire, compressed; processor seconds are the browser's own `TaskDuration` from the address to rest.
"""

import logging
import shutil
import sys
import tempfile
import threading
from datetime import UTC, datetime
from pathlib import Path

from playwright.sync_api import CDPSession, Page, sync_playwright
from werkzeug.serving import make_server

from dashboard.app import make_app
from dashboard.desk.desk import Desk
from tests.browser.conftest import ARGUMENTS, CHROMIUM
from tests.trials.written import write

PAGES = (
    "/",
    "/drift",
    "/capability",
    "/rework",
    "/necks",
    "/bench",
    "/book",
    "/logs",
    "/logs/readings",
    "/logs/visits",
)
PAPERS = ("/papers/week", "/papers/necks?supplier=Oxbow+Necks", "/papers/bench?tech=T05")
SIZE = "[document.documentElement.scrollHeight, document.querySelectorAll('*').length]"


class Wire:
    """Counts what crosses the wire of one page."""

    def __init__(self, page: Page) -> None:
        self.bytes = 0
        self.session: CDPSession = page.context.new_cdp_session(page)
        self.session.send("Network.enable")
        self.session.send("Performance.enable")
        self.session.on("Network.loadingFinished", self._count)

    def _count(self, event: dict[str, float]) -> None:
        self.bytes += int(event["encodedDataLength"])

    def busy(self) -> float:
        """Processor seconds of the page so far."""
        told = {one["name"]: one["value"] for one in self.session.send("Performance.getMetrics")["metrics"]}
        return float(told["TaskDuration"])


def opened(page: Page, url: str) -> tuple[int, float, int, int]:
    """Bytes, processor seconds, height and nodes of one visit."""
    wire = Wire(page)
    before = wire.busy()
    page.goto(url)
    page.wait_for_selector("h1", timeout=120_000)
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(400)
    height, nodes = page.evaluate(SIZE)
    busy = wire.busy() - before
    wire.session.detach()
    return wire.bytes, busy, height, nodes


def weighed(base: str, path: str) -> str:
    """One line of the table."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        context = browser.new_context(viewport={"width": 1280, "height": 900})
        page = context.new_page()
        first = opened(page, base + path)
        page.close()
        again = context.new_page()
        second = opened(again, base + path)
        again.set_viewport_size({"width": 390, "height": 844})
        phone = opened(again, base + path)
        browser.close()
    return (
        f"| {path} | {first[2]:,} | {phone[2]:,} | {first[3]:,} | {first[0] / 1000:,.0f} | {second[0] / 1000:,.0f} "
        f"| {first[1]:.2f} | {second[1]:.2f} |"
    )


def main() -> None:
    """Weigh every page of a shop."""
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else _demo()
    app = make_app(Desk(folder))
    server = make_server("127.0.0.1", 0, app.server, threaded=True)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    base = f"http://127.0.0.1:{server.server_port}"
    client = app.server.test_client()
    warm = [client.get(path).status_code for path in PAPERS]
    lines = [weighed(base, path) for path in PAGES]
    papers = [f"| {path} | {len(client.get(path).data) / 1000:,.0f} |" for path in PAPERS]
    server.shutdown()
    if len(sys.argv) <= 1:
        shutil.rmtree(folder.parent)
    write(
        __file__,
        "\n".join(
            [
                "| page | height at 1280, px | at 390 | nodes | first visit, kB | next, kB | browser s, first | next |",
                "|---|---|---|---|---|---|---|---|",
                *lines,
                "",
                "| paper | kB |",
                "|---|---|",
                *papers,
                "",
                f"All papers answered: {set(warm) == {200}}.",
            ]
        ),
    )


def _demo() -> Path:
    from demo_data.generator import write_shop
    from ingest.verbs.load import load

    folder = Path(tempfile.mkdtemp()) / "shop"
    folder.mkdir()
    load(folder, write_shop(folder), now=datetime(2026, 11, 21, tzinfo=UTC))
    return folder


if __name__ == "__main__":
    main()
