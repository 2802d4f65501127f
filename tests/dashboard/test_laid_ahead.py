"""Pages are laid out before somebody opens them: once a standing of the shop, and not without rest."""

import sys
from types import SimpleNamespace

import dash
import pytest

from dashboard import laid_ahead
from dashboard.app import PAGES, make_app
from dashboard.desk.lately import Lately
from dashboard.pages.rework import page as rework


@pytest.fixture
def asked(monkeypatch):
    """Addresses in the order in which they are laid out: of a page that fails, and of one with two usual views."""
    seen = []

    def fails(**_address):
        seen.append("fails")
        raise ValueError

    def lays(**address):
        seen.append(address)

    for name, page in (("one", SimpleNamespace(layout=fails)), ("two", SimpleNamespace(layout=lays))):
        monkeypatch.setitem(sys.modules, f"dashboard.pages.{name}", page)
    sys.modules["dashboard.pages.two"].USUAL = ({}, {"weeks": "13"})
    monkeypatch.setattr(laid_ahead, "PAGES", {"one": "one", "two": "two"})
    monkeypatch.setattr(laid_ahead, "REST", 0.0)
    return seen


def test_pages_and_their_usual_views_are_laid_out_once_and_again_when_the_shop_has_changed(asked):
    stands = SimpleNamespace(key=1)
    pages = laid_ahead.PagesAhead(SimpleNamespace(snapshot=lambda: stands))
    assert pages.look()
    assert asked == ["fails", {}, {"weeks": "13"}]
    assert not pages.look()
    stands.key = 2
    assert pages.look()
    assert len(asked) == 6


def test_it_rests_before_the_next_round(asked, monkeypatch):
    monkeypatch.setattr(laid_ahead, "REST", 1e9)
    stands = SimpleNamespace(key=1)
    pages = laid_ahead.PagesAhead(SimpleNamespace(snapshot=lambda: stands))
    assert pages.look()
    stands.key = 2
    assert not pages.look()
    assert len(asked) == 3


def test_before_a_newer_shop_is_shown_the_first_view_of_each_page_is_laid_out_for_no_longer_than_a_while(
    asked, monkeypatch
):
    pages = laid_ahead.PagesAhead(SimpleNamespace(snapshot=lambda: SimpleNamespace(key=1), lately=Lately()))
    pages.first_views(None)
    assert asked == ["fails", {}]
    monkeypatch.setattr(laid_ahead, "SOON", 0.0)
    pages.first_views(None)
    assert len(asked) == 2


def test_views_that_people_opened_lately_are_laid_out_too_the_newest_first_for_no_longer_than_a_while(
    asked, monkeypatch
):
    lately = Lately()
    for page, address in (("two", {"lot": "x"}), ("one", {}), ("two", {"week": "2026-11-16"})):
        lately.opened(f"dashboard.pages.{page}", address)
    pages = laid_ahead.PagesAhead(SimpleNamespace(lately=lately))
    pages.first_views(None)
    assert asked == ["fails", {}, {"week": "2026-11-16"}, "fails", {"lot": "x"}]
    monkeypatch.setattr(laid_ahead, "LATELY", 0.0)
    pages.first_views(None)
    assert asked[5:] == ["fails", {}]


def test_the_usual_views_of_rework_are_its_periods():
    assert [address.get("weeks", "") for address in rework.USUAL] == ["", "13", "1", "52", rework.ALL]
    assert {address["weeks"] for address in rework.USUAL[1:]} == {*rework.PERIODS, rework.ALL} - {"4"}
    assert "rework.page" in PAGES.values()


def test_a_page_that_somebody_opened_is_remembered_and_one_that_could_not_be_shown_is_not(moving_desk, monkeypatch):
    monkeypatch.setattr(moving_desk, "lately", Lately())
    make_app(moving_desk)
    against, book = ("dashboard.pages.against", "dashboard.pages.book.page")
    for address in ({}, {"a_lot": "x"}, {"a_from": "no day"}):
        dash.page_registry[against]["layout"](**address)
    dash.page_registry[book]["layout"]()
    assert moving_desk.lately.views() == [(book, ()), (against, (("a_lot", "x"),)), (against, ())]
