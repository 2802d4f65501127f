"""How much of each model came back for each stage: what shops of unlike mixes are held against each other by."""

import polars as pl

from analysis.studies.rework.yields import stage_yields
from analysis.studies.story.scope import judged, visits_judged
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

MIX: dict[str, pl.DataType] = {
    "stage": pl.String(),
    "model": pl.String(),
    "instruments": pl.Int64(),  # judged ones that came to the stage in round 1
    "came_back": pl.Int64(),  # of these: at least one send-back, fix or reject caused there
    "weeks": pl.Int64(),  # in which the stage's instruments were judged
    "widening": pl.Float64(),  # of the stage: how far its weeks lie apart, in what chance alone would have (X2 over df)
}


def mix_rows(snapshot: Snapshot) -> pl.DataFrame:
    """MIX: a row a stage and model, only stages of which logs tell what was caused there (`stages` has their sum)."""
    told = stage_yields(snapshot).filter(pl.col("yield_caused").is_not_null())["stage"].to_list()
    instruments = judged(snapshot)
    here = tables.plain(visits_judged(snapshot, instruments, "stage").select("serial", "stage").unique())
    model = tables.plain(instruments.select("serial", "model", "week"))
    back = (
        snapshot.once(story)
        .caused.filter(pl.col("round") == 1)
        .select("serial", pl.col("caused_at").alias("stage"), came_back=pl.lit(True))
        .unique()
    )
    cells = (
        here.filter(pl.col("stage").is_in(told))
        .join(model, on="serial")
        .join(tables.plain(back), on=["serial", "stage"], how="left")
        .group_by("stage", "model", "week")
        .agg(pl.len().alias("instruments"), pl.col("came_back").fill_null(False).sum())
        .sort("stage", "model", "week")
    )
    rows = cells.group_by("stage", "model", maintain_order=True).agg(pl.col("instruments", "came_back").sum())
    return tables.shaped(rows.join(_weeks(cells), on="stage", maintain_order="left"), MIX)


def _weeks(cells: pl.DataFrame) -> pl.DataFrame:
    """How far the weeks of each stage lie apart at their own mix: stage, weeks, widening (null with one week)."""
    share = pl.col("came_back").sum().over("stage", "model") / pl.col("instruments").sum().over("stage", "model")
    by_week = (
        cells.with_columns(_p=share)
        .group_by("stage", "week", maintain_order=True)
        .agg(
            pl.col("came_back").sum(),
            (pl.col("instruments") * pl.col("_p")).sum().alias("expected"),
            (pl.col("instruments") * pl.col("_p") * (1 - pl.col("_p"))).sum().alias("variance"),
        )
    )
    return by_week.group_by("stage", maintain_order=True).agg(
        pl.len().cast(pl.Int64).alias("weeks"),
        pl.when(pl.len() > 1)
        .then(
            ((pl.col("came_back") - pl.col("expected")) ** 2 / pl.col("variance")).filter(pl.col("variance") > 0).sum()
            / (pl.len() - 1)
        )
        .alias("widening"),
    )
