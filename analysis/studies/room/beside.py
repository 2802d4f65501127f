"""What stands beside the capability figures: the same index with the gauge's share taken out, what came in before it
was set, and what share of next month's instruments lies outside at this pace.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from analysis.methods.counts_ahead import binomial_ahead
from analysis.methods.intervals import binomial_exact
from analysis.studies.drift.streams import received_readings
from analysis.studies.gauges.rr import rr_sd
from analysis.studies.room.capability import capability_rows
from analysis.studies.story.conformity import as_set, as_set_at_bench, with_specs
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

MONTH = timedelta(days=28)
LEAST = 30  # instruments from which a month is looked ahead
RECEIVED = ["characteristic", "position", "model", "stage"]


@dataclass(frozen=True)
class Forecast:
    """Instruments outside at least one limit as set: the last 28 days, and the next ones at the same pace."""

    since: date
    n: int
    outside: int
    on_limit: int  # none outside, at least one reading on its limit
    low: float  # share of the next as many, 95 %
    high: float
    at_bench: bool = False  # no final inspection reads anything with a limit: of the benches that set it


def with_gauge_out(snapshot: Snapshot) -> pl.DataFrame:
    """The rows of capability with ppk_parts: Ppk of the parts themselves, the R&R of a gauge study taken out of
    sd_long; null without a study, and where the gauge takes all of it.
    """
    rows = snapshot.once(capability_rows)
    rest = pl.col("sd_long") ** 2 - pl.col("gauge_sd") ** 2
    return (
        rows.join(
            rr_sd(snapshot).select("characteristic", "gauge_sd"), on="characteristic", how="left", maintain_order="left"
        )
        .with_columns(ppk_parts=pl.when(rest > 0).then(pl.col("ppk") * pl.col("sd_long") / rest.sqrt()))
        .drop("gauge_sd")
    )


def received(snapshot: Snapshot) -> pl.DataFrame:
    """What came in where a characteristic is then set: RECEIVED (model is the setup), n, mean, sd, outside, on_limit,
    share_low, share_high (95 %); null shares without a limit.
    """
    readings = with_specs(snapshot, received_readings(snapshot))
    rows = (
        tables.plain(readings)
        .with_columns(pl.col("setup").alias("model"))
        .group_by(RECEIVED)
        .agg(
            pl.len().cast(pl.Int64).alias("n"),
            pl.col("value").mean().alias("mean"),
            pl.col("value").std().alias("sd"),
            pl.when(pl.col("outside").is_not_null().any()).then(pl.col("outside").sum()).cast(pl.Int64),
            pl.when(pl.col("on_limit").is_not_null().any()).then(pl.col("on_limit").sum()).cast(pl.Int64),
        )
        .sort(RECEIVED)
    )
    low, high = binomial_exact(rows["outside"].fill_null(0).to_numpy(), rows["n"].to_numpy())
    limited = pl.col("outside").is_not_null()
    return rows.with_columns(
        share_low=pl.when(limited).then(pl.Series(low)), share_high=pl.when(limited).then(pl.Series(high))
    )


def forecast(snapshot: Snapshot) -> Forecast | None:
    """At this pace: what share of as many instruments as in the last 28 days will lie outside, if nothing changes;
    None from under 30 instruments. The interval allows for the month that it rests on being a sample as well.
    """
    until = snapshot.as_of.astimezone(snapshot.shop.zone).date()
    since = until - MONTH
    limited = pl.col("outside").is_not_null()
    readings = snapshot.once(as_set).filter(limited)
    at_bench = readings.is_empty()
    readings = as_set_at_bench(snapshot).filter(limited) if at_bench else readings
    seen = readings.filter(pl.col("day") > since)
    each = seen.group_by("serial").agg(pl.col("outside").any(), pl.col("on_limit").any())
    n, bad = each.height, int(each["outside"].sum())
    if n < LEAST:
        return None
    low, high = binomial_ahead([float(bad)], [float(n)], [float(n)], false_rate=0.025)
    on_limit = int((each["on_limit"] & ~each["outside"]).sum())
    return Forecast(since, n, bad, on_limit, max(float(low[0]), 0.0) / n, min(float(high[0]), n) / n, at_bench)
