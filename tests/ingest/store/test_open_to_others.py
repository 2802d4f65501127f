"""Other programs read the tables of a store: DuckDB and Dask reach the means of `streams` from nothing but the files on
disk, the shop's setups and what DEVELOPERS.md says of the columns.
"""

from pathlib import Path

import dask
import duckdb
import polars as pl
import pytest
from deltalake import DeltaTable

from analysis.methods.segments import sums
from analysis.studies.drift.streams import streams
from ingest.store.snapshot import Snapshot

STAGE = "final_inspection"  # sets nothing: what it found is what its streams are made of
FIRST_PASSES = """
    SELECT log_id, line, stage, serial,
           row_number() OVER (PARTITION BY serial, stage ORDER BY coalesce(finished_at, started_at), line) AS pass
    FROM read_parquet($visits) WHERE serial <> ''
"""
MEANS = f"""
    WITH passes AS ({FIRST_PASSES}),
    models AS (SELECT serial, max(model) AS model FROM read_parquet($visits) WHERE model <> '' GROUP BY serial),
    found AS (
        SELECT r.characteristic, r.position, s.setup, r.value, row_number() OVER (
                   PARTITION BY r.characteristic, r.position, s.setup ORDER BY r.taken_at, p.serial, r.line) AS place
        FROM read_parquet($readings) AS r
        JOIN passes AS p ON (r.log_id, r.line, r.stage) = (p.log_id, p.line, p.stage)
        JOIN models AS m ON m.serial = p.serial
        JOIN setups AS s ON s.model = m.model
        WHERE r.stage = $stage AND p.pass = 1 AND r.moment = 'found' AND r.value IS NOT NULL)
    SELECT characteristic, position, setup, count(*) AS n, avg(value) FILTER (place <= $baseline) AS centre
    FROM found GROUP BY ALL
"""


def files_of(folder: Path, name: str) -> list[str]:
    """The files that the newest version of a table is made of, as any reader of Delta logs finds them."""
    store = folder / "store" / name
    return [str(store / uri.rsplit("/", 1)[-1]) for uri in DeltaTable(store.as_uri()).file_uris()]


@pytest.fixture(scope="module")
def wanted(demo: Snapshot) -> dict[tuple[str, str, str], tuple[int, float, float]]:
    """Of each stream of all techs at the stage: how many readings, the centre of its chart, the mean of them all."""
    held = demo.once(streams)
    rows = held.rows.with_columns(
        centre=pl.Series(held.own.centre), mean=pl.Series(sums(held.values, held.starts)) / pl.col("n")
    )
    rows = rows.filter((pl.col("stage") == STAGE) & (pl.col("tech") == ""))
    told = rows.select("characteristic", "position", "model", "n", "centre", "mean")
    return {row[:3]: row[3:] for row in told.iter_rows()}


def test_duckdb_reaches_the_centres_of_streams(demo_folder, demo, wanted):
    setups = pl.DataFrame(list(demo.shop.setups.items()), schema=["model", "setup"], orient="row")
    with duckdb.connect() as base:
        base.execute("CREATE TABLE setups (model TEXT, setup TEXT)")
        base.executemany("INSERT INTO setups VALUES (?, ?)", setups.rows())
        asked = {"stage": STAGE, "baseline": demo.shop.judging.baseline_readings}
        found = base.execute(MEANS, {**asked, **{name: files_of(demo_folder, name) for name in ("visits", "readings")}})
        rows = {row[:3]: row[3:] for row in found.fetchall()}
    assert rows.keys() == wanted.keys()
    assert len(rows) > 50
    for stream, (n, centre, _) in wanted.items():
        assert rows[stream] == (n, pytest.approx(centre, rel=1e-12, abs=1e-12)), stream


def test_dask_reaches_the_means_of_streams_file_by_file(demo_folder, demo, wanted):
    @dask.delayed
    def visits_of(path):
        columns = ["log_id", "line", "stage", "serial", "model", "started_at", "finished_at"]
        return pl.read_parquet(path, columns=columns).filter(pl.col("serial") != "")

    @dask.delayed
    def first_passes(parts):
        visits = pl.concat(parts).sort("serial", pl.coalesce("finished_at", "started_at"), "line")
        models = visits.filter(pl.col("model") != "").group_by("serial").agg(pl.col("model").first())
        return (
            visits.drop("model").unique(["serial", "stage"], keep="first", maintain_order=True).join(models, "serial")
        )

    @dask.delayed
    def summed(path, first):
        columns = ["log_id", "line", "stage", "characteristic", "position", "moment", "value"]
        rows = pl.read_parquet(path, columns=columns).join(first, ["log_id", "line", "stage"])
        rows = rows.filter((pl.col("stage") == STAGE) & (pl.col("moment") == "found") & pl.col("value").is_not_null())
        setup = pl.col("model").replace_strict(demo.shop.setups)
        return rows.group_by("characteristic", "position", setup).agg(n=pl.len(), total=pl.col("value").sum())

    first = first_passes([visits_of(path) for path in files_of(demo_folder, "visits")])
    parts = [summed(path, first) for path in files_of(demo_folder, "readings")]
    (tables,) = dask.compute(parts, scheduler="synchronous")
    told = pl.concat(tables).group_by("characteristic", "position", "model").agg(pl.col("n", "total").sum())
    rows = {row[:3]: (row[3], row[4] / row[3]) for row in told.iter_rows()}
    assert rows.keys() == wanted.keys()
    for stream, (n, _, mean) in wanted.items():
        assert rows[stream] == (n, pytest.approx(mean, rel=1e-12, abs=1e-12)), stream
