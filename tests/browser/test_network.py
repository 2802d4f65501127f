"""On the network, in a browser: a tablet is enrolled, enters ten instruments with the network cut for five and the
browser killed in between, and is taken away; a trainer, a bench and a guest see what they may. One server, with TLS.
"""

import csv
import re
import threading
from collections.abc import Iterator
from pathlib import Path

import argon2
import pytest
from playwright.sync_api import BrowserContext, BrowserType, Page

from dashboard.app import make_app
from dashboard.desk.desk import Desk
from dashboard.gate.network import Network
from dashboard.gate.server import Server, tls
from ingest.access import passwords, people, tablets
from ingest.store.store import open_snapshot
from tests.browser.conftest import ARGUMENTS, CHROMIUM
from tests.dashboard.gate.served_shop import PEOPLE, WORDS
from tests.dashboard.gate.test_server import CERTIFICATE, KEY
from tests.dashboard.pages.people_shop import NOW, stands

TECH = "T02"


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Iterator[Path]:
    made = stands(tmp_path_factory.mktemp("network") / "shop")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passwords, "_HASHER", argon2.PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
        for role, name in PEOPLE.items():
            people.add(made, name, role, WORDS, tech=TECH if role == "bench" else "", now=NOW)
        yield made


@pytest.fixture(scope="module")
def address(folder) -> Iterator[str]:
    app = make_app(Desk(folder), Network(frozenset({"localhost"}), secure=True))
    server = Server(app.server, context=tls(CERTIFICATE, KEY), network=True, host="127.0.0.1", port=0)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield f"https://localhost:{server.effective_port}"
    server.task_dispatcher.shutdown(timeout=1)
    server.quick.shutdown(timeout=1)
    server.asyncore.close_all(server._map)
    thread.join(5)


@pytest.fixture
def start(chromium: BrowserType, tmp_path) -> Iterator[object]:
    """Starts browsers that trust the certificate of these tests, as a tablet does once it was installed there."""
    opened: list[BrowserContext] = []

    def one(profile: str = "profile") -> BrowserContext:
        made = chromium.launch_persistent_context(
            tmp_path / profile,
            executable_path=CHROMIUM,
            args=[*ARGUMENTS, "--ignore-certificate-errors"],
            ignore_https_errors=True,
            bypass_csp=True,  # what waits for a page here is a script of its own
            viewport={"width": 1024, "height": 768},
        )
        made.set_default_timeout(90_000)
        opened.append(made)
        return made

    yield one
    for each in opened:
        each.close()


def sign_in(page: Page, address: str, role: str, path: str = "/") -> None:
    page.goto(f"{address}{path}")
    page.fill("input[name=name]", PEOPLE[role])
    page.fill("input[name=password]", WORDS)
    page.click("form button")


def cut(context: BrowserContext) -> None:
    """The network goes: what is asked of the machine meets nothing."""
    context.set_offline(True)


def scan(page: Page, serial: str) -> None:
    """One instrument whose readings are typed, passed, whether or not the machine answers."""
    page.fill("#serial", serial)
    page.press("#serial", "Enter")
    there = f"document.querySelector('#serial').value === '{serial}'"
    page.wait_for_function(f"{there} && document.querySelector('#outcomes button:not([disabled])')")
    page.click('#outcomes button[data-outcome="pass"]')
    page.click("#next")
    page.wait_for_function(f"document.querySelector('#line')?.textContent.includes(': {serial}, passed')")


def kept(folder: Path) -> list[str]:
    out = []
    for path in (folder / "cards").glob("card_*.csv"):
        with path.open(newline="") as file:
            out += [row["serial"] for row in csv.DictReader(file)]
    return out


@pytest.mark.long
def test_a_tablet_works_on_while_the_network_is_dead_and_loses_and_doubles_nothing(start, address, folder):
    code = tablets.new_code(folder, "Window", "final_inspection", "Ana", now=book_now())
    tablet = start()
    page = tablet.new_page()
    page.goto(f"{address}/enrol")
    page.fill("input[name=code]", code)
    page.click("form button")
    page.wait_for_selector("#serial")  # at its bench at once: nothing to choose
    assert page.locator("#other").count() == 0
    page.wait_for_function("navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    page.wait_for_selector("#foot p")
    known = sorted(open_snapshot(folder).table("visits", "serial")["serial"].unique().to_list())[:10]
    for serial in known[:5]:
        scan(page, serial)
    page.wait_for_function("document.querySelector('#net')?.textContent === 'All cards kept'")
    cut(tablet)
    for serial in known[5:8]:
        scan(page, serial)
    assert page.text_content("#net").startswith("Not sent yet: 3 cards kept here")
    tablet.close()  # the browser is gone, with three cards on its disk
    tablet = start()
    cut(tablet)
    page = tablet.new_page()
    page.goto(f"{address}/card")  # it opens without a network
    page.wait_for_function("document.querySelector('#net')?.textContent.includes('3 cards')")
    for serial in known[8:]:
        scan(page, serial)
    page.reload()
    page.wait_for_function("document.querySelector('#net')?.textContent.includes('5 cards')")
    tablet.set_offline(False)
    page.wait_for_function("document.querySelector('#net')?.textContent === 'All cards kept'")
    assert sorted(kept(folder)) == known
    tablets.revoke(folder, tablets.enrolled(folder)[0].id, now=book_now())
    page.goto(f"{address}/card")
    page.wait_for_selector("text=Sign in")


def book_now():
    from datetime import UTC, datetime

    return datetime.now(UTC)


def test_each_sees_what_they_may_and_signs_under_their_own_name(start, address, folder):
    browser = start()
    page = browser.new_page()
    sign_in(page, address, "trainer", f"/bench?tech={TECH}")
    page.wait_for_selector("#bench-sign, #bench-agree")
    names = page.locator(".field input[readonly]")
    assert "Tom" in {names.nth(n).input_value() for n in range(names.count())}
    page.goto(f"{address}/people")
    assert "not open to you" in page.text_content("body")
    page.goto(f"{address}/me")
    page.click("#sign-out")
    page.wait_for_selector("input[name=password]")
    page.goto(f"{address}/bench")
    page.wait_for_selector("input[name=password]")  # nothing is left open
    sign_in(page, address, "bench")
    page.wait_for_url(re.compile("/card"))
    page.goto(f"{address}/me")
    assert "Tom, trainer" in page.text_content("#looked")
    page.click("text=My figures")
    own = page.text_content("body")
    assert TECH in own
    assert not any(other in own for other in ("T01", "T03", "T09"))
    page.goto(f"{address}/papers/bench?tech=T03")
    assert "not open to you" in page.text_content("body")
    page.goto(f"{address}/me")
    page.click("#sign-out")
    sign_in(page, address, "guest")
    page.wait_for_selector("#main h1")
    assert page.locator("#main input").count() == 0  # nothing to write
    links = page.locator("nav a")
    assert [links.nth(n).text_content() for n in range(links.count())] == ["Week", "Gus"]
