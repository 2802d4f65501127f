"""Who writes between the rows of another is no slip of that name."""

from datetime import datetime, timedelta

import polars as pl

from ingest.reading.side_by_side import side_by_side

MONDAY = datetime(2026, 9, 21, 7)


def rows(*days, clock=True):
    """A row every quarter of an hour by whoever stands at its place in the day's text: v, a, or nobody."""
    names = {"v": "VAL", "a": "AL", "-": "", "j": "JM"}
    told = [
        (names[letter], MONDAY + timedelta(days=k, minutes=15 * n))
        for k, letters in enumerate(days)
        for n, letter in enumerate(letters)
    ]
    table = pl.DataFrame(told, schema=["tech", "finished_at"], orient="row")
    return table.with_columns(started_at=pl.lit(None, dtype=pl.Datetime), time_known=pl.lit(clock))


def test_who_works_beside_another_on_three_days_is_somebody_else():
    days = ["vavavavjav", "vavavava", "vjavavaaav"]
    assert side_by_side(rows(*days), "VAL", "AL")
    assert not side_by_side(rows(*days), "VAL", "JM")  # one row among theirs is no day of work
    assert not side_by_side(rows(*days[:2]), "VAL", "AL")
    assert not side_by_side(rows(*days, clock=False), "VAL", "AL")  # a day without a clock says nothing


def test_a_slip_of_the_pen_and_a_name_that_took_over_are_not():
    assert not side_by_side(rows(*["aaaavaaaavaaa"] * 20), "VAL", "AL")  # two a day
    assert not side_by_side(rows("aaaaaaaa", "aaaaaaaa", "vvvvvvvv", "vvvvvvvv", "vvvvvvvv"), "VAL", "AL")
    assert not side_by_side(rows(*["aaaaavvvvv"] * 5), "VAL", "AL")  # one after the other
