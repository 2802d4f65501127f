"""A lot of which more is refused than of all others is told while it is worked on, whatever is measured of it."""

from datetime import UTC, date, datetime, timedelta

import polars as pl

from analysis.studies.week.refused_lots import refused_lots
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.benches import shop

BEGIN, EACH = date(2026, 1, 5), 60


def made(refused, *, outcome="reject", lots=("A1", "B1")):
    """Six weeks of two lots each; refused : of the lots by name, how many of sixty were."""
    rows, faults = [], []
    for week in range(6):
        for lot in (f"{name}{week}" for name in lots):
            for k in range(EACH):
                bad, line = k < refused.get(lot, 1), len(rows)
                at = datetime(2026, 1, 5, 8, tzinfo=UTC) + timedelta(weeks=week, minutes=10 * k)
                rows.append(
                    ("log", line, f"S{line:05}", "LARK", "receiving", outcome if bad else "pass", True, at, lot, "Pine")
                )
                if bad and k % 4:
                    faults.append(("log", line, f"S{line:05}", "receiving", "cracked brace"))
    names = ("log_id", "line", "serial", "model", "stage", "outcome", "time_known", "finished_at", "lot", "supplier")
    visits = pl.DataFrame(rows, schema=names, orient="row")
    caught = pl.DataFrame(faults, schema=("log_id", "line", "serial", "stage", "fault"), orient="row")
    return Snapshot.of(shop(), visits=visits, faults=caught)


def test_a_lot_of_which_many_are_refused_is_told_in_its_week_with_its_fault():
    whole = made({"A14": 12})
    [row] = refused_lots(whole, week=BEGIN + timedelta(weeks=4)).rows(named=True)
    assert (row["stage"], row["supplier"], row["lot"]) == ("receiving", "Pine", "A14")
    assert (row["count"], row["of"], row["others"], row["of_others"]) == (12, 60, 9, 540)
    assert row["fault"] == "cracked brace"
    assert refused_lots(whole, week=BEGIN + timedelta(weeks=3)).is_empty()
    assert refused_lots(whole, week=BEGIN + timedelta(weeks=5)).is_empty()


def test_few_send_backs_and_lots_alike_are_not_told():
    week = BEGIN + timedelta(weeks=4)
    assert refused_lots(made({"A14": 4}), week=week).is_empty()
    assert refused_lots(made({"A14": 12}, outcome="send back"), week=week).is_empty()
    assert refused_lots(
        made(dict.fromkeys([f"{n}{w}" for n in ("A1", "B1") for w in range(6)], 12)), week=week
    ).is_empty()
    assert refused_lots(made({"A14": 12}, lots=("A1",)), week=BEGIN).is_empty()
