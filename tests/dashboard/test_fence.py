"""Only pages of ours, called by this machine's own name, are answered; a browser is told to keep the rest out."""

import pytest

from dashboard import fence
from dashboard.app import make_app
from dashboard.desk.desk import Desk
from ingest.store import book
from tests.ingest.bench import shop

ELSEWHERE = "This request comes from another page than ours."


@pytest.fixture
def folder(tmp_path):
    return shop(tmp_path)


@pytest.fixture
def client(folder):
    return make_app(Desk(folder)).server.test_client()


@pytest.mark.parametrize("host", ["127.0.0.1:8050", "localhost", "LOCALHOST:8050", "[::1]:8050"])
def test_this_machine_is_answered_by_its_own_names(client, host):
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["truerun.example", "127.0.0.1.example", "localhost.example:8050", "0.0.0.0:8050", "192.168.1.20:8050", "[", ""],
)
@pytest.mark.parametrize("path", ["/", "/save/readings", "/papers/week", "/assets/tokens.css", "/_dash-layout"])
def test_a_name_that_was_pointed_here_reads_nothing(client, host, path):
    answer = client.get(path, headers={"Host": host})
    assert answer.status_code == 400
    assert "Shop" not in answer.text


@pytest.mark.parametrize("origin", ["http://shop.example", "null", "https://127.0.0.1.example", "http://127.0.0.1:9"])
def test_a_page_from_elsewhere_writes_nothing(client, folder, origin):
    before = book.last_sequence(folder)
    answer = client.post("/_dash-update-component", json={}, headers={"Host": "127.0.0.1:8050", "Origin": origin})
    assert (answer.status_code, ELSEWHERE in answer.text) == (400, True)
    assert book.last_sequence(folder) == before


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_page_from_elsewhere_may_link_here_and_no_more(client, site):
    visit = {"Sec-Fetch-Site": site, "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}
    assert client.get("/", headers=visit).status_code == 200
    for change in (
        {"Sec-Fetch-Mode": "no-cors", "Sec-Fetch-Dest": "script"},
        {"Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "iframe"},
    ):
        assert ELSEWHERE in client.get("/save/readings", headers=visit | change).text
    assert ELSEWHERE in client.post("/_dash-update-component", json={}, headers=visit).text


def test_our_own_pages_are_answered(client):
    own = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050", "Sec-Fetch-Site": "same-origin"}
    assert ELSEWHERE not in client.post("/_dash-update-component", json={}, headers=own).text


@pytest.mark.parametrize("path", ["/", "/no-such-page", "/papers/week", "/logs?question=abc:²:col"])
def test_every_page_tells_the_browser_what_to_keep_out(client, path):
    told = client.get(path).headers
    policy = dict(part.split(" ", 1) for part in told["Content-Security-Policy"].split("; "))
    assert policy["frame-ancestors"] == "'none'"
    assert "http" not in told["Content-Security-Policy"]
    assert {name: told[name] for name in fence.HEADERS} == fence.HEADERS
    assert ("'unsafe-inline'" in policy["script-src"]) == path.startswith("/papers/")


def test_every_script_written_into_the_page_is_one_we_know(client):
    import base64
    import hashlib
    import re

    answer = client.get("/")
    scripts = re.findall(r"<script(?![^>]*(?:src=|application/json))[^>]*>(.*?)</script>", answer.text, re.S)
    assert scripts
    for script in scripts:
        known = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
        assert f"'sha256-{known}'" in answer.headers["Content-Security-Policy"]


def test_a_browser_asks_for_an_asset_once_and_for_a_page_each_time(moving_desk):
    client = make_app(moving_desk).server.test_client()

    def told(path):
        with client.get(path, base_url="http://127.0.0.1") as answer:
            return answer.headers.get("Cache-Control", "")

    assert "immutable" in told("/assets/page.css?m=1")
    assert told("/assets/marks/logo.svg") == "public, max-age=3600"
    assert "immutable" not in told("/assets/nothing.css?m=1")
    assert "max-age" not in told("/")
    assert "max-age" not in told("/card")
