"""A lane a cause: what came back to it, where that was caught, and how it stood in as many weeks before."""

from dataclasses import dataclass, replace
from datetime import timedelta

import polars as pl

from analysis.studies.rework.pareto import pareto
from analysis.studies.rework.rework import first_week, flows
from analysis.studies.story.scope import Scope
from ingest.store.snapshot import Snapshot

MAIN = 0.8  # share of the whole that the lanes in colour make
SMALL = 1 / 30  # of the whole: smaller lanes are told together
MOST = 8  # lanes; the rest are told together


@dataclass(frozen=True)
class Lanes:
    """Causes with what came back to them.

    rows: caused_at, minutes, cost, count, count_confirmed, value (in `of`) with low, high (95 %), share, before (value
    of the weeks before, null where those are not on file), main, drawn; most first.
    catches: caused_at, caught_at, minutes, cost, count, value. caught: caught_at, value, most first.
    """

    rows: pl.DataFrame
    catches: pl.DataFrame
    caught: pl.DataFrame
    before: float | None


def lanes(snapshot: Snapshot, scope: Scope, *, of: str = "minutes") -> Lanes:
    """Causes of what came back. of : minutes | cost | count, the one unit of the lanes."""
    found = flows(snapshot, scope).rows.with_columns(pl.col(of).cast(pl.Float64).alias("value"))
    bars = pareto(snapshot, scope, by="caused_at", of=of).select(pl.col("name").alias("caused_at"), "low", "high")
    summed = found.group_by("caused_at").agg(pl.col("minutes", "cost", "count", "count_confirmed", "value").sum())
    confirmed = found.group_by("caused_at").agg(pl.col(f"{of}_confirmed").sum().alias("sure"))
    earlier = _before(snapshot, scope)
    rows = summed.join(bars, on="caused_at", how="left").join(confirmed, on="caused_at")
    if earlier is None:
        rows = rows.with_columns(before=pl.lit(None, dtype=pl.Float64))
    else:
        past = (
            flows(snapshot, earlier).rows.group_by("caused_at").agg(pl.col(of).sum().cast(pl.Float64).alias("before"))
        )
        rows = rows.join(past, on="caused_at", how="left").with_columns(pl.col("before").fill_null(0.0))
    total = float(rows["value"].sum()) or 1.0
    rows = rows.sort("value", "count", "caused_at", descending=[True, True, False]).with_columns(
        share=pl.col("value") / total, place=pl.int_range(pl.len())
    )
    so_far = pl.col("value").cum_sum() - pl.col("value")
    rows = rows.with_columns(
        main=so_far < MAIN * total - 1e-9,
        drawn=(pl.col("place") < MOST) & ((pl.col("share") >= SMALL) | (pl.col("place") == 0)),
    ).drop("place")
    catches = found.select("caused_at", "caught_at", "minutes", "cost", "count", "value")
    caught = found.group_by("caught_at").agg(pl.col("value").sum())
    before = None if earlier is None else float(flows(snapshot, earlier).total[of][0])
    return Lanes(rows, catches, caught.sort("value", "caught_at", descending=[True, False]), before)


def _before(snapshot: Snapshot, scope: Scope) -> Scope | None:
    """As many weeks just before, where all of them are on file."""
    if scope.first is None or scope.last is None:
        return None
    weeks = (scope.last - scope.first).days // 7 + 1
    first = scope.first - timedelta(weeks=weeks)
    on_file = first >= snapshot.once(first_week)
    return replace(scope, first=first, last=scope.first - timedelta(weeks=1)) if on_file else None
