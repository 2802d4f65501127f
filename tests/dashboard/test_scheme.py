"""Documents outside the frame follow the system's light or dark by one script; the frame does so itself, without it."""

from pathlib import Path

import pytest

import dashboard
from dashboard.app import make_app

SCRIPT = '<script src="/assets/scheme.js"></script>'
HERE = "http://127.0.0.1"


@pytest.fixture
def client(moving_desk):
    return make_app(moving_desk).server.test_client()


@pytest.mark.parametrize("path", ["/card", "/?week=zebra"])
def test_a_document_of_its_own_asks_the_system_before_it_is_drawn(client, path):
    text = client.get(path, base_url=HERE).get_data(as_text=True)
    assert text.index(SCRIPT) < text.index("/assets/tokens.css")
    with client.get("/assets/scheme.js", base_url=HERE) as answer:
        assert "prefers-color-scheme: dark" in answer.get_data(as_text=True)


def test_pages_of_signing_in_do_so_too_and_the_frame_does_not(client):
    base = (Path(dashboard.__file__).parent / "gate" / "templates" / "base.html").read_text()
    assert base.index(SCRIPT) < base.index("/assets/tokens.css")
    frame = client.get("/", base_url=HERE).get_data(as_text=True)
    assert "/assets/page.js" in frame
    assert "scheme.js" not in frame
