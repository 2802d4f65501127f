"""What each page weighs: height, nodes, bytes of a first and a second visit, processor time of the browser, papers.

Run by hand: `python -m tests.trials.screens [SHOP]`, a folder with a shop; without one the demo is made and loaded.
Each page is opened in a fresh Chromium at 1280 px and, in the same one, a second time; then at 390 px. Bytes are those
that crossed the wire, compressed; processor seconds are those of all the browser's processes by the system's own count
(/proc, 0.01 s), so that waiting for a busy machine does not count, from the address to rest. A filter is the address
changed inside the page, as its fields do; its server's seconds are those of this process. As in `truerun serve`
the linear algebra has one thread and pages are laid out ahead before the first visit.
"""

import os

os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}  # before numpy, as the command has it

import logging
import shutil
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

from playwright.sync_api import CDPSession, Page, sync_playwright
from werkzeug.serving import make_server

from dashboard.app import make_app
from dashboard.desk.desk import Desk
from dashboard.laid_ahead import PagesAhead
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
FILTERED = {  # a page and one of its filters
    "/drift": "?stage=all&state=moved",
    "/capability": "?characteristic=relief",
    "/rework": "?weeks=13",
    "/bench": "?stage=nut_slotting",
}
OPEN = """href => { history.pushState({}, "", href); dispatchEvent(new CustomEvent("_dashprivate_pushstate")); }"""
TICK = os.sysconf("SC_CLK_TCK")
SIZE = "[document.documentElement.scrollHeight, document.querySelectorAll('*').length]"


class Wire:
    """Counts what crosses the wire of one page."""

    def __init__(self, page: Page) -> None:
        self.bytes = 0
        self.session: CDPSession = page.context.new_cdp_session(page)
        self.session.send("Network.enable")
        self.session.on("Network.loadingFinished", self._count)

    def _count(self, event: dict[str, float]) -> None:
        self.bytes += int(event["encodedDataLength"])


def busy() -> float:
    """Processor seconds so far of every browser process that this one started."""
    parent: dict[int, int] = {}
    ticks: dict[int, int] = {}
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            name, _, rest = (entry / "stat").read_text().rpartition(")")
        except OSError:  # gone meanwhile
            continue
        told = rest.split()
        parent[int(entry.name)] = int(told[1])
        if "chrom" in name:
            ticks[int(entry.name)] = sum(int(told[k]) for k in (11, 12, 13, 14))

    def ours(pid: int) -> bool:
        while pid in parent and pid != os.getpid():
            pid = parent[pid]
        return pid == os.getpid()

    return sum(spent for pid, spent in ticks.items() if ours(pid)) / TICK


def opened(page: Page, url: str) -> tuple[int, float, int, int]:
    """Bytes, processor seconds, height and nodes of one visit."""
    wire = Wire(page)
    before = busy()
    page.goto(url)
    page.wait_for_selector("h1", timeout=120_000)
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(400)
    height, nodes = page.evaluate(SIZE)
    spent = busy() - before
    wire.session.detach()
    return wire.bytes, spent, height, nodes


def filtered(base: str, path: str, search: str) -> str:
    """One line: what a filter costs the browser and the server, the second time it is asked for."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
        costs = []
        opened(page, base + path)
        for there in (search, "", search):
            before, server = busy(), time.process_time()
            page.evaluate(OPEN, path + there)
            page.wait_for_timeout(4_000)  # longer than any answer takes: an idle browser spends next to nothing
            costs.append((busy() - before, time.process_time() - server))
        browser.close()
    return f"| {path}{search} | {costs[0][0]:.2f} | {costs[0][1]:.2f} | {costs[2][0]:.2f} | {costs[2][1]:.2f} |"


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
    desk = Desk(folder)
    app = make_app(desk)
    server = make_server("127.0.0.1", 0, app.server, threaded=True)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    base = f"http://127.0.0.1:{server.server_port}"
    client = app.server.test_client()
    PagesAhead(desk).look()
    warm = [client.get(path).status_code for path in PAPERS]
    lines = [weighed(base, path) for path in PAGES]
    filters = [filtered(base, path, search) for path, search in FILTERED.items()]
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
                "| filter | browser s, first time | server s | browser s, again | server s |",
                "|---|---|---|---|---|",
                *filters,
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
