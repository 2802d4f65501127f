"""What an address asks for and is not there is said above the page; a matter is found by its words and its number."""

import pytest

from analysis.studies.matters import register
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages import asked, find
from dashboard.pages.book import page as book
from tests.dashboard.pages.said import said


@pytest.fixture
def client(moving_desk):
    return make_app(moving_desk).server.test_client()


@pytest.mark.parametrize(
    ("path", "address", "told"),
    [
        ("/drift", {"models": "NOPE"}, "model 'NOPE'"),
        ("/bench", {"tech": "T99"}, "tech 'T99'"),
        ("/necks", {"supplier": "Nobody"}, "supplier 'Nobody'"),
        ("/capability", {"characteristic": "weight", "model": "NOPE"}, "characteristic 'weight' and model 'NOPE'"),
        ("/rework", {"stage": "moon"}, "stage 'moon'"),
    ],
)
def test_what_is_not_there_is_said(client, path, address, told):
    assert told in said(asked.strip(path, address))


@pytest.mark.parametrize(
    "address",
    [
        {"models": "LARK-25"},
        {"models": "family tenor ukulele"},
        {"tech": "T01"},
        {"stage": "packing"},
        {"model": "all"},
    ],
)
def test_nothing_is_said_of_what_is_there(client, address):
    assert asked.strip("/drift", address) is None


def test_a_matter_is_found_by_words_and_by_number_and_opens_in_book(client):
    (one,) = (each for each in desk.ask(register.register) if each.matter is not None and each.waits)
    assert one.key in {each.key for each in find.matters("treble higher")}
    assert find.matters("treble lower moon") == find.matters("?") == []
    assert client.get("/go", query_string={"q": one.key}).headers["Location"] == f"/book?key={one.key}"
    text = said(find.layout(q="LARK-25"))
    assert "In Book" in text
    assert "Action treble, LARK-25: 0.29 mm higher" in text
    opened = said(book.layout(key=one.key))
    assert '"open": true' in opened
    assert f"No. {one.key}" in opened
    assert "No matter or decision has the number d99" in said(book.layout(key="d99"))
