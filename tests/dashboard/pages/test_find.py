"""The header's field: to the one thing that is meant, else to a list of links."""

from urllib import parse

from analysis.studies.necks import lots
from dashboard.app import make_app
from dashboard.pages import find
from dashboard.pages.logs import readings
from dashboard.pages.necks import page as necks
from tests.dashboard.pages.said import said


def test_one_serial_leads_straight_to_its_story(demo_desk):
    serial = demo_desk.snapshot().table("visits", "serial")["serial"].drop_nulls()[0]
    client = make_app(demo_desk).server.test_client()
    answer = client.get("/go", query_string={"q": serial.lower()})
    assert answer.status_code == 302
    assert answer.headers["Location"] == f"/logs/instrument?serial={serial}"


def test_a_lot_of_measured_necks_leads_to_necks_and_its_readings_are_one_link_on(demo_desk):
    client = make_app(demo_desk).server.test_client()
    lot, supplier = demo_desk.snapshot().once(lots.necks).select("lot", "supplier").row(0)
    to = parse.urlsplit(client.get("/go", query_string={"q": lot}).headers["Location"])
    assert (to.path, parse.parse_qs(to.query)["lot"]) == ("/necks", [lot])
    assert f"All readings of lot {lot}" in said(necks.layout(lot=lot, supplier=supplier))
    assert f"Lot {lot} on Necks" in said(readings.layout(lot=lot))


def test_several_lead_to_a_list_with_a_link_for_each(demo_desk):
    client = make_app(demo_desk).server.test_client()
    assert client.get("/go", query_string={"q": "2"}).headers["Location"] == "/find?q=2"
    page = said(find.layout(q="2"))
    assert "things go by “2”" in page
    assert "Instruments" in page
    assert "more; type more of its name" in page


def test_nothing_found_and_nothing_asked_say_so(demo_desk):
    assert "Nothing here goes by “zzzz”" in said(find.layout(q="zzzz"))
    assert "What are you looking for?" in said(find.layout())
    client = make_app(demo_desk).server.test_client()
    assert client.get("/go").headers["Location"].startswith("/find")


def test_a_letter_that_cannot_be_is_refused_readably(demo_desk):
    client = make_app(demo_desk).server.test_client()
    assert client.get("/go?q=%00").status_code == 400
    assert client.get("/go?q=a&q=b").status_code == 400
