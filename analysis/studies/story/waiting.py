"""The questions that nobody has answered yet."""

import polars as pl

from ingest.store.snapshot import Snapshot

ASKED_AGAIN = "asked again"  # a verdict that takes the one before it back


def waiting(snapshot: Snapshot) -> pl.DataFrame:
    """tables.SET_ASIDE less the rows and cells that have an answer; 'cannot be known' is one."""
    key = ["log_id", "line", "column"]
    said = snapshot.table("settled", "sequence", *key, "verdict").sort("sequence")
    standing = said.unique(key, keep="last", maintain_order=True).filter(pl.col("verdict") != ASKED_AGAIN)
    return snapshot.table("set_aside").join(standing, on=key, how="anti", maintain_order="left")
