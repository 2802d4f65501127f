"""With which gauge a reading that is taken later was set."""

from datetime import UTC, datetime

import polars as pl

from analysis.studies.matters.set_with import set_with
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import shop

SET, READ = "bridge", "final"


def at(hour: int) -> datetime:
    return datetime(2026, 3, 2, hour, tzinfo=UTC)


def held() -> Snapshot:
    rows = [
        ("A", SET, 9, "C05"), ("A", SET, 11, "C07"), ("A", READ, 13, "C11"), ("A", SET, 15, "C09"),
        ("B", SET, 9, ""), ("B", READ, 13, "C11"),
    ]  # fmt: skip
    common = [pl.lit("l").alias("log_id"), pl.lit("LARK").alias("model"), pl.lit("action").alias("characteristic")]
    frame = pl.DataFrame(
        [(k + 2, serial, stage, at(hour), gauge, 2.0) for k, (serial, stage, hour, gauge) in enumerate(rows)],
        schema=["line", "serial", "stage", "taken_at", "gauge", "value"],
        orient="row",
    ).with_columns(common)
    visits = frame.select("log_id", "line", "serial", "stage", "model", pl.col("taken_at").alias("finished_at"))
    return Snapshot.of(
        shop(),
        visits=visits.with_columns(pl.lit(True).alias("time_known")),
        readings=frame.select(pl.exclude("model")).with_columns(pl.lit("found").alias("moment")),
    )


def test_it_is_the_gauge_of_the_last_time_it_was_set_before_whoever_reads_it():
    read = pl.DataFrame({"serial": ["B", "A", "A", "C"], "taken_at": [at(13), at(13), at(10), at(13)]})
    assert set_with(held(), "action", (SET,), read).to_list() == ["", "C07", "C05", ""]
    assert set_with(held(), "relief", (SET,), read).to_list() == [""] * 4
    assert set_with(held(), "action", (), read).to_list() == [""] * 4
