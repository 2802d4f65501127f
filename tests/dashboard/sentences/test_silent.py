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
from dashboard.sentences import findings, silent
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


def test_weeks_in_a_row_are_one_question_and_a_week_with_work_parts_them():
    weeks = [(date(2026, 10, day), date(2026, 10, day + 4)) for day in (5, 12, 19)]
    (told,) = silent.asked_of(pl.DataFrame(weeks, schema=SILENT, orient="row"))
    assert plain(told[0]) == ("Nothing was read of three weeks, 5 Oct to 23 Oct: no work, or files that are missing?")
    assert told[1].endswith('closed = ["2026-10-05/2026-10-23"].')
    two = silent.asked_of(
        pl.DataFrame([*weeks[:2], (date(2026, 10, 26), date(2026, 10, 30))], schema=SILENT, orient="row")
    )
    assert [plain(short).partition(":")[0] for short, _ in two] == [
        "Nothing was read of two weeks, 5 Oct to 16 Oct",
        "Nothing was read of 26 Oct to 30 Oct",
    ]
    assert silent.asked_of(pl.DataFrame(schema=SILENT)) == []


def test_what_stands_open_is_told_of_an_empty_week_as_of_before_it(looked_at, monkeypatch):
    shop, made = desk.here().snapshot().shop, looked_at.ask(review, week=date(2026, 3, 30))
    none = pl.DataFrame([(made.week, made.last_day)], schema=SILENT, orient="row")
    empty = replace(made, silent=none)
    (one,) = findings.week(empty, shop)
    assert plain(one.text) == (
        "One matter stands open from before it: Action treble on LARK-25 up 0.29 mm (0.26 to 0.32) since about 30 Mar."
    )
    shown = replace(week_shown.told(made.week), review=empty)
    page_text = plain(said(week_findings.findings(shown, shop)))
    assert "stands open from before it" in page_text
    assert "moved up" not in page_text
    assert week_shown._drawn(empty, shop) == []
    assert week_shown._drawn(made, shop) != []
    several = silent.standing(["Action on A up", "Relief on B down", "Action on C up", "Relief on D", "Relief on E"])
    assert several == (
        "Five matters stand open from before it: Action on A up; relief on B down; action on C up and two more."
    )
