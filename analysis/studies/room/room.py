"""How much room the work leaves between its limits, as built, as set or as shipped: what the capability map draws.

A row a characteristic, position and model (setup), as set also of what only the bench that sets it reads, over the
readings under the limits last in force; flags as the capability figures have them for the same stream.
"""

from datetime import date

import numpy as np
import polars as pl
from scipy.special import ndtri

from analysis.methods.capability import bissell, indices
from analysis.methods.independent_number import bounded, carried
from analysis.methods.intervals import binomial_exact
from analysis.methods.segments import Floats
from analysis.studies.room import capability
from analysis.studies.room.coarse_of_late import coarse_of_late
from analysis.studies.story.conformity import judged_where_read
from analysis.studies.story.slips import slips
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

KEY = ["characteristic", "position", "setup"]
SAME = 1e-9
MIDDLE, HALF = 0.997, 0.5  # shares of the readings between the ends of the line, and of the bar


def room(snapshot: Snapshot, *, when: str, first: date | None = None, last: date | None = None) -> pl.DataFrame:
    """The rows of the map for `when` (conformity.BUILT, SET or SHIPPED); `first`, `last`: only readings of these days,
    under the limits in force at their end, and thin by their own number.

    characteristic, position, model (the setup), stages (list), n, target, lower, upper, mean, sd, ppk, ppk_low,
    ppk_high (on as many readings as are independent), outside, on_limit, outside_last (the last day with one outside),
    last_day (with a reading), share, share_low, share_high, and low,
    quarter, three_quarters, high: where the middle 99.7 % and the middle half of readings lie, by their normal curve,
    or as counted where the readings are not normal. starting: a limit is a starting
    value, not the shop's own. slips (serials of readings that may be mistyped) and ppk_without them. flags: words
    joined by ';'. Without limits only n and mean.
    """
    now = under_now(snapshot, when=when, first=first, last=last)
    if now.is_empty():
        return pl.DataFrame()
    now = now.with_columns(
        starting=snapshot.specs.starting.gather(now["spec"]).fill_null(False),
        _slip=pl.Series(slips(snapshot.shop, now)),
    )
    tail = (1 - MIDDLE) / 2
    value = pl.col("value")
    rows = (
        now.group_by(KEY, maintain_order=True)
        .agg(
            pl.len().cast(pl.Int64).alias("n"),
            pl.col("stage").unique(maintain_order=True).alias("stages"),
            pl.col("target", "lower", "upper").first().cast(pl.Float64),
            value.mean().alias("mean"),
            value.std().alias("sd"),
            pl.col("serial").filter("_slip").cast(pl.String).alias("slips"),
            value.filter(~pl.col("_slip")).mean().alias("_mean"),
            value.filter(~pl.col("_slip")).std().alias("_sd"),
            pl.col("starting").any(),
            pl.col("outside").fill_null(False).sum().cast(pl.Int64).alias("outside"),
            pl.col("on_limit").fill_null(False).sum().cast(pl.Int64).alias("on_limit"),
            pl.col("day").filter(pl.col("outside").fill_null(False)).max().alias("outside_last"),
            pl.col("day").max().alias("last_day"),
            *(
                value.quantile(q, "linear").alias(name)
                for name, q in (("q_low", tail), ("q_quarter", 0.25), ("q_three", 0.75), ("q_high", 1 - tail))
            ),
        )
        .sort(KEY)
    )
    asked = rows.select(pl.col("target", "lower", "upper", "sd").fill_null(np.nan))
    index = indices(
        rows["mean"].to_numpy(),
        asked["sd"].to_numpy(),
        asked["sd"].to_numpy(),
        rows["n"].to_numpy(),
        target=asked["target"].to_numpy(),
        lower=asked["lower"].to_numpy(),
        upper=asked["upper"].to_numpy(),
    )
    low, high = binomial_exact(rows["outside"].to_numpy(), rows["n"].to_numpy())
    number = _number(now, rows, index.ppk)
    carries = bounded(number, rows["n"].to_numpy())
    ends = [np.where(carries, end, np.nan) for end in bissell(index.ppk, number, number - 1)]
    rows = rows.with_columns(
        ppk=pl.Series(index.ppk).fill_nan(None),
        ppk_low=pl.Series(ends[0]).fill_nan(None),
        ppk_high=pl.Series(ends[1]).fill_nan(None),
        ppk_without=pl.Series(_without(rows)).fill_nan(None),
        share=pl.col("outside") / pl.col("n"),
        share_low=pl.Series(low),
        share_high=pl.Series(high),
    )
    rows = tables.plain(rows).join(_flags(snapshot, now, last), on=KEY, how="left", maintain_order="left")
    same_readings = (pl.col("n") == pl.col("own_n")) & ((pl.col("ppk") - pl.col("own_ppk")).abs() < SAME)
    rows = rows.with_columns(  # the same readings have the same bounds as in the table of figures
        pl.when(same_readings).then("own_low").otherwise("ppk_low").alias("ppk_low"),
        pl.when(same_readings).then("own_high").otherwise("ppk_high").alias("ppk_high"),
        _with_slips().alias("flags"),
    )
    if first is not None or last is not None:
        few = (pl.col("n") < snapshot.shop.judging.least_readings) & ~pl.col("flags").str.contains(capability.THIN)
        more = pl.concat_str("flags", pl.lit(capability.THIN), separator=";").str.strip_prefix(";")
        rows = rows.with_columns(pl.when(few).then(more).otherwise("flags").alias("flags"))
    rows = rows.drop("own_n", "own_ppk", "own_low", "own_high")
    odd = pl.col("flags").str.contains(capability.NOT_NORMAL)
    far, near = float(-ndtri(tail)), float(-ndtri((1 - HALF) / 2))

    def place(steps: float, counted: str) -> pl.Expr:
        return pl.when(odd).then(counted).otherwise(pl.col("mean") + steps * pl.col("sd"))

    return rows.with_columns(
        low=place(-far, "q_low"),
        quarter=place(-near, "q_quarter"),
        three_quarters=place(near, "q_three"),
        high=place(far, "q_high"),
        model=pl.col("setup"),
    ).drop("_mean", "_sd", "setup", "q_low", "q_quarter", "q_three", "q_high")


def _with_slips() -> pl.Expr:
    """The flags, with that of slips where these readings hold one."""
    others = pl.col("flags").fill_null("").str.replace(f";?{capability.SLIPS}", "")
    told = pl.concat_str(others, pl.lit(capability.SLIPS), separator=";").str.strip_prefix(";")
    return pl.when(pl.col("slips").list.len() > 0).then(told).otherwise(others)


def _without(rows: pl.DataFrame) -> Floats:
    """Ppk of each row without its slips; nan where it has none."""
    asked = rows.select(pl.col("_mean", "_sd", "target", "lower", "upper").cast(pl.Float64).fill_null(np.nan))
    mean, sd, target, lower, upper = (asked[name].to_numpy() for name in asked.columns)
    some = rows["slips"].list.len().to_numpy()
    ppk = indices(mean, sd, sd, rows["n"].to_numpy() - some, target=target, lower=lower, upper=upper).ppk
    return np.asarray(np.where(some > 0, ppk, np.nan), dtype=np.float64)


def under_now(snapshot: Snapshot, *, when: str, first: date | None = None, last: date | None = None) -> pl.DataFrame:
    """The readings of `room`: those of conformity.judged_where_read under the limits last in force for their row."""
    readings = judged_where_read(snapshot, when)
    if first is not None:
        readings = readings.filter(pl.col("day") >= first)
    if last is not None:
        readings = readings.filter(pl.col("day") <= last)
    if readings.is_empty():
        return readings
    same = pl.struct("target", "lower", "upper")
    latest = (
        readings.sort("taken_at", maintain_order=True)
        .group_by(KEY, maintain_order=True)
        .agg(same.last().alias("asked"))
    )
    return readings.join(latest, on=KEY, maintain_order="left").filter(same.eq_missing(pl.col("asked")))


def _number(now: pl.DataFrame, rows: pl.DataFrame, ppk: Floats) -> Floats:
    """Independent readings behind each row, tested per characteristic."""
    ordered = now.sort(*KEY, "taken_at", maintain_order=True)
    ids = ordered.select(pl.struct(KEY).rle_id().cast(pl.Int64))["characteristic"].to_numpy()
    lot = ordered.select(
        pl.when(pl.col("lot") == "").then(-1).otherwise(pl.struct("supplier", "lot").rank("dense").cast(pl.Int64))
    ).to_series()
    found = carried(
        ordered["value"].to_numpy(),
        np.flatnonzero(np.diff(ids, prepend=-1)),
        pool=(rows["characteristic"].rank("dense").cast(pl.Int64) - 1).to_numpy(),
        lot=lot.to_numpy(),
        day=ordered["day"].cast(pl.Int32).cast(pl.Int64).to_numpy(),
    )
    low, high = (rows[name].fill_null(np.nan).to_numpy() for name in ("lower", "upper"))
    mean = rows["mean"].to_numpy()
    return found.number(ppk, np.where(np.isnan(low) | (high - mean < mean - low), 1.0, -1.0))


def _flags(snapshot: Snapshot, readings: pl.DataFrame, last: date | None) -> pl.DataFrame:
    """Flags, n, Ppk and its bounds of the latest capability row of each stream at the stages read; `coarse` too where
    its readings were so up to the day `last`, or still are (`coarse_of_late`).
    """
    late = snapshot.once(coarse_of_late)
    if last is not None:
        day = pl.col("since").dt.convert_time_zone(snapshot.shop.shop.timezone).dt.date()
        late = late.filter(pl.col("since").is_null() | (day <= last))
    read = tables.plain(readings.select("characteristic", "stage").unique())
    rows = (
        snapshot.once(capability.capability_rows)
        .filter((pl.col("tech") == "") & (pl.col("position") != capability.ANY))
        .join(read, on=["characteristic", "stage"], how="semi", maintain_order="left")
    )
    latest = rows.sort("last_at").unique(["characteristic", "position", "model"], keep="last")
    more = pl.concat_str("flags", pl.lit(capability.COARSE), separator=";").str.strip_prefix(";")
    latest = latest.join(
        late.select(*capability.KEY, pl.lit(value=True).alias("_late")), on=capability.KEY, how="left"
    ).with_columns(flags=pl.when("_late").then(more).otherwise("flags"))
    return latest.select(
        "characteristic",
        "position",
        pl.col("model").alias("setup"),
        "flags",
        pl.col("n").alias("own_n"),
        pl.col("ppk").alias("own_ppk"),
        pl.col("ppk_low").alias("own_low"),
        pl.col("ppk_high").alias("own_high"),
    )
