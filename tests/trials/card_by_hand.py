"""A dozen of the week's entries typed and tapped in a browser, and how soon a signal stands on the card:
python -m tests.trials.card_by_hand

A Chromium with a touch screen of 1024 by 768 px at one bench: serials as a scanner sends them, values key by key,
passes and what is kept by finger. Then a log with a shift is loaded, by the page's own door and by `truerun load`
beside it, and the card is opened once a second until it says what moved: seconds of the wall's clock, of a machine that
had others on it.
"""

import csv
import logging
import subprocess
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from playwright.sync_api import sync_playwright
from werkzeug.serving import make_server

from dashboard.app import make_app
from dashboard.desk.desk import Desk
from ingest.verbs.load import load
from tests.browser.conftest import ARGUMENTS, CHROMIUM, calm
from tests.trials.card_week import SEED, SHOP, SPECS
from tests.trials.written import write

DOZEN, BEFORE, AFTER, SHIFT, STEP = 12, 160, 40, 0.45, 25.4 / 128  # instruments; mm; half a 64th
FIRST = datetime(2026, 10, 5, 8, tzinfo=UTC)
HEAD = "serial,model,stage,tech,started_at,finished_at,outcome,action bass (mm),action treble (mm)"


def log(rng: np.random.Generator, first: int, count: int, shift: float, name: str) -> str:
    """Visits at bridge fitting, a row each, from the instrument `first` on; eight a day."""
    lines = [HEAD]
    for k in range(first, first + count):
        at = FIRST + timedelta(days=k // 8, minutes=45 * (k % 8))
        values = (f"{round((2.55 + shift + 0.1 * rng.normal()) / STEP) * STEP:.2f}" for _ in range(2))
        stamps = (f"{one:%Y-%m-%d %H:%M}" for one in (at, at + timedelta(minutes=9)))
        lines.append(",".join([f"{name}-{k:04d}", "LARK-25", "bridge_fitting", "T01", *stamps, "pass", *values]))
    return "\n".join(lines) + "\n"


def typed(base: str, rng: np.random.Generator) -> tuple[list[tuple[str, str, str]], list[str]]:
    """A dozen instruments through the browser: (serial, bass, treble) as typed, and what the page complained of."""
    told, wrong = [], []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        context = browser.new_context(
            viewport={"width": 1024, "height": 768}, has_touch=True, service_workers="block", bypass_csp=True
        )
        page = calm(context.new_page())
        page.set_default_timeout(120_000)
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.goto(f"{base}/card")
        page.wait_for_selector("#begin")
        page.tap("[data-key=bridge_fitting]")
        page.tap("#bench-name")
        page.keyboard.press("Control+A")
        page.keyboard.type("bench 3")
        page.tap("#begin")
        page.wait_for_selector("#foot p")
        for k in range(DOZEN):
            serial, values = f"CL-{k + 1:04d}", [f"{rng.integers(12, 15) / 2:g}" for _ in range(2)]
            page.keyboard.type(serial)
            page.keyboard.press("Enter")
            open_ = f"document.querySelector('#serial')?.value === '{serial}' && document.querySelector('[data-row]')"
            page.wait_for_function(open_)
            if k == 0 and page.locator("#models button, [data-model]").count():
                page.locator("#models button, [data-model]").first.tap()
            for value in values:
                page.keyboard.type(value)
                page.keyboard.press("Enter")
            page.wait_for_selector('#outcomes button[data-outcome="pass"]')
            page.tap('#outcomes button[data-outcome="pass"]')
            page.wait_for_selector("#next:not([disabled])")
            page.tap("#next")
            page.wait_for_function(f"document.querySelector('#line')?.textContent === 'Kept: {serial}, passed.'")
            told.append((serial, *values))
        page.screenshot(path=str(Path(tempfile.gettempdir()) / "card-by-hand.png"))
        browser.close()
    return told, wrong


def seconds_until_said(client, before: list[str]) -> float:
    """From now until a card at the bench says a line it did not say before."""
    began = time.monotonic()
    while time.monotonic() - began < 600:
        asked = {"stage": "bridge_fitting", "serial": "NEW-1", "model": "LARK-25", "tech": ""}
        lines = client.post("/card/open", json=asked, base_url="http://127.0.0.1").get_json()["quiet"]
        if any("higher" in one for one in lines if one not in before):
            return time.monotonic() - began
        time.sleep(1)
    return float("nan")


def shop(folder: Path, rng: np.random.Generator) -> Path:
    """A shop with a baseline at the bench."""
    folder.mkdir()
    (folder / "shop.toml").write_text(SHOP)
    (folder / "specs.csv").write_text(SPECS)
    first = folder.parent / f"{folder.name}-first.csv"
    first.write_text(log(rng, 0, BEFORE, 0.0, "BL"))
    load(folder, [first], now=FIRST + timedelta(days=40))
    return folder


def main() -> None:
    """Type, then wait for the signal, by either door."""
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    rng, place = np.random.default_rng(SEED), Path(tempfile.mkdtemp())
    counter = Desk(shop(place / "one", rng))
    app = make_app(counter)
    server = make_server("127.0.0.1", 0, app.server, threaded=True)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    told, wrong = typed(f"http://127.0.0.1:{server.server_port}", rng)
    sheets = sorted((place / "one" / "cards").glob("card_*bench-3.csv"))
    kept = [row for path in sheets for row in csv.DictReader(path.open(newline=""))]
    client = app.server.test_client()
    moved = log(rng, BEFORE, AFTER, SHIFT, "BL")
    counter.jobs.wait(counter.jobs.load([("moved.csv", moved.encode())]), 600)
    by_page = seconds_until_said(client, [])
    other = Desk(shop(place / "two", rng))
    again = make_app(other).server.test_client()
    (place / "moved.csv").write_text(moved)
    again.get("/", base_url="http://127.0.0.1")  # somebody looks at this shop
    command = [Path(sys.executable).parent / "truerun", "load", place / "moved.csv", "--shop"]
    subprocess.run([*command, place / "two"], check=True, capture_output=True)
    by_command = seconds_until_said(again, [])
    server.shutdown()
    lines = [
        f"{DOZEN} instruments typed and tapped, seed {SEED}; complaints of the page: {len(wrong)}.",
        "",
        f"- typed {len(told)}, rows in the day's sheet {len(kept)}, in the order typed: "
        f"{[row['serial'] for row in kept] == [serial for serial, *_ in told]}",
        f"- from the end of a load to the line on the card: by the page {by_page:.0f} s, by `truerun load` "
        f"{by_command:.0f} s",
    ]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()
