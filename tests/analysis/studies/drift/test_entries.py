"""Entries of the bench book follow their signals; what is known comes back on its date or when it grows."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.entries import entries_for, known
from analysis.studies.drift.signals import signals
from analysis.studies.drift.watching import AVERAGE, INDIVIDUALS
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drift.test_signals import QUIET, WIDTH, entry, spikes
from tests.analysis.studies.drift.test_streams import RELIEF
from tests.analysis.studies.drifting import at, shop, snapshot

FEW = {"false_signals_per_week": 0.01}
LONG_AGO, FAR = date(2026, 1, 1), date(2027, 1, 1)


def test_an_entry_belongs_to_the_signal_that_opened_at_its_reading():
    x = spikes(120)
    x[160] = -9.0
    made = snapshot(
        shop(**WIDTH), {RELIEF: x}, bench_book=entry("cause", 162, 160, chart=INDIVIDUALS, text="a dull saw")
    )
    row = entries_for(made).row(0, named=True)
    assert (row["signal"], row["now_opened_at"], row["now_serial"], row["gone"], row["open"]) == (
        1,
        at(160),
        "S000160",
        False,
        False,
    )


def test_an_entry_on_a_later_opening_belongs_to_the_signal_that_went_on():
    book = entry("cause", 162, 160, chart=INDIVIDUALS, text="a dull saw")
    row = entries_for(snapshot(shop(**WIDTH), {RELIEF: spikes(120, 160)}, bench_book=book)).row(0, named=True)
    assert (row["signal"], row["now_opened_at"], row["gone"]) == (0, at(120), False)


def test_after_late_data_it_follows_the_signal_that_overlaps():
    made = snapshot(shop(**WIDTH), {RELIEF: spikes(120, 125)}, bench_book=entry("cause", 130, 125, chart=INDIVIDUALS))
    row = entries_for(made).row(0, named=True)  # a reading that came late opens the signal five readings earlier
    assert (row["opened_at"], row["now_opened_at"], row["gone"]) == (at(125), at(120), False)


def test_after_late_data_it_follows_the_signal_that_opens_later_by_now_of_what_had_begun_before():
    x = QUIET.copy()
    x[200:] += 3.0
    (row,) = snapshot(shop(**FEW), {RELIEF: x}).once(signals).open.filter(pl.col("chart") == AVERAGE).to_dicts()
    book = entry("cause", 0, 0, text="a dull saw").with_columns(  # as it opened before some readings came
        opened_at=pl.lit(row["began_at"]), at=pl.lit(row["began_at"] + timedelta(minutes=1))
    )
    assert row["began_at"] + timedelta(minutes=1) < row["opened_at"]
    (found,) = entries_for(snapshot(shop(**FEW), {RELIEF: x}, bench_book=book)).to_dicts()
    assert (found["now_opened_at"], found["gone"]) == (row["opened_at"], False)
    early = book.with_columns(opened_at=pl.lit(row["began_at"] - timedelta(minutes=1)))
    assert entries_for(snapshot(shop(**FEW), {RELIEF: x}, bench_book=early))["gone"].to_list() == [True]


def test_an_entry_whose_signal_is_gone_says_so():
    made = snapshot(shop(**WIDTH), {RELIEF: spikes(120)}, bench_book=entry("cause", 175, 170, chart=INDIVIDUALS))
    row = entries_for(made).row(0, named=True)
    assert (row["signal"], row["now_opened_at"], row["gone"], row["open"]) == (None, None, True, False)


def test_another_chart_or_stream_never_takes_an_entry():
    made = snapshot(shop(**WIDTH), {RELIEF: spikes(120)}, bench_book=entry("cause", 125, 120, chart=AVERAGE))
    assert entries_for(made)["gone"].to_list() == [True]


def test_words_on_the_week_are_tied_to_no_signal():
    line = entry("decision", 125, 120).with_columns(opened_at=pl.lit(None, dtype=pl.Datetime("us", "UTC")))
    made = snapshot(shop(**WIDTH), {RELIEF: spikes(120)}, bench_book=line)
    assert entries_for(made).is_empty()


def test_a_shop_without_readings_keeps_its_entries():
    made = snapshot(shop(), {RELIEF: np.full(3, np.nan)}, bench_book=entry("cause", 125, 120))
    assert entries_for(made)["gone"].to_list() == [True]


def shifted(grows: float, *, until: date = FAR, kind: str = "known") -> Snapshot:
    """A step at 200 that a person marked known after reading 250; from 300 on it grows."""
    x = QUIET.copy()
    x[200:] += 3.0
    x[300:] += grows
    opened = snapshot(shop(**FEW), {RELIEF: x}).once(signals).open.filter(pl.col("chart") == AVERAGE)["opened_at"][0]
    line = entry(kind, 250, 0, text="new strings, to be lived with").with_columns(
        opened_at=pl.lit(opened), until=pl.lit(until)
    )
    return snapshot(shop(**FEW), {RELIEF: x}, bench_book=line)


def test_what_is_known_holds_until_its_date():
    made = shifted(0.0)
    row = known(made).row(0, named=True)
    assert (row["grown"], row["due"], row["holds"]) == (False, False, True)
    assert known(made, on=FAR)["holds"].to_list() == [False]
    assert known(made, on=FAR - timedelta(days=1))["holds"].to_list() == [True]


@pytest.mark.parametrize(("grows", "holds"), [(1.5, False), (-1.5, True)])
def test_it_comes_back_when_it_grows_and_not_when_it_goes_back(grows, holds):
    assert known(shifted(grows))["holds"].to_list() == [holds]


def test_the_latest_word_counts():
    made = shifted(0.0, until=LONG_AGO)
    assert known(made)["holds"].to_list() == [False]
    book = made.table("bench_book")
    again = pl.concat([book, book.with_columns(sequence=pl.lit(2, dtype=pl.Int64), until=pl.lit(FAR))])
    x = QUIET.copy()
    x[200:] += 3.0
    assert known(snapshot(shop(**FEW), {RELIEF: x}, bench_book=again))["holds"].to_list() == [True]


def test_a_note_marks_nothing_as_known():
    assert known(shifted(0.0, kind="note")).is_empty()
