"""Letters of a zone behind a time. New York is 5 hours behind UTC in winter and 4 in summer, Berlin 1 and 2 before it
(IANA tz database); on 2026-11-01 the clocks of New York show the hour from 1 twice.
"""

from datetime import UTC, datetime

import polars as pl
import pytest

from ingest.beginning.new import propose
from ingest.reading.reader import read_log
from ingest.terms.clock import read_stamp, zone_typed
from ingest.terms.questions import FileProblem
from ingest.terms.zone_letters import letters_of, place_of, zone_in
from tests.ingest.small_shop import csv, small_shop

HEADER = "serial,model,stage,tech,started_at,outcome"


def read(*stamps, zone="America/New_York"):
    shop = small_shop(date_order="mdy")
    shop = shop.model_copy(update={"shop": shop.shop.model_copy(update={"timezone": zone})})
    rows = [f"A{n},LARK-25,final_inspection,T07,{stamp},pass" for n, stamp in enumerate(stamps)]
    return read_log(csv(HEADER, *rows), "a.csv", shop)


def test_letters_of_a_zone_are_those_its_clocks_have():
    assert letters_of("America/New_York") == {"EST": -18000, "EDT": -14400, "ET": None}
    assert {"CET", "CEST", "MEZ", "MESZ"} == letters_of("Europe/Berlin").keys()
    assert letters_of("UTC") == {"UTC": 0}
    assert (place_of("edt"), place_of("PT"), place_of("IST")) == ("America/New_York", "America/Los_Angeles", "")


@pytest.mark.parametrize(
    ("text", "letters"), [("09/14/2026 07:51 AM EDT", "EDT"), ("07:51 est", "EST"), ("7:51 AM", ""), ("7.41 Uhr", "")]
)
def test_letters_behind_a_time_are_told_from_those_of_a_half_day(text, letters):
    assert zone_in(text) == letters
    assert read_stamp(text, "mdy") is not None
    assert read_stamp("2026-09-14 07:51 QQ", "mdy") is None


def test_a_time_with_the_letters_of_the_shop_is_read_and_tells_the_hour_that_comes_twice():
    sheet = read(
        "09/14/2026 07:51 AM EDT", "11/01/2026 01:30 AM EDT", "11/01/2026 01:30 AM EST", "12/14/2026 07:51 AM ET"
    )
    assert sheet.rows_set_aside == 0
    assert sheet.visits["started_at"].to_list() == [
        datetime(2026, 9, 14, 11, 51, tzinfo=UTC),
        datetime(2026, 11, 1, 5, 30, tzinfo=UTC),
        datetime(2026, 11, 1, 6, 30, tzinfo=UTC),
        datetime(2026, 12, 14, 12, 51, tzinfo=UTC),
    ]


def test_a_time_of_another_zone_is_set_aside_with_the_shops_own_letters():
    sheet = read("09/14/2026 07:51 AM EDT", "09/14/2026 07:51 AM PDT")
    (row,) = sheet.set_aside.select("line", "reason", "wanted").rows()
    assert row[:2] == (3, "a time of another zone than the shop's")
    assert row[2] == "a time on the clock of America/New_York (EDT, EST, ET); found '09/14/2026 07:51 AM PDT'"
    assert read("09/14/2026 07:51 AM EDT", zone="UTC").rows_set_aside == 1


def test_a_sheet_whose_times_name_their_zone_asks_with_it():
    rows = [f"B{n},09/{14 + n}/2026 07:51 AM EDT,final,0.1{n}" for n in range(9)]
    told = propose([("a.csv", csv("Serial,Timestamp,Stage,Relief (mm)", *rows))])
    assert next(ask for ask in told.asks if ask.key == "timezone").default == "America/New_York"
    assert told.surveys[0].column("date").heading == "Timestamp"


def test_a_sheet_whose_days_cannot_be_read_names_the_column_and_what_stands_there():
    rows = [f"B{n},moon {n} of plenty,final,0.1{n}" for n in range(9)]
    with pytest.raises(FileProblem, match=r"that can be read: 'Timestamp' holds 'moon 0 of plenty'"):
        propose([("a.csv", csv("Serial,Timestamp,Stage,Relief (mm)", *rows))])


def test_no_letters_are_null():
    assert zone_typed(pl.Series(["07:51", "07:51 am", "8:00 EDT"])).to_list() == [None, None, "EDT"]
