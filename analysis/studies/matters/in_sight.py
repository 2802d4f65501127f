"""Which streams each open matter moved, and how far every stream stands from its edge in shares of its tolerance."""

from dataclasses import dataclass

import polars as pl

from analysis.studies.drift.rack import SHARE_OF_TOLERANCE, SIGMAS, rack
from analysis.studies.drift.signals import signals
from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.records import Matter
from ingest.store.snapshot import Snapshot

KEY = ["characteristic", "position", "model", "stage"]
WITHOUT_LIMITS = 6.0  # sigma that stand for a tolerance where nothing is asked


@dataclass(frozen=True)
class InSight:
    """streams: rows of the rack with `moved_share` (of the tolerance, or of six sigma where nothing is asked: of an
    open signal its shift, else where its average stands; null: no average) and `matter` (key of the open matter that
    moved it, null where none did). matters: the open ones by their keys.
    """

    streams: pl.DataFrame
    matters: dict[str, Matter]


def in_sight(snapshot: Snapshot, *, weeks: int = 13, tech: str = "") -> InSight:
    """Every stream of the rack beside the matter it belongs to."""
    rows = rack(snapshot, weeks=weeks, tech=tech).streams
    matters = snapshot.once(open_matters)
    judged = snapshot.once(signals)
    if judged is None or rows.is_empty():
        return InSight(rows, {})
    limited = pl.col("tolerance").is_not_null() & (pl.col("tolerance") > 0)
    whole = pl.when(limited).then("tolerance").otherwise(WITHOUT_LIMITS * pl.col("sigma"))
    step = pl.when(limited).then(SHARE_OF_TOLERANCE).otherwise(SIGMAS / WITHOUT_LIMITS)
    now = pl.col("line").list.drop_nulls().list.last() * step
    rows = rows.with_columns(
        moved_share=pl.when(pl.col("shift").is_not_null() & (whole > 0)).then(pl.col("shift") / whole).otherwise(now)
    )
    told = [
        {**{name: judged.found[name][member.row] for name in KEY}, "matter": one.key}
        for one in matters
        for member in one.signals
        if member.table == "found"
    ]
    schema = {**dict.fromkeys(KEY, pl.String), "matter": pl.String}
    of = pl.DataFrame(told, schema=schema).unique(KEY, keep="first", maintain_order=True)
    return InSight(rows.join(of, on=KEY, how="left", maintain_order="left"), {one.key: one for one in matters})
