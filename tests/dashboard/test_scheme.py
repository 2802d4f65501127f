"""Every document follows the system's light or dark, or what somebody chose, by one script before it is drawn."""

from pathlib import Path

import pytest

import dashboard
from dashboard.app import make_app

SCRIPT = '<script src="/assets/scheme.js"></script>'
HERE = "http://127.0.0.1"


@pytest.fixture
def client(moving_desk):
    return make_app(moving_desk).server.test_client()


@pytest.mark.parametrize("path", ["/", "/card", "/?week=zebra"])
def test_a_document_asks_the_system_before_it_is_drawn(client, path):
    text = client.get(path, base_url=HERE).get_data(as_text=True)
    assert 0 < text.index(SCRIPT) < text.index("<body>")
    assert text.count("scheme.js") == 1
    with client.get("/assets/scheme.js", base_url=HERE) as answer:
        assert "prefers-color-scheme: dark" in answer.get_data(as_text=True)


def test_pages_of_signing_in_do_so_too():
    base = (Path(dashboard.__file__).parent / "gate" / "templates" / "base.html").read_text()
    assert base.index(SCRIPT) < base.index("/assets/tokens.css")
