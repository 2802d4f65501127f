"""Which requests may be answered of the shop as it stood, by the page that is opened."""

from contextlib import suppress

import pytest
from werkzeug.exceptions import BadRequest

from dashboard import app
from dashboard.desk.desk import Desk, patient


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
