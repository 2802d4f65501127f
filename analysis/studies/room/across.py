"""What changed between the last reading before the rest and the first final one where another bench lies between, so
that `settling` leaves the instrument out: how much of it is the rest's and how much the bench's, no reading tells.
"""

import polars as pl

from analysis.studies.room.settling import KEY, pairs, summed
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

ACROSS: dict[str, pl.DataType] = {
    "model": pl.String(),
    "characteristic": pl.String(),
    "position": pl.String(),
    "n": pl.Int64(),
    "mean": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
    "between": pl.List(pl.String()),
}
SAME = ["serial", "characteristic", "position"]
OFTEN = 0.1  # of the instruments: a stage that lies between less often is not named


def across_rows(snapshot: Snapshot) -> pl.DataFrame:
    """A row a model (the setup), characteristic and position: n instruments that `settling` leaves out, mean change
    (first final reading minus the last passed one before it, at pitch) with its 95 % interval, and the stages that lie
    between, the one most often met first.

    Counted are instruments whose visits between, rests aside, all passed and set nothing of this characteristic.
    """
    left = tables.plain(snapshot.once(pairs).filter(pl.col("before").is_null()))
    shop = snapshot.shop
    asked = left.select("characteristic", "model").unique()
    asked = asked.with_columns(
        set_stage=pl.Series([shop.set_stage(*each) for each in asked.iter_rows()], dtype=pl.String),
        from_order=pl.Series(
            [shop.bench_order.get(shop.by_characteristic[key].at_pitch_from, -1) for key in asked["characteristic"]],
            dtype=pl.Int64,
        ),
    )
    left = left.join(asked, on=["characteristic", "model"], maintain_order="left")
    told = snapshot.once(story)
    visits = told.visits.select(("visit", "serial", "round", "role", "stage", "outcome", "bench_order"))
    visits = tables.plain(visits.filter((pl.col("round") == 1) & (pl.col("role") != "rest"))).filter(
        pl.col("serial").is_in(left["serial"].unique().implode())
    )
    finals = visits.filter(pl.col("role") == "final").unique("serial", keep="first", maintain_order=True)
    visits = visits.join(finals.select("serial", last="visit"), on="serial", maintain_order="left")
    visits = visits.filter(pl.col("visit") < pl.col("last"))
    passed = visits.filter(pl.col("outcome") == "pass").select("serial", "visit", "bench_order")
    readings = told.readings.select(("visit", "characteristic", "position", "moment", "value"))
    readings = readings.filter(
        pl.col("value").is_not_null() & pl.col("visit").is_in(passed["visit"].unique().implode())
    )
    before = (
        tables.plain(readings)
        .join(passed, on="visit")
        .rename({"value": "earlier"})
        .join(left.select(*SAME, "setup", "after", "set_stage", "from_order"), on=SAME)
        .filter(pl.col("bench_order") >= pl.col("from_order"))
        .sort("visit", pl.col("moment") == "left", maintain_order=True)
        .unique(SAME, keep="last", maintain_order=True)
        .rename({"visit": "from_visit"})
    )
    between = before.select(*SAME, "setup", "from_visit", "set_stage").join(
        visits.select("serial", "visit", "stage", "outcome"), on="serial"
    )
    between = between.filter(pl.col("visit") > pl.col("from_visit"))
    hinders = (pl.col("outcome") != "pass") | (pl.col("stage") == pl.col("set_stage"))
    clear = between.group_by(SAME).agg(hinders.any().alias("hindered")).filter(~pl.col("hindered")).select(SAME)
    counted = before.join(clear, on=SAME, how="semi", maintain_order="left")
    rows = summed(counted.select(*KEY, change=pl.col("after") - pl.col("earlier"))).filter(pl.col("n") > 0)
    met = (
        between.join(clear, on=SAME, how="semi")
        .group_by(*KEY, "stage")
        .agg(pl.col("serial").n_unique().alias("often"))
        .rename({"setup": "model"})
        .join(rows.select("model", *KEY[1:], "n"), on=["model", *KEY[1:]])
        .filter(pl.col("often") >= OFTEN * pl.col("n"))
        .sort(-pl.col("often").cast(pl.Int64), "stage")
        .group_by("model", *KEY[1:], maintain_order=True)
        .agg(pl.col("stage").alias("between"))
    )
    rows = rows.join(met, on=["model", *KEY[1:]], how="left", maintain_order="left")
    return rows.select(ACROSS.keys()).cast(dict(ACROSS))  # type: ignore[arg-type]
