"""More is put right on the spot, or refused for good, than before: told with its week, while it lasts, and else not."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from analysis.studies.week.not_passed import FIXED, REFUSED, not_passed
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.benches import shop

BEGIN, EACH = date(2026, 1, 5), 100


def made(counts, *, outcome="fixed", stage="frets", minutes=(10, 18), models=None, fault="buzz"):
    """A shop whose bench tries a hundred instruments a week, so many of which end otherwise than with a pass."""
    rows, faults = [], []
    for week, count in enumerate(counts):
        for k in range(EACH):
            bad, line = k < count, len(rows)
            start = datetime(2026, 1, 5, 8, tzinfo=UTC) + timedelta(weeks=week, minutes=20 * (k % 20), days=k // 20)
            model = "LARK" if models is None or k % 10 >= models[week] else "WREN"
            end = start + timedelta(minutes=minutes[bad])
            rows.append(("log", line, f"S{line:05}", model, stage, outcome if bad else "pass", True, start, end))
            if bad and k % 4:
                faults.append(("log", line, f"S{line:05}", stage, fault))
    names = ("log_id", "line", "serial", "model", "stage", "outcome", "time_known", "started_at", "finished_at")
    visits = pl.DataFrame(rows, schema=names, orient="row")
    caught = pl.DataFrame(faults, schema=("log_id", "line", "serial", "stage", "fault"), orient="row")
    return Snapshot.of(shop(), visits=visits, faults=caught)


def monday(week):
    return BEGIN + timedelta(weeks=week)


@pytest.mark.parametrize(("outcome", "kind"), [("fixed", FIXED), ("reject", REFUSED), ("second", REFUSED)])
def test_a_rise_is_told_with_its_week_its_counts_its_fault_and_what_it_took(outcome, kind):
    counts = [6, 4, 7, 5, 6, 3, 20, 18]
    [row] = not_passed(made(counts, outcome=outcome), week=monday(7)).rows(named=True)
    assert (row["stage"], row["kind"], row["count"], row["of"]) == ("frets", kind, 18, 100)
    assert (row["since"], row["later"], row["of_later"]) == (monday(6), 38, 200)
    assert (row["earlier"], row["of_earlier"], row["fault"]) == (31, 600, "buzz")
    assert row["minutes"] == pytest.approx(18 * 8)


def test_it_is_told_in_a_calmer_week_too_and_no_more_once_it_is_over():
    counts = [6, 4, 7, 5, 6, 3, 20, 18, 9, 4, 5, 6, 5, 4, 6, 5]
    whole = made(counts)
    assert not_passed(whole, week=monday(8)).height == 1
    assert not_passed(whole, week=monday(15)).is_empty()
    assert not_passed(whole, week=monday(5)).is_empty()


def test_send_backs_another_mix_of_models_and_shares_that_stay_are_not_told():
    rising = [4] * 6 + [18, 20]
    assert not_passed(made(rising, outcome="send back"), week=monday(7)).is_empty()
    assert not_passed(made([7, 5, 6, 8, 6, 5, 7, 9]), week=monday(7)).is_empty()
    many = [1] * 6 + [9, 9]  # of ten: the model of which every tenth is put right, and the other of which none
    mixed = made([10 * one // 5 for one in many], models=many)
    assert not_passed(mixed, week=monday(7)).is_empty()


def test_without_clocks_nothing_is_said_of_minutes():
    counts = [6, 4, 7, 5, 6, 3, 20, 18]
    whole = made(counts, minutes=(-5, -5))  # a clock that ran backwards tells nothing
    assert not_passed(whole, week=monday(7))["minutes"].to_list() == [None]


def test_a_year_of_weeks_that_stay_tells_nothing():
    rng = np.random.default_rng(20261202)
    whole = made(rng.binomial(EACH, 0.08, 40).tolist())
    assert [week for week in range(40) if len(not_passed(whole, week=monday(week)))] == []
