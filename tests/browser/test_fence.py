"""Pages keep to the content policy they are sent with, in a browser that heeds it."""

import pytest

from dashboard.app import make_app
from tests.browser.conftest import ARGUMENTS, CHROMIUM


@pytest.fixture
def strict(chromium):
    opened = chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
    page = opened.new_page()
    page.set_default_timeout(60_000)
    page.said = []
    page.on("console", lambda said: page.said.append(said.text) if said.type == "error" else None)
    yield page
    opened.close()


def test_pages_are_drawn_under_their_policy(strict, kept_demo_desk, served):
    address = served(make_app(kept_demo_desk))
    for path, drawn in (("/drift", "#main .drawn svg"), ("/logs", "#main h1"), ("/papers/week", "body h1")):
        strict.goto(address + path)
        strict.locator(drawn).first.wait_for()
        strict.wait_for_load_state("networkidle")
    assert strict.said == []


def test_a_script_from_nowhere_is_not_run(strict, kept_demo_desk, served):
    strict.goto(served(make_app(kept_demo_desk)) + "/logs")
    strict.locator("#main h1").first.wait_for()
    ran = strict.evaluate(
        "() => { const s = document.createElement('script'); s.textContent = 'window.ran = 1'; "
        "document.body.append(s); return window.ran }"
    )
    assert ran is None
    assert any("Content Security Policy" in line for line in strict.said)
