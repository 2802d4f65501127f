"""In which order days are written, by the calendar, by points between, and by how they lie."""

from datetime import date, timedelta

import pytest

from ingest.reading.day_orders import date_order, days_in, orders_of
from ingest.reading.reader import read_log
from tests.ingest.small_shop import csv, small_shop

FIRST = date(2026, 9, 7)
WEEKDAYS = [day for n in range(75) if (day := FIRST + timedelta(days=n)).weekday() < 5]


@pytest.mark.parametrize(
    ("cells", "order", "sure"),
    [
        (["2026-03-02"], "ymd", True),
        (["13/02/2026"], "dmy", True),
        (["02/13/2026"], "mdy", True),
        (["02/03/2026"], "dmy", False),
        ([], "ymd", False),
    ],
)
def test_the_order_of_dates_is_told_by_a_part_above_12(cells, order, sure):
    assert date_order(cells) == (order, sure)


@pytest.mark.parametrize(
    ("days", "order", "sure"),
    [
        (["13/4/2026", "2/4/2026"], "dmy", True),  # no thirteenth month
        (["4/13/2026", "4/2/2026"], "mdy", True),
        (["12/4/2026", "4/12/2026"], "dmy", False),
        (["2026-04-03"], "ymd", True),
        (["32-04-03", "33-04-03"], "ymd", True),  # no day is the 32nd
        (["31-04-03"], "ymd", True),  # April has no 31st day
        (["30-04-03"], "dmy", False),
        ([], "ymd", False),
        (["5.4.2026", "6. 4. 2026"], "dmy", True),  # points: the day first
        (["5.4.2026", "6/4/2026"], "dmy", False),
        (["13.14.2026"], "dmy", False),  # neither way
        # of one fortnight the one way round, of most of a year the other
        ([f"{day}/4/2026" for day in range(1, 7)], "dmy", True),
        ([f"4/{day}/2026" for day in range(1, 7)], "mdy", True),
        ([f"{day}/4/2026" for day in range(1, 6)], "dmy", True),
        ([f"4/{day}/2026" for day in range(1, 5)], "dmy", False),  # four days: too few to tell by
        (["4/1/2026"] * 9, "dmy", False),
        ([f"{k}/{k}/2026" for k in range(1, 10)], "dmy", False),  # as long either way
        (["1/1/2025", "1/2/2025", "1/3/2025", "1/4/2025", "1/5/2026"], "dmy", False),  # over a year either way
        (["today", "5 Apr 2026"], "ymd", True),
    ],
)
def test_the_order_of_days_is_told_by_what_no_calendar_allows_or_by_the_shorter_time(days, order, sure):
    assert date_order(days) == (order, sure)


@pytest.mark.parametrize(
    ("written", "order"), [("%y/%m/%d", "ymd"), ("%d/%m/%y", "dmy"), ("%m/%d/%y", "mdy"), ("%d-%m-%y", "dmy")]
)
def test_years_of_two_figures_are_where_the_days_lie_together(written, order):
    assert date_order(f"{day:{written}}" for day in WEEKDAYS) == (order, True)
    assert date_order(f"{day:{written}}" for day in WEEKDAYS[:8]) == (order, True)


def test_days_of_many_years_are_read_so_that_they_rise_with_the_rows():
    days = [date(2003, 1, 2) + timedelta(days=41 * n) for n in range(200)]
    typed = [f"{day:%d/%m/%y}" for day in days]
    assert set(orders_of(typed)) == {"dmy", "ymd"}
    assert date_order(typed) == ("dmy", True)
    assert date_order(sorted(typed)) == ("dmy", False), "sorted as texts they rise year first"


def test_a_few_days_of_two_figures_each_are_asked_about():
    assert date_order(["26/09/07", "26/09/08"]) == ("dmy", False)
    assert orders_of(["26/09/07", "26/09/08", ""]) == ("dmy", "ymd")
    assert days_in(["26/09/07", "2026-09-08", ""], "ymd") == [date(2026, 9, 7)]


def test_points_put_the_day_first_unless_the_days_lie_together_year_first():
    assert date_order(["02.11.26"]) == ("dmy", True)
    assert date_order(f"{day:%y.%m.%d}" for day in WEEKDAYS) == ("ymd", True)


def read(*days, order):
    rows = [f"A{n},LARK-25,final_inspection,T07,{day},pass" for n, day in enumerate(days)]
    return read_log(csv("serial,model,stage,tech,date,outcome", *rows), "a.csv", small_shop(date_order=order))


@pytest.mark.parametrize(("order", "said"), [("dmy", 1), ("ymd", 0)])
def test_a_log_read_in_an_order_in_which_its_days_scatter_over_years_says_so(order, said):
    days = [f"{day:%y/%m/%d}" for day in WEEKDAYS]
    notes = [note for note in read(*days, order=order).notes if "date_order" in note]
    assert len(notes) == said
    if notes:
        told = "'26/09/07', are read as day-month-year and lie in 30 years so, as year-month-day in 1: if"
        assert told in notes[0]


def test_days_that_one_order_alone_allows_or_that_lie_together_either_way_are_not_doubted():
    for days, order in ((["02/13/2026"] * 9, "dmy"), ([f"0{n}/04/2026" for n in range(1, 4)], "mdy")):
        assert not [note for note in read(*days, order=order).notes if "date_order" in note]


def test_five_days_of_one_week_that_lie_in_five_months_the_other_way_round_are_doubted():
    days = [f"{day:02d}/05/2026" for day in range(4, 9)]
    [note] = [note for note in read(*days, order="mdy").notes if "date_order" in note]
    assert "'04/05/2026', are read as month-day-year and lie in 5 months so, as day-month-year in 1: if" in note
    assert not [note for note in read(*days, order="dmy").notes if "date_order" in note]


def test_days_that_only_another_order_allows_say_so_and_that_files_before_were_read_so_too():
    sheet = read(*[f"{day:02d}/05/2026" for day in range(11, 16)], order="mdy")
    [note] = [note for note in sheet.notes if "date_order" in note]
    assert "are all of them days as day-month-year, 2 of 5 as month-day-year" in note
    assert 'date_order = "dmy"' in note
    assert "files loaded before were read so too" in note
    assert sheet.set_aside["wanted"][0].startswith("month-day-year under 'date'")
