"""Signals of weekly shares: since when, from which share to which, how they close, and what they say on Rework."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.share_signals import share_signals
from analysis.studies.drift.share_starts import likely_weeks
from analysis.studies.drift.shares import shares, since
from analysis.studies.matters.matters import ended_matters
from analysis.studies.rework.stage_weeks import weekly_shares
from dashboard.sentences import ended
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.benches import shop
from tests.analysis.studies.rework.test_stage_weeks import weeks_of
from tests.trials.lasting_shares import RATE, compared, delay, even, mixed, openings

STAYS = [(25, 2), (25, 1)] * 15 + [(25, 4)] * 12


def opened(snap: Snapshot) -> pl.DataFrame:
    """Signals of the nut at a classical width of three sigma."""
    return share_signals(snap, shares(snap), None)


def closed_on(snap: Snapshot, when: datetime, opened_at: datetime) -> Snapshot:
    line = {
        "id": "e1", "kind": "close", "at": when, "who": "AR", "sequence": 1, "chart": "share", "stage": "nut",
        "opened_at": opened_at,
    }  # fmt: skip
    book = tables.shaped(pl.DataFrame([line]), tables.BENCH_BOOK)
    return Snapshot.of(snap.shop, visits=snap.table("visits"), bench_book=book)


def test_a_rise_that_stays_opens_once_dated_by_its_likeliest_week_and_counted_since():
    row = opened(weeks_of(STAYS)).row(0, named=True)
    assert len(opened(weeks_of(STAYS))) == 1
    assert row["began_at"].date() == date(2026, 8, 3)  # the thirty-first week
    assert (row["came_back"], row["instruments"], row["side"], row["closed_at"]) == (48, 300, 1, None)
    assert row["expected"] == pytest.approx(300 * 42.5 / 701)  # of the first 28 weeks
    assert row["after"] - row["before"] == pytest.approx(row["size"])
    assert 1 < row["times_low"] < 48 / row["expected"] < row["times_high"]


def test_weeks_that_single_limits_let_pass_open_all_the_same():
    assert set(weekly_shares(weeks_of(STAYS)).filter(pl.col("stage") == "nut")["state"]) <= {"within", "no base"}


def test_a_rise_that_ends_is_back_and_a_second_one_opens_anew():
    counts = [(40, 2)] * 30 + [(40, 8)] * 8 + [(40, 2)] * 20 + [(40, 9)] * 6
    found = opened(weeks_of(counts))
    assert found["closed_by"].to_list() == ["back at its baseline", ""]
    assert found["back_at"][0].date() == date(2026, 9, 28)
    assert (found["came_back"][0], found["instruments"][0]) == (64, 320)
    assert found["began_at"][1].date() == date(2027, 2, 15)


def test_one_week_far_out_is_dated_by_that_week_alone():
    found = opened(weeks_of([(25, 2)] * 20 + [(25, 14)] + [(25, 2)] * 6))
    assert found.select("opened_at", "began_at", "value").rows() == [(datetime(2026, 5, 25, tzinfo=UTC), None, 14 / 25)]
    assert found["closed_by"].to_list() == ["back at its baseline"]


def test_a_person_who_closes_makes_the_weeks_after_the_new_base():
    more = STAYS + [(25, 4)] * 20
    first = opened(weeks_of(more))
    assert len(first) == 1
    snap = closed_on(weeks_of(more), datetime(2026, 10, 21, 9, tzinfo=UTC), first["opened_at"][0])
    found = opened(snap)
    assert found.select("closed_at", "closed_by").rows() == [(datetime(2026, 10, 21, 9, tzinfo=UTC), "a person")]
    assert found["instruments"][0] == 300  # up to the week of the closing


def test_no_send_back_a_constant_share_and_few_weeks_open_nothing():
    for counts in ([(25, 0)] * 60, [(25, 3)] * 120, [(25, 0), (25, 20), (25, 0)], [(1, 1)] * 30):
        assert opened(weeks_of(counts)).is_empty()


def test_sound_and_faulty_change_places_and_the_side_turns():
    counts = [(25, 6), (25, 7)] * 15 + [(25, 14)] * 6
    one, other = (opened(weeks_of(each)) for each in (counts, [(n, n - k) for n, k in counts]))
    assert (one["side"].to_list(), other["side"].to_list()) == ([1], [-1])
    assert one["opened_at"].to_list() == other["opened_at"].to_list()
    assert one["began_at"].to_list() == other["began_at"].to_list()


def test_the_order_of_instruments_within_a_week_does_not_matter():
    snap = weeks_of(STAYS)
    visits = snap.table("visits").with_columns(pl.col("finished_at").dt.offset_by("1m"))
    turned = Snapshot.of(snap.shop, visits=visits.reverse())
    assert opened(turned).equals(opened(snap))


def test_weeks_that_always_vary_much_ask_more_of_a_rise_and_leave_it_less_sure():
    calm, wild = ([(40, 4)] * 30 + [(40, 8)] * 8, [(40, 1), (40, 7)] * 15 + [(40, 8)] * 8)
    one, other = (shares(weeks_of(each)) for each in (calm, wild))
    first = 30
    assert (one.rows["stage"][first], one.bases[one.own[first]].ahead.widening) == ("nut", 1.0)
    assert other.bases[other.own[first]].ahead.widening > 1.2
    mine, theirs = (since(found, first, first + 7) for found in (one, other))
    assert (mine.came_back, mine.instruments) == (theirs.came_back, theirs.instruments)
    assert mine.low > theirs.low
    assert mine.high < theirs.high


@pytest.mark.promise
def test_a_tenth_of_the_trial_keeps_its_plan():
    # tests/trials/lasting_shares.py with 100 shops a row and a seed of its own, fixed before the first run
    rng = np.random.default_rng(20261201)
    opened_all = planned_all = 0.0
    for week in (25, 300):
        for share in (0.06, 0.2):
            count, planned = openings(even(rng, 100, week, np.full(104, share)), RATE)
            opened_all, planned_all = opened_all + count, planned_all + planned
    assert opened_all / planned_all <= 1.15 + 3 * np.sqrt(1 / planned_all)
    count, planned = openings(mixed(rng, 100, 60), RATE)
    assert count / planned <= 1.15 + 3 * np.sqrt(1 / planned)
    level = np.where(np.arange(104) >= 60, 0.16, 0.06)
    before, now, _ = (delay(seen, 60) for seen in compared(even(rng, 100, 25, level)))
    assert now[0] > before[0] + 0.2


def measured(counts: list[tuple[int, int]]) -> Snapshot:
    """The same weeks, with a reading of relief at each final inspection: 0.1 and 0.3 mm in turn."""
    made = weeks_of(counts)
    last = made.table("visits").filter(pl.col("stage") == "final")
    readings = last.select(
        "log_id",
        "line",
        "serial",
        "stage",
        taken_at="finished_at",
        characteristic=pl.lit("relief"),
        moment=pl.lit("found"),
        value=0.2 + 0.1 * (-1.0) ** pl.int_range(pl.len()),
    )
    return Snapshot.of(made.shop, visits=made.table("visits"), readings=tables.shaped(readings, tables.READINGS))


def test_a_rise_that_ended_of_late_is_told_to_be_back_and_an_older_one_is_not():
    rise = [(40, 2)] * 30 + [(40, 8)] * 8
    (found,) = measured([*rise, *[(40, 2)] * 2]).once(ended_matters)
    assert (found.characteristics, found.main["stage"], found.state) == ([], "nut", "closed")
    assert (found.shown, found.slight) == (True, False)
    said = ended.ended(found, shop(), date(2026, 10, 11)).replace("\u00a0", " ")
    assert said.startswith("Work that came back to nut: back since 28 Sep. From the week of 3 Aug on 64 of 320 ")
    assert measured(rise).once(ended_matters) == []
    assert measured([*rise, *[(40, 2)] * 5]).once(ended_matters) == []


def likely(counts: list[tuple[int, int]]) -> tuple[date, date, date]:
    """First day of the first likely week, the first day after the last, and the day that the signal is dated by."""
    snap = weeks_of(counts)
    found = shares(snap)
    assert found is not None
    row = share_signals(snap, found, None).row(0, named=True)
    low, high = likely_weeks(found, row)
    return low.date(), high.date(), (row["began_at"] or row["opened_at"]).date()


def test_the_weeks_in_which_a_rise_may_have_begun_are_fewer_the_clearer_it_is():
    low, high, began = likely(STAYS)
    assert low <= began < high
    assert high - low > timedelta(weeks=2)
    sharp = [(100, 3)] * 30 + [(100, 25)] * 8
    assert likely(sharp) == (began, began + timedelta(weeks=1), began)  # the thirty-first week in both
    assert likely([*sharp, (100, 0)])[:2] == (began, began + timedelta(weeks=1))  # a last week to the other side
