"""Gauge steps against what they have to judge: how many steps the tolerance and the spread hold, stream by stream."""

import polars as pl

from analysis.studies.drift import states
from analysis.studies.drift.signals import signals
from analysis.studies.drift.streams import KEY
from analysis.studies.room.coarse_of_late import coarse_of_late
from analysis.studies.story.conformity import with_specs
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from ingest.terms.tables import TIME

STEPS: dict[str, pl.DataType] = {
    **{name: pl.String() for name in KEY},
    "n": pl.Int64(),
    "step": pl.Float64(),
    "sigma": pl.Float64(),
    "tolerance": pl.Float64(),
    "steps_in_tolerance": pl.Float64(),
    "steps_in_sigma": pl.Float64(),
    "gauge": pl.String(),
    "state": pl.String(),
    "gauges": pl.String(),
    "declared": pl.Float64(),
    "since": TIME,
}


def steps(snapshot: Snapshot) -> pl.DataFrame:
    """A row a stream of all techs with a declared gauge, or read too coarsely of late (`coarse_of_late`);
    step, sigma and tolerance in the unit of the characteristic, coarse ones first.

    steps_in_tolerance = (upper - lower) / step of the spec last in force; steps_in_sigma = sigma / step, below 1
    coarse; gauges: those that took its readings, as the logs name them. Of a stream read too coarsely of late the step
    is that of its readings, `declared` the one declared and `since` when it began; null of all others.
    """
    judged = snapshot.once(signals)
    if judged is None:
        return pl.DataFrame(schema=STEPS)
    held = judged.streams
    spec = with_specs(snapshot, held.readings.at(held.ends))
    names = (
        tables.plain(held.readings.of_all("stream", "gauge").unique().filter(pl.col("gauge") != ""))
        .group_by("stream")
        .agg(pl.col("gauge").unique().sort().str.join(", ").alias("gauges"))
    )
    late = snapshot.once(coarse_of_late).select(*KEY, pl.col("step").alias("_seen"), "since")
    rows = (
        states.judged_rows(snapshot)
        .drop("tech")
        .with_row_index("stream")
        .with_columns(
            pl.col("stream").cast(pl.Int64),
            step=held.rows["step"],
            tech=held.rows["tech"],
            tolerance=spec["upper"] - spec["lower"],
        )
        .join(late, on=KEY, how="left", maintain_order="left")
        .with_columns(
            declared=pl.when(pl.col("_seen").is_not_null()).then("step"),
            step=pl.coalesce("_seen", "step"),
            gauge=pl.when(pl.col("_seen").is_not_null() & (pl.col("gauge") != states.UNFIT))
            .then(pl.lit(states.COARSE))
            .otherwise("gauge"),
        )
        .filter((pl.col("tech") == "") & pl.col("step").is_not_null())
        .join(names, on="stream", how="left", maintain_order="left")
        .with_columns(
            pl.col("gauges").fill_null(""),
            steps_in_tolerance=pl.col("tolerance") / pl.col("step"),
            steps_in_sigma=pl.col("sigma") / pl.col("step"),
        )
    )
    return rows.select(STEPS.keys()).sort("steps_in_sigma", *KEY, nulls_last=True)
