"""What brings most work back: causes or faults, longest first, and which of them cannot be told apart."""

import numpy as np
import polars as pl

from analysis.methods.segments import Flags
from analysis.methods.totals import chance_of_difference, total_interval
from analysis.studies.story.scope import ALL, Scope, loops_caught
from ingest.store.snapshot import Snapshot

APART = 0.05  # two bars are told apart where chance alone would make so large a difference less often than this


def pareto(snapshot: Snapshot, scope: Scope = ALL, *, by: str = "caused_at", of: str = "minutes") -> pl.DataFrame:
    """A row for each cause, fault or catching stage, the largest first.

    by : caused_at | caught_at | fault (a send-back's first). of : minutes | hours | cost | count of the loops of round
    1. Columns: name, value with 95 % bounds low, high (over instruments: an instrument sent back twice is one), share,
    so_far (share of this and all before), count, confirmed (count), same_as_next (it cannot be told apart from the one
    below) and same_as (all it cannot be told apart from, joined by ';', longest first).
    """
    loops = loops_caught(snapshot, scope).with_columns(pl.lit(1.0).alias("_one"))
    column = "_one" if of == "count" else of
    per_piece = loops.group_by(pl.col(by).alias("name"), "serial").agg(
        pl.col(column).sum().cast(pl.Float64).alias("value")
    )
    bars = per_piece.group_by("name").agg(pl.col("value").sum(), pl.col("value").pow(2).sum().alias("squares"))
    counted = loops.group_by(pl.col(by).alias("name")).agg(
        pl.len().cast(pl.Int64).alias("count"), pl.col("confirmed").sum().cast(pl.Int64)
    )
    bars = bars.join(counted, on="name").sort("value", "name", descending=[True, False])
    if bars.is_empty():
        return pl.DataFrame(schema=_SCHEMA)
    largest = float(per_piece["value"].max() or 0.0)  # type: ignore[arg-type]
    low, high = total_interval(
        bars["value"].to_numpy(), bars["squares"].to_numpy(), np.full(bars.height, largest or 1.0)
    )
    same = _same(bars, per_piece)
    names = bars["name"].to_list()
    total = bars["value"].sum() or 1.0
    return bars.with_columns(
        pl.Series("low", low),
        pl.Series("high", high),
        (pl.col("value") / total).alias("share"),
        (pl.col("value").cum_sum() / total).alias("so_far"),
        pl.Series("same_as_next", [*(bool(same[i, i + 1]) for i in range(len(names) - 1)), False]),
        pl.Series(
            "same_as", [";".join(names[j] for j in np.flatnonzero(same[i]) if j != i) for i in range(len(names))]
        ),
    ).select(*_SCHEMA)


_SCHEMA = {
    "name": pl.String,
    "value": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
    "share": pl.Float64,
    "so_far": pl.Float64,
    "count": pl.Int64,
    "confirmed": pl.Int64,
    "same_as_next": pl.Boolean,
    "same_as": pl.String,
}


def _same(bars: pl.DataFrame, per_piece: pl.DataFrame) -> Flags:
    """Which bars cannot be told apart, (m, m); a piece that adds to both says less of their difference than two pieces
    would.
    """
    place = pl.DataFrame({"name": bars["name"], "i": np.arange(bars.height)})
    placed = per_piece.join(place, on="name")
    both = placed.join(placed, on="serial", suffix="_other")
    shared = np.zeros((bars.height, bars.height))
    np.add.at(
        shared, (both["i"].to_numpy(), both["i_other"].to_numpy()), (both["value"] * both["value_other"]).to_numpy()
    )
    value, own = bars["value"].to_numpy(), np.diag(shared)
    squares = np.maximum(own[:, None] + own[None, :] - 2 * shared, 0.0)
    np.fill_diagonal(squares, 0.0)
    return chance_of_difference(value[:, None], value[None, :], squares) >= APART
