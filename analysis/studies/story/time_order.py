"""All visits in time order, parts linked to the instruments that took their necks, carried columns filled."""

from collections.abc import Iterator
from datetime import datetime

import numpy as np
import polars as pl

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Ints, fresh
from analysis.studies.story.calendar import local_day
from analysis.studies.story.unclocked import NOWHERE, in_bench_order, instruments_at_once
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
# columns that tell where a visit stands; the others are read when that is known, each once
KEYS = (
    "log_id",
    "line",
    "serial",
    "stage",
    "started_at",
    "finished_at",
    "time_known",
    "outcome",
    "sent_back_to",
    "neck",
)


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
    keys = linked(snapshot.coded("visits", *KEYS).with_row_index("_row"), shop, snapshot.as_of)
    order, who = _order(keys, shop, ways)
    row = keys["_row"].gather(order)
    derived = [name for name in keys.columns if name not in tables.VISITS and name != "_row"]
    told = []
    for name in (*tables.VISITS, *derived):
        held = keys[name].gather(order) if name in keys.columns else snapshot.coded("visits", name)[name].gather(row)
        told.append(_carried(held, who) if name in CARRIED else held)
    ordered = pl.DataFrame([*told, pl.Series("who", who)])
    model = ordered["model"].unique().to_frame().with_columns(text=pl.col("model").cast(pl.String))
    of_model = model.select(
        "model",
        setup=pl.col("text").replace_strict(shop.setups, default=pl.col("text"), return_dtype=pl.String),
        family=pl.col("text").replace_strict(shop.families, default="", return_dtype=pl.String),
    ).with_columns(pl.col("setup", "family").cast(pl.Categorical))
    both = ordered.select("model").join(of_model, on="model", how="left", maintain_order="left", nulls_equal=True)
    return ordered.with_columns(both["setup"], both["family"])


def _carried(given: pl.Series, who: Ints) -> pl.Series:
    """A carried column: of each instrument the first that was given; '' of none. who rises."""
    at = np.flatnonzero((given != "").fill_null(False).to_numpy())
    first = at[fresh(who[at])]
    of = np.full(int(who.max(initial=-1)) + 1, -1)
    of[who[first]] = first
    return given.gather(pl.Series(of[who]).replace(-1, None)).fill_null("").alias(given.name)


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


def _order(visits: pl.DataFrame, shop: Shop, ways: pl.DataFrame | None) -> tuple[Ints, Ints]:
    """The order by part, then time, and `who` in it."""
    clocked = visits["time_known"].fill_null(True)
    who = tables.rank(visits["part"])
    times = visits["taken_at"].cast(pl.Int64).to_numpy()
    log = tables.rank(visits["log_id"])
    typed = tables.one_key(visits["line"].to_numpy(), visits["bench_order"].to_numpy(), log)
    order = np.lexsort((typed, times, who))
    del typed, times
    who = who[order]
    if clocked.all():
        return order, who
    sent_to = pl.col("sent_back_to").replace_strict(shop.bench_order, default=NOWHERE, return_dtype=pl.Int64)

    def some() -> Iterator[pl.DataFrame]:
        for where in instruments_at_once(who):
            at = order[where]
            yield visits.select("day", "bench_order", "line", "outcome", "sent_back_to", "role")[at].select(
                pl.Series("_at", at),
                pl.Series("who", who[where]),
                clocked.gather(at).alias("clocked"),
                "day",
                "bench_order",
                "line",
                "outcome",
                sent_to.alias("sent_to"),
                (pl.col("role") == "repair").alias("repair"),
                pl.Series("log", log[at]),
            )

    told = None
    if ways is not None:
        logs = pl.DataFrame({"log_id": visits["log_id"], "log": log}).unique()
        told = logs.with_columns(pl.col("log_id").cast(pl.String)).join(ways, on="log_id")
        told = told.select("log", "forth", "tells")
    return in_bench_order(some, told), who
