"""Which requests may be answered of the shop as it stood, by the page that is opened."""

from contextlib import suppress
from datetime import date
from threading import Event

import pytest
from werkzeug.exceptions import BadRequest

from dashboard import app
from dashboard.desk.desk import Desk, patient
from ingest.verbs.load import load
from tests.dashboard.test_doors import sent
from tests.ingest.bench import NOW, log, row, shop


@pytest.mark.parametrize(
    ("path", "page", "waits"),
    [
        ("/_dash-update-component", "http://localhost/drift?stage=x", True),
        ("/_dash-update-component", "http://localhost/logs", False),
        ("/_dash-update-component", "", False),
        ("/", "", True),
        ("/_dash-layout", "http://localhost/", True),
        ("/logs", "", False),
        ("/papers/week", "http://localhost/", False),
        ("/save/readings", "http://localhost/drift", False),
    ],
)
def test_only_pages_of_figures_may_be_shown_as_they_stood(tmp_path, path, page, waits):
    server = app.make_app(Desk(tmp_path)).server
    with server.test_request_context(path, headers={"Referer": page}):
        with suppress(BadRequest):  # it is no whole request
            server.preprocess_request()
        assert patient.get() is waits


@pytest.mark.parametrize(
    ("opens", "waits"),
    [
        ("/drift", True),
        ("/book", True),
        ("/against", True),
        ("/gauges", True),
        ("/logs/readings", True),
        ("/logs/visits", True),
        ("/logs", False),
        ("/logs/instrument", False),
        ("/logs/correct", False),
        ("/find", False),
        (["/drift"], False),
    ],
)
@pytest.mark.parametrize("comes_from", ["http://localhost/logs", "http://localhost/drift", ""])
def test_a_page_that_is_opened_may_wait_by_what_it_is_and_not_by_where_one_comes_from(
    tmp_path, opens, waits, comes_from
):
    server = app.make_app(Desk(tmp_path)).server
    location = [{"id": "_pages_location", "property": "pathname", "value": opens}]
    for output in ("_pages_content.children", "shop-name.children"):
        asked = {"json": {"output": output, "inputs": location}, "headers": {"Referer": comes_from}}
        with server.test_request_context("/_dash-update-component", method="POST", **asked):
            with suppress(BadRequest):
                server.preprocess_request()
            assert patient.get() is waits


@pytest.mark.parametrize("body", [b"[" * 100_000, b"{", b"[1]", b'{"inputs": 3}', b'{"inputs": [3, {}]}'])
def test_a_request_that_is_none_of_ours_waits_by_where_it_comes_from(tmp_path, body):
    server = app.make_app(Desk(tmp_path)).server
    asked = {"data": body, "content_type": "application/json", "headers": {"Referer": "http://localhost/drift"}}
    with server.test_request_context("/_dash-update-component", method="POST", **asked):
        with pytest.raises(BadRequest):
            server.preprocess_request()
        assert patient.get() is True


@pytest.fixture
def worked_out(tmp_path):
    """A served shop of two instruments whose next logs are being worked out, and what lets that end."""
    folder, go = shop(tmp_path), Event()
    load(folder, [log(folder, "a.csv", [row("A1"), row("A2")])], now=NOW)
    desk = Desk(folder)
    client = app.make_app(desk).server.test_client()
    desk.work_ahead(lambda _snapshot: go.wait(30))
    assert "A2" in sent(client, "/logs/readings")
    load(folder, [log(folder, "b.csv", [row("A3")])], now=NOW)
    yield desk, client, go
    go.set()


def test_rows_behind_a_number_wait_with_it_and_logs_and_an_instrument_tell_the_newest(worked_out):
    desk, client, go = worked_out
    assert "A3" not in sent(client, "/logs/readings")
    assert "b.csv" in sent(client, "/logs")
    assert "A3 cannot" not in sent(client, "/logs/instrument", "?serial=A3")
    assert "b.csv" in sent(client, "/logs/instrument", "?serial=A3")
    assert "A3" not in sent(client, "/logs/readings")  # nobody else hurried it
    go.set()
    desk._ahead.wait(30)
    assert "A3" in sent(client, "/logs/readings")


def test_the_book_shows_a_line_to_whoever_wrote_it_though_newer_logs_are_being_worked_out(worked_out):
    desk, client, _ = worked_out
    assert "Buy new nut files" not in sent(client, "/book")
    assert "A3" not in sent(client, "/logs/readings")
    desk.write_entry("decision", "Buy new nut files", who="Mo", owner="Mo", week=date(2026, 3, 2))
    assert "Buy new nut files" in sent(client, "/book")
    assert "A3" in sent(client, "/logs/readings")
