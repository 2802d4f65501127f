"""A week of which nothing was read is asked about on page and paper, until somebody says that the shop was closed."""

from dataclasses import replace
from datetime import date

import polars as pl
import pytest

from analysis.review import review
from analysis.studies.week.silent import SILENT
from dashboard.desk import desk
from dashboard.pages.week import findings as week_findings
from dashboard.pages.week import page, sheets
from dashboard.pages.week import shown as week_shown
from dashboard.papers import week as paper
from dashboard.sentences import findings
from dashboard.sentences.week import data_arrived
from tests.dashboard.pages.said import said

ROWS = pl.DataFrame([(date(2026, 3, 2), date(2026, 3, 6))], schema=SILENT, orient="row")
ASKED = "Nothing was read of 2 Mar to 6 Mar: no work, or a file that is missing?"
CLOSED = 'closed = ["2026-03-02/2026-03-06"]'


def plain(text):
    return text.replace("\u00a0", " ").replace("&#34;", '"').replace('\\"', '"')


@pytest.fixture
def looked_at(moving_desk):
    desk.use(moving_desk)
    return moving_desk


def test_a_week_before_without_a_row_is_asked_about(looked_at, monkeypatch):
    shop = looked_at.snapshot().shop
    found = replace(looked_at.ask(review), silent=ROWS)
    text = plain(said(sheets.arrived(found, shop)))
    assert ASKED in text
    assert CLOSED in text
    assert "Every stage that should have written" not in text
    assert plain(data_arrived(found, shop)).startswith(ASKED)
    kept = replace(week_shown.told(None), review=found)
    monkeypatch.setattr(paper, "told", lambda _week: kept)
    assert ASKED in plain(paper.paper()[1])
    assert CLOSED in plain(paper.paper()[1])


def test_the_newest_week_is_asked_about_once_it_is_over(looked_at, monkeypatch):
    for module in (week_shown, paper):
        monkeypatch.setattr(module, "awaited_since", lambda _found: ROWS)
    assert ASKED in plain(said(page.layout()))
    assert ASKED in plain(paper.paper()[1])
    assert ASKED not in plain(paper.paper(week=looked_at.ask(review).week)[1])  # asked for by its day: an old one


def test_where_rows_came_each_week_nothing_is_asked(looked_at):
    assert "Nothing was read of" not in said(page.layout())
    assert "Nothing was read of" not in paper.paper()[1]


def test_a_week_of_which_nothing_was_read_says_that_first_and_tells_of_no_move(looked_at):
    shop, made = desk.here().snapshot().shop, looked_at.ask(review, week=date(2026, 3, 30))
    assert "moved up" in findings.first(made, shop)
    none = pl.DataFrame([(made.week, made.last_day)], schema=SILENT, orient="row")
    empty = replace(made, silent=none)
    asked = "Nothing was read of this week: no work, or a file that is missing?"
    assert findings.first(empty, shop) == findings.headline(empty, shop) == asked
    assert findings.next_step(empty, shop).startswith("load its file")
    shown = week_shown.of_page(made.week)
    way = said(week_findings.next_step(replace(shown, review=empty), shop))
    assert "/logs" in way
    assert "/drift" not in way
    assert "moved up" in findings.first(replace(made, silent=ROWS), shop)  # of an earlier week
