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
}


def mix_rows(snapshot: Snapshot) -> pl.DataFrame:
    """MIX: a row a stage and model, only stages of which logs tell what was caused there (`stages` has their sum)."""
    told = stage_yields(snapshot).filter(pl.col("yield_caused").is_not_null())["stage"].to_list()
    instruments = judged(snapshot)
    here = tables.plain(visits_judged(snapshot, instruments, "stage").select("serial", "stage").unique())
    model = tables.plain(instruments.select("serial", "model"))
    back = (
        snapshot.once(story)
        .caused.filter(pl.col("round") == 1)
        .select("serial", pl.col("caused_at").alias("stage"), came_back=pl.lit(True))
        .unique()
    )
    rows = (
        here.filter(pl.col("stage").is_in(told))
        .join(model, on="serial")
        .join(tables.plain(back), on=["serial", "stage"], how="left")
        .group_by("stage", "model")
        .agg(pl.len().alias("instruments"), pl.col("came_back").fill_null(False).sum())
        .sort("stage", "model")
    )
    return tables.shaped(rows, MIX)
