"""Days are shown and taken in the order of the shop's own sheets; year-month-day is taken anywhere."""

from datetime import date
from types import SimpleNamespace

import pytest

from analysis.methods.problems import UnusableData
from dashboard.pages import days
from ingest.shopfiles.shop import Shop

DAY = date(2026, 11, 7)


@pytest.fixture(params=["ymd", "dmy", "mdy"])
def order(request, monkeypatch):
    snapshot = SimpleNamespace(shop=SimpleNamespace(date_order=request.param))
    monkeypatch.setattr(days.desk, "here", lambda: SimpleNamespace(snapshot=lambda: snapshot))
    return request.param


def test_a_field_shows_a_day_as_it_takes_one(order):
    made = days.field("From", "f", DAY)
    assert made.value == {"ymd": "2026-11-07", "dmy": "07/11/2026", "mdy": "11/07/2026"}[order]
    assert days.read(made.value) == DAY
    assert (made.day, made.order) == ("2026-11-07", order)
    assert made.placeholder == {"ymd": "yyyy-mm-dd", "dmy": "dd/mm/yyyy", "mdy": "mm/dd/yyyy"}[order]
    assert days.field("From", "f", "").value == ""


def test_short_days_points_and_spaces_are_read_in_that_order(order):
    text = {"ymd": "2026.11.7", "dmy": " 7.11.26 ", "mdy": "11-7-26"}[order]
    assert days.read(text) == DAY
    assert days.read("2026-11-07") == DAY
    assert days.read(" ") is None
    assert days.in_address(text) == "2026-11-07"
    assert days.in_address(None) == ""


@pytest.mark.parametrize("text", ["soon", "31/31/2026", "2026-02-30", "7/11", "7/11/123", "1/2/3/4"])
def test_what_is_no_day_is_told_in_one_line_with_the_form_that_is_wanted(order, text):
    wanted = {"ymd": "2026-11-27 (year-", "dmy": "27/11/2026 (day/", "mdy": "11/27/2026 (month/"}[order]
    with pytest.raises(ValueError, match="is not a date") as told:
        days.read(text)
    assert wanted in str(told.value)
    assert "\n" not in str(told.value)
    with pytest.raises(UnusableData):
        days.in_address(text)


def test_the_shops_order_is_that_of_most_of_its_logs():
    def shop(*orders):
        return Shop.model_construct(logs=[SimpleNamespace(date_order=one) for one in orders])

    assert shop().date_order == "ymd"
    assert shop("ymd", "dmy", "dmy").date_order == "dmy"
    assert shop("mdy", "ymd").date_order == "mdy", "of as many of each that of the first"
