"""All visits in time order, parts linked to the instruments that took their necks, carried columns filled."""

from datetime import datetime

import numpy as np
import polars as pl

from analysis.methods.problems import UnusableData
from analysis.studies.story.calendar import local_day
from analysis.studies.story.unclocked import NOWHERE, in_bench_order
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

CARRIED = (
    "model",
    "supplier",
    "lot",
    "neck",
    "job",
    "string_set",
    "grade",
    "hand",
)  # hold for all the serial's visits once given


def visits_in_order(snapshot: Snapshot, ways: pl.DataFrame | None = None) -> pl.DataFrame:
    """Every visit up to `as_of`, instrument after instrument (serial as text), in time order.

    tables.VISITS with carried columns filled, and taken_at, day (date on the wall), bench_order Int64, role, setup,
    family, `part` (the serial; for a part without one its neck, else log and line, behind a line feed so that it meets
    no serial) and `who` Int64 (number of `part`, from 0 without gaps). Serial is that of the instrument which a later
    visit says took the neck.

    Time order within an instrument: taken_at, then line; of two visits of one day of which one has no clock as
    `unclocked.in_bench_order` says.

    ways : which way the rows of each log run (`unclocked.ways_of`), where the visits are not all that tell of it.
    """
    shop = snapshot.shop
    ordered = _ordered(linked(snapshot.coded("visits"), shop, snapshot.as_of), shop, ways)
    ordered = ordered.with_columns(_carried(ordered))
    model = ordered["model"].cast(pl.String)
    return ordered.with_columns(
        setup=tables.coded(model.replace_strict(shop.setups, default=model, return_dtype=pl.String)),
        family=tables.coded(model.replace_strict(shop.families, default="", return_dtype=pl.String)),
    )


def _carried(ordered: pl.DataFrame) -> list[pl.Series]:
    """The carried columns: of each instrument the first that was given; '' of none."""
    who = ordered["who"].to_numpy()
    found = []
    for name in CARRIED:
        at = np.flatnonzero((ordered[name] != "").fill_null(False).to_numpy())
        someone, first = np.unique(who[at], return_index=True)
        given = np.full(int(who.max(initial=-1)) + 1, -1)
        given[someone] = at[first]
        found.append(ordered[name].gather(pl.Series(given[who]).replace(-1, None)).fill_null("").alias(name))
    return found


def linked(visits: pl.DataFrame, shop: Shop, as_of: datetime) -> pl.DataFrame:
    """Visits as they are on file up to `as_of`, with taken_at, day, bench_order, role and `part`; their serials those
    of who took the neck.
    """
    return _linked(_named(visits, shop).filter(pl.col("taken_at") <= as_of))


def _named(visits: pl.DataFrame, shop: Shop) -> pl.DataFrame:
    """Adds taken_at, day, bench_order and role."""
    unlisted = set(visits["stage"].unique()) - shop.bench_order.keys()
    if unlisted:
        raise UnusableData(
            f"{min(unlisted)!r} is a stage of the logs but not of shop.toml; wanted one of "
            f"{', '.join(shop.bench_order)}; load again"
        )
    return visits.with_columns(pl.coalesce("finished_at", "started_at").alias("taken_at")).with_columns(
        local_day(pl.col("taken_at"), shop).alias("day"),
        pl.col("stage").replace_strict(shop.bench_order, return_dtype=pl.Int64).alias("bench_order"),
        pl.col("stage").replace_strict(shop.roles, return_dtype=pl.String).cast(pl.Categorical).alias("role"),
    )


def _linked(visits: pl.DataFrame) -> pl.DataFrame:
    """Gives a part's visits the serial of the instrument whose visit first named its neck, and every visit its
    `part`.
    """
    parts = pl.col("serial") == ""
    if visits.filter(parts).height == 0:
        return visits.with_columns(pl.col("serial").alias("part"))
    takers = (
        visits.filter(~parts & (pl.col("neck") != ""))
        .sort("taken_at", "serial", "line", "log_id")
        .group_by("neck", maintain_order=True)
        .agg(pl.col("serial").first().alias("taker"))
    )
    linked = visits.join(takers, on="neck", how="left", maintain_order="left")
    serial = pl.when(parts).then(pl.col("taker").fill_null("")).otherwise(pl.col("serial"))
    alone = pl.when(pl.col("neck") != "").then("\n" + pl.col("neck")).otherwise(pl.format("\n{}:{}", "log_id", "line"))
    return (
        linked.with_columns(serial.alias("serial"))
        .with_columns(pl.when(pl.col("serial") == "").then(alone).otherwise(pl.col("serial")).alias("part"))
        .drop("taker")
    )


def _ordered(visits: pl.DataFrame, shop: Shop, ways: pl.DataFrame | None) -> pl.DataFrame:
    """Sorted by part, then time order; adds `who`."""
    clocked = pl.col("time_known").fill_null(True)
    who = tables.rank(visits["part"])
    times = visits["taken_at"].cast(pl.Int64).to_numpy()
    log = tables.rank(visits["log_id"])
    typed = tables.one_key(visits["line"].to_numpy(), visits["bench_order"].to_numpy(), log)
    order = np.lexsort((typed, times, who))
    keys = pl.DataFrame({"_at": order, "who": who[order], "clocked": visits.select(clocked).to_series().gather(order)})
    if not keys["clocked"].all():
        sent_to = pl.col("sent_back_to").replace_strict(shop.bench_order, default=NOWHERE, return_dtype=pl.Int64)
        told = None
        if ways is not None:
            logs = pl.DataFrame({"log_id": visits["log_id"].cast(pl.String), "log": log}).unique()
            told = logs.join(ways, on="log_id").select("log", "forth", "tells")
        keys = in_bench_order(
            keys.with_columns(
                *(visits[name].gather(order) for name in ("day", "bench_order", "line", "outcome")),
                visits.select(sent_to).to_series().gather(order).alias("sent_to"),
                (visits["role"] == "repair").gather(order).alias("repair"),
                pl.Series("log", log[order]),
            ),
            told,
        )
    return visits[keys["_at"].to_numpy()].with_columns(keys["who"])
