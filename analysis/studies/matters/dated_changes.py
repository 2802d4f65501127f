"""Dated changes that readings may move with: those of changes.csv, and targets of specs.csv that were given a day."""

import polars as pl

from ingest.store.snapshot import Snapshot
from ingest.terms import tables

NEW_TARGET = "new target in specs.csv"  # what such a change is called
OF_ROW = ("characteristic", "position", "family", "model", "stage", "supplier")
OF_CHANGE = ("characteristic", "family", "model", "stage", "from_date")
DATED: dict[str, pl.DataType] = {**tables.CHANGES, "family": pl.String()}  # '' : all, of changes.csv always


def dated_changes(snapshot: Snapshot) -> pl.DataFrame:
    """DATED, by their first day; a target that is another from a day on is a change made on purpose, unless
    changes.csv tells of one that day.
    """
    known = snapshot.table("changes").filter(pl.col("from_date").is_not_null())
    found = pl.concat([tables.shaped(known.with_columns(family=pl.lit("")), DATED), _targets(snapshot, known)])
    return found.sort("from_date", maintain_order=True)


def _targets(snapshot: Snapshot, known: pl.DataFrame) -> pl.DataFrame:
    """The same of new targets alone: a row for all positions that have one from the same day on."""
    rows = snapshot.specs.rows.filter(pl.col("target").is_not_null(), pl.col("supplier") == "")
    rows = rows.sort("from_date", nulls_last=False, maintain_order=True)
    fresh = rows.with_columns(before=pl.col("target").shift(1).over(OF_ROW)).filter(
        pl.col("from_date").is_not_null(), (pl.col("target") - pl.col("before")).abs() > 0
    )
    said = known.filter(pl.col("characteristic").fill_null("") != "").select("from_date", "characteristic")
    fresh = fresh.join(said, on=["from_date", "characteristic"], how="anti", maintain_order="left")
    one = pl.col("target").n_unique() == 1  # positions with a target each have none in common
    each = fresh.group_by(OF_CHANGE, maintain_order=True).agg(target=pl.when(one).then(pl.col("target").first()))
    return tables.shaped(each.with_columns(what=pl.lit(NEW_TARGET), planned=True), DATED)
