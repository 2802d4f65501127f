"""The week kept beside the store is the week worked out, until anything that it hangs on is another."""

from dataclasses import replace
from datetime import date

import pytest

from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.exports import copies
from dashboard.pages.week import page, shown
from dashboard.papers import week as paper
from ingest.store import kept_texts
from ingest.verbs.load import load
from tests.dashboard.pages import moving_shop
from tests.dashboard.pages.said import said

MOVED, BEFORE = date(2026, 3, 30), date(2026, 3, 23)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setattr(shown, "LONG", -1.0)
    folder = moving_shop.stands(tmp_path / "shop")
    opened(folder)
    return folder


def opened(folder):
    """The shop as another process opens it."""
    make_app(moving_shop.desk(folder))
    return desk.here()


def texts(folder):
    place = folder / "store" / kept_texts.FOLDER
    return sorted(path.name for path in place.iterdir()) if place.exists() else []


def asks_no_study(monkeypatch):
    """From here on the review cannot be worked out."""

    def refuses(*_asked, **_options):
        raise AssertionError("the week is worked out")

    monkeypatch.setattr(shown, "review", refuses)


def test_who_opens_the_shop_next_has_page_and_paper_to_the_last_word(folder, monkeypatch):
    there = [str(page.layout()), paper.paper()[1], str(page.layout(week=str(BEFORE))), paper.paper(week=BEFORE)[1]]
    assert len(texts(folder)) == 4
    opened(folder)
    asks_no_study(monkeypatch)
    then = [str(page.layout()), paper.paper()[1], str(page.layout(week=str(BEFORE))), paper.paper(week=BEFORE)[1]]
    assert then == there


def test_what_is_kept_is_what_was_made(folder):
    made, whole = shown.of_page(), shown.told()
    opened(folder)
    assert copies.to_text(shown.of_page()) == copies.to_text(made)
    assert copies.to_text(shown.told()) == copies.to_text(whole)


def test_a_line_of_the_book_makes_another_week(folder):
    before = said(page.layout())
    opened(folder)
    page.layout()
    desk.here().write_entry("decision", "New saddle blanks on LARK", who="Mo", owner="Mo", week=MOVED)
    assert "New saddle blanks on LARK" in str(page.layout())
    assert said(page.layout()) != before
    opened(folder)
    assert "New saddle blanks on LARK" in str(page.layout())


def test_more_logs_make_another_week(folder):
    page.layout()
    kept = texts(folder)
    log = folder / "more.csv"
    head, *rows = moving_shop.log().splitlines()
    log.write_text("\n".join([head, rows[-1].replace("LA-", "ZZ-")]) + "\n")
    (one,) = load(folder, [log], now=moving_shop.NOW)
    assert one.outcome == "loaded"
    arrived = shown.of_page().review.arrived
    assert texts(folder) != kept
    opened(folder)
    assert shown.of_page().review.arrived.equals(arrived)
    assert shown.of_page().version == desk.here().snapshot().version


def test_another_shop_file_makes_another_week(folder):
    page.layout()
    name = "The other bench"
    file = folder / "shop.toml"
    file.write_text(file.read_text().replace("name = ", f'name = "{name}" # ', 1))
    opened(folder)
    assert name in paper.paper()[1]


def test_other_code_reads_nothing_of_it(folder, monkeypatch):
    page.layout()
    opened(folder)
    monkeypatch.setattr(shown, "_code", lambda: "another")
    asks_no_study(monkeypatch)
    with pytest.raises(AssertionError):
        page.layout()


def test_a_week_of_which_a_part_failed_is_not_kept(folder, monkeypatch):
    whole = shown.of_page()
    opened(folder)
    for name in texts(folder):
        (folder / "store" / kept_texts.FOLDER / name).unlink()
    failed = replace(whole.review, gaps={"weeks": "could not be worked out"})
    monkeypatch.setattr(shown, "review", lambda _snapshot, week=None: failed)
    assert shown.of_page().review.gaps
    assert not texts(folder)


def test_what_took_no_time_is_not_kept(folder, monkeypatch):
    monkeypatch.setattr(shown, "LONG", 1e9)
    page.layout()
    paper.paper()
    assert not texts(folder)


def test_a_copy_that_cannot_be_read_is_worked_out(folder, monkeypatch):
    there = str(page.layout())
    opened(folder)
    monkeypatch.setattr(shown.copies, "from_text", _no_copy)
    assert str(page.layout()) == there


def _no_copy(*_asked, **_options):
    raise copies.NoCopy("of a later version")
