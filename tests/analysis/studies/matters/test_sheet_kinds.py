"""Of which kind the sheet is that a reading came from: what begins with another kind moves together with it."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from analysis.methods.candidates import Factor
from analysis.studies.drift.signals import signals
from analysis.studies.matters import hangs_on
from analysis.studies.matters.explained import _begun
from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.records import GAUGE, KIND, Matter
from analysis.studies.matters.sheet_kinds import kinds, with_units
from analysis.studies.matters.spans import bench
from analysis.studies.story.story import story
from ingest.shopfiles.shop_parts import Log
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import at, shop, snapshot

RELIEF = ("relief", "")
N, STEP = 360, 200
NOISE = np.random.default_rng(20311130).normal(size=N)
SINCE = np.arange(N) >= STEP
LOGS = pl.DataFrame({"log_id": ["a1", "a2", "b1"], "name": ["card w1.csv", "card w2.csv", "export_1.csv"]})
OURS = (Log(files="card w*.csv"), Log(files="export_*.csv"))


def held(relief, log, unit: str | None = None, logs: pl.DataFrame = LOGS, **told) -> Snapshot:
    """Instruments whose final inspection stands in a log each (n,); unit : typed in the export."""
    told = {"setter": "T1"} | told
    made = snapshot(shop(false_signals_per_week=0.01), {RELIEF: relief}, early="T4", **told)
    frames = {}
    for name in ("visits", "readings"):
        every = made.table(name)
        place = every["serial"].cast(pl.String).str.slice(1).cast(pl.Int64)
        frames[name] = every.with_columns(log_id=pl.Series(log).gather(place))
    if unit:
        typed = pl.when(pl.col("log_id") == "b1").then(pl.lit(unit)).otherwise(pl.lit("mm"))
        frames["readings"] = frames["readings"].with_columns(unit=typed)
    return Snapshot.of(made.shop.model_copy(update={"logs": OURS}), logs=logs, **frames)


def only(made: Snapshot) -> Matter:
    (found,) = made.once(open_matters)
    return found


def names(found: Matter) -> list[tuple[str, str]]:
    return sorted((one.name, one.value) for one in found.moves_with.named)


IN_TURN = np.where(SINCE, "b1", np.where(np.arange(N) < STEP // 2, "a1", "a2"))


def test_what_began_on_the_first_day_of_another_kind_of_sheet_moves_together_with_it():
    found = only(held(NOISE + 2.0 * SINCE, IN_TURN))
    assert names(found) == [(KIND, "export_*.csv")]
    assert [one.beside for one in found.moves_with.named] == [False]
    assert found.began_at.date() == at(STEP).date()
    assert found.size_low < 2.0 < found.size_high


def test_the_unit_stands_beside_it_where_several_were_typed():
    assert names(only(held(NOISE + 2.0 * SINCE, IN_TURN, "thou"))) == [(KIND, "export_*.csv (thou)")]


def test_a_gauge_that_came_with_it_is_named_beside_it():
    found = only(held(NOISE + 2.0 * SINCE, IN_TURN, gauge=np.where(SINCE, "g2", "g1")))
    assert names(found) == [(GAUGE, "g2"), (KIND, "export_*.csv")]
    assert [(one.only_this, one.only_other) for one in found.tell_apart] == [(0, 0)]


@pytest.mark.parametrize("late", [80, -80])
def test_what_began_two_weeks_before_or_after_it_does_not(late):
    found = only(held(NOISE + 2.0 * (np.arange(N) >= STEP + late), IN_TURN))
    assert names(found) == []


BESIDE = np.where(np.arange(N) % 2 == 0, "a1", "b1")


def test_what_moved_while_two_kinds_stood_side_by_side_moves_together_with_neither():
    found = only(held(NOISE + 1.0 * (BESIDE == "b1") + 2.0 * SINCE, BESIDE))
    assert names(found) == []


def test_what_moved_in_one_of_two_kinds_side_by_side_moves_together_with_it():
    one = held(NOISE + 2.0 * (SINCE & (BESIDE == "b1")), BESIDE, setter=np.where(np.arange(N) % 4 < 2, "T1", "T2"))
    found = only(one)
    assert names(found) == [(KIND, "export_*.csv")]
    assert [one.beside for one in found.moves_with.named] == [True]
    assert abs((found.began_at.date() - at(STEP).date()).days) <= 3
    assert found.size_low < 2.0 < found.size_high


def test_what_was_there_before_a_day_did_not_begin_since():
    day = np.arange(6)
    one = Factor(KIND, np.array([0, 1, 0, 2, -1, 2]), own_start=True, once=True)
    assert _begun(one, day, 2).code.tolist() == [-1, -1, -1, 2, -1, 2]
    lots = Factor("lot", one.code, own_start=True)
    assert _begun(lots, day, 2) is lots


def test_each_visit_is_of_the_kind_whose_log_reads_its_sheet():
    logs = pl.concat([LOGS, pl.DataFrame({"log_id": ["c1"], "name": ["other.txt"]})])
    made = held(NOISE[:4], np.array(["a1", "a2", "b1", "c1"]), logs=logs)
    visits = made.once(story).visits.select("log_id")
    told = visits.with_columns(pl.col("log_id").cast(pl.String), kind=kinds(made)).unique()
    files = {"a1": "card w*.csv", "a2": "card w*.csv", "b1": "export_*.csv", "c1": ""}
    assert dict(told.iter_rows()) == files


def test_where_all_sheets_are_of_one_kind_none_is_told():
    made = held(NOISE[:4], np.array(["a1", "a2", "a1", "a2"]), logs=LOGS[:2])
    assert set(kinds(made)) == {""}


def test_a_sheet_that_stands_for_whoever_keeps_it_is_no_kind():
    rows = [
        {"log_id": log, "line": 2 + day, "serial": f"{log}{day:03}", "model": "LARK", "stage": "final",
         "finished_at": datetime(2026, 3, 2, 9, tzinfo=UTC) + timedelta(days=day), "time_known": True}
        for log in ("a1", "b1")
        for day in range(5)
    ]  # fmt: skip
    made = held(NOISE[:4], np.array(["a1", "a2", "b1", "b1"]))
    assert set(kinds(Snapshot.of(made.shop, visits=pl.DataFrame(rows), logs=LOGS))) == {""}


def test_a_unit_alone_is_told_where_sheets_are_of_one_kind():
    kind = pl.Series(["", "", "card w*.csv"])
    assert with_units(kind, pl.Series(["mm", "thou", None])).to_list() == [
        "typed in mm", "typed in thou", "card w*.csv"
    ]  # fmt: skip
    assert with_units(kind, pl.Series(["mm", "mm", ""])).to_list() == kind.to_list()


def test_what_is_kept_hangs_on_the_kind_and_the_unit():
    log, other = IN_TURN, np.where(SINCE, "a2", "a1")
    keys = {_key(held(NOISE, *each)) for each in ((log,), (log, "mm"), (log, "thou"), (other,))}
    assert len(keys) == 4


def _key(made: Snapshot) -> bytes:
    judged = made.once(signals)
    assert judged is not None
    here = bench(made, judged, "relief", "final")
    assert here is not None
    return hangs_on._of_readings(made, judged, here).tobytes()
