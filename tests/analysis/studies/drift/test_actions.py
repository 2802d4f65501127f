"""What is seen since an action: of a weekly share what came back before and since, and whether its day has come."""

from datetime import date, timedelta

import polars as pl

from analysis.studies.drift.actions import COUNTED, NO_CHART, NOT_DUE, actions
from analysis.studies.drift.signals import signals
from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.register import register
from dashboard.sentences import book
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.drift.test_share_signals import STAYS
from tests.analysis.studies.drift.test_shares_standing import with_a_reading

ENDS = date(2026, 10, 19)  # Monday of the last week


def written(
    *, week: date, due: date | None = None, gone: bool = False, later: timedelta = timedelta(0), done: bool = False
) -> Snapshot:
    """An action on the share that stays, written on the Wednesday of a week; later : than it opens by now it opened
    then; done : on that day, by an opening as it stands now.
    """
    bare = with_a_reading(STAYS)
    (row,) = bare.once(signals).others.iter_rows(named=True)
    line = {
        "sequence": 1,
        "at": row["opened_at"].replace(year=week.year, month=week.month, day=week.day) + timedelta(days=2),
        "kind": "action",
        "text": "hold ten",
        "owner": "Mara",
        "due": due,
        "stage": "of another house" if gone else row["stage"],
        "chart": row["chart"],
        "opened_at": row["opened_at"] + later,
    }
    said = {**line, "sequence": 2, "kind": "done", "opened_at": row["opened_at"], "done_on": line["at"].date()}
    lines = [line, said] if done else [line]
    types = {"due": pl.Date(), "done_on": pl.Date()}
    made = tables.shaped(pl.DataFrame(lines, schema_overrides=types, infer_schema_length=None), tables.BENCH_BOOK)
    return Snapshot.of(bare.shop, visits=bare.table("visits"), readings=bare.table("readings"), bench_book=made)


def test_an_action_on_a_weekly_share_tells_the_share_before_and_since():
    made = written(week=ENDS - timedelta(weeks=3))
    (row,) = actions(made, since=ENDS - timedelta(weeks=5)).iter_rows(named=True)
    assert row["verdict"] == COUNTED
    assert (row["back_before"], row["n_before"], row["back_after"], row["n_after"]) == (36, 225, 12, 75)
    about, told = book.action(row, made.shop)
    assert "came back" in about
    assert told.replace("\u00a0", " ") == "36 of 225 (16 %) came back before it, 12 of 75 (16 %) since"


def test_an_action_whose_day_is_still_to_come_is_not_due_yet():
    made = written(week=ENDS, due=ENDS + timedelta(weeks=2))
    (row,) = actions(made, since=ENDS - timedelta(weeks=1)).iter_rows(named=True)
    assert row["verdict"] == NOT_DUE
    assert book.action(row, made.shop)[1].replace("\u00a0", " ").startswith("48 of 300 (16 %) came back before it")
    assert actions(made, since=ENDS + timedelta(days=7)).is_empty()  # neither written then, nor has its day come


def test_an_action_whose_signal_is_gone_has_no_chart():
    made = written(week=ENDS - timedelta(weeks=3), gone=True)
    assert actions(made, since=ENDS - timedelta(weeks=5))["verdict"].to_list() == [NO_CHART]


def test_an_action_follows_its_signal_that_late_data_moved():
    week = ENDS - timedelta(weeks=3)
    as_it_was, (now,) = written(week=week), actions(written(week=week, later=timedelta(days=2)), since=week).to_dicts()
    assert now == actions(as_it_was, since=week).to_dicts()[0]
    (ended,) = actions(written(week=week, later=timedelta(days=2), done=True), since=week).to_dicts()
    assert ended["verdict"] == COUNTED
    assert ended["n_before"] > 0  # by the day it was done, which was written of the opening as it stands now


def test_a_matter_keeps_what_was_written_of_a_chart_that_holds_no_series_after_late_data():
    made = written(week=ENDS - timedelta(weeks=3), later=timedelta(days=2))
    (one,) = (each for each in made.once(open_matters) if not each.characteristics)
    assert (one.state, one.action, one.owner) == ("action", "hold ten", "Mara")
    (entry,) = (each for each in register(made) if each.matter is not None and each.key == one.key)
    assert [line.text for line in entry.lines] == ["hold ten"]
