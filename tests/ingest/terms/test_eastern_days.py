"""Days by their signs and by the years of an emperor. Reiwa began on 2019-05-01, Heisei on 1989-01-08: the
first year is 1 (or 元), as the National Astronomical Observatory of Japan counts.
"""

from datetime import datetime

import pytest

from ingest.terms.clock import read_stamp


@pytest.mark.parametrize(
    ("text", "moment", "clock"),
    [
        ("2026年9月10日", datetime(2026, 9, 10), False),
        ("２０２６年９月１０日", datetime(2026, 9, 10), False),
        ("26年9月10日", datetime(2026, 9, 10), False),
        ("2026年9月10日(木) 8:15", datetime(2026, 9, 10, 8, 15), True),
        ("2026年9月10日 午後3時5分", datetime(2026, 9, 10, 15, 5), True),
        ("2026년 9월 10일 오전 8:15", datetime(2026, 9, 10, 8, 15), True),
        ("R8.9.7", datetime(2026, 9, 7), False),
        ("R08/09/07", datetime(2026, 9, 7), False),
        ("令和8年9月7日", datetime(2026, 9, 7), False),
        ("令和元年5月1日", datetime(2019, 5, 1), False),
        ("H31.4.30", datetime(2019, 4, 30), False),
    ],
)
@pytest.mark.parametrize("order", ["dmy", "mdy", "ymd"])
def test_a_day_by_its_signs_or_its_era_is_read_in_any_order(text, moment, clock, order):
    assert read_stamp(text, order) == (moment, None, True, clock)


@pytest.mark.parametrize(
    "text", ["2026年13月10日", "R8.2.30", "R8.9", "R8-9-7", "H12-05-13", "2026年9月10日 x", "2026年9月10日 25時"]
)
def test_what_is_no_such_day_is_not_read(text):
    assert read_stamp(text, "ymd") is None
