"""One row an instrument: judged or not and when, how its story ended, where it stands now."""

from datetime import datetime, timedelta

import polars as pl

from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot

OF_INSTRUMENT = ("model", "setup", "family", "supplier", "lot")  # what is told of it beside whatever befell it
LOST, HOLD, BENCH = "lost", "hold", "bench"  # standings that hang on the moment
FROM_SIGHT = timedelta(days=30)  # on the bench, and not seen for so long: lost from sight


def instruments_of(visits: pl.DataFrame, snapshot: Snapshot) -> pl.DataFrame:
    """A row a serial, sorted by serial.

    serial, model, setup, family, supplier, lot, neck, job, string_set, grade, hand · visits (count, all rounds), rounds
    · first_seen, last_seen (UTC), last_stage, last_outcome, last_visit · of round 1: sent_back (count of send-backs),
    first_final_visit, last_final_visit (or null), judged Bool (reached final inspection - in a shop without one,
    packing - or ended in reject or second) with judged_visit, judged_at, judged_day and week (Date, the first day of
    the week), end ('' | reject | second | pulled: left the bench and did not come back in the round) with end_at,
    finished_at (first passed packing - in a shop without one, final inspection) with finished_week · now: standing
    (finished | reject | second | pulled | hold | lost | bench) by its latest round, on_hold Bool.
    """
    first = pl.col("round") == 1
    latest = pl.col("round") == pl.col("round").max()
    packed = (pl.col("role") == finishing_role(snapshot.shop)) & (pl.col("outcome") == "pass")
    over = pl.col("outcome").is_in(["reject", "second"])
    final = first & (pl.col("role") == "final")
    judging = first & ((pl.col("role") == judging_role(snapshot.shop)) | over)
    last_in_first = pl.col("outcome").filter(first).last()
    rows = visits.group_by("serial", maintain_order=True).agg(
        *(pl.col(name).first() for name in (*OF_INSTRUMENT, "neck", "job", "string_set", "grade", "hand")),
        pl.len().cast(pl.Int64).alias("visits"),
        pl.col("round").max().alias("rounds"),
        pl.col("taken_at").min().alias("first_seen"),
        pl.col("taken_at").max().alias("last_seen"),
        pl.col("stage").last().alias("last_stage"),
        pl.col("outcome").last().alias("last_outcome"),
        pl.col("visit").last().alias("last_visit"),
        (first & (pl.col("outcome") == "send back")).sum().cast(pl.Int64).alias("sent_back"),
        pl.col("visit").filter(final).first().alias("first_final_visit"),
        pl.col("visit").filter(final).last().alias("last_final_visit"),
        pl.col("visit").filter(judging).first().alias("judged_visit"),
        pl.col("taken_at").filter(judging).first().alias("judged_at"),
        pl.col("day").filter(judging).first().alias("judged_day"),
        pl.col("week").filter(judging).first().alias("week"),
        pl.coalesce(
            pl.col("outcome").filter(first & over).first(),
            pl.when(last_in_first == "pulled").then(pl.lit("pulled")),
            pl.lit(""),
        ).alias("end"),
        pl.coalesce(
            pl.col("taken_at").filter(first & over).first(),
            pl.when(last_in_first == "pulled").then(pl.col("taken_at").filter(first).last()),
        ).alias("end_at"),
        pl.col("taken_at").filter(first & packed).first().alias("finished_at"),
        pl.col("week").filter(first & packed).first().alias("finished_week"),
        (latest & packed).any().alias("_packed"),
        pl.col("outcome").filter(latest & over).first().alias("_over"),
    )
    standing = (
        pl.when(pl.col("_over").is_not_null())
        .then("_over")
        .when("_packed")
        .then(pl.lit("finished"))
        .when(pl.col("last_outcome") == "pulled")
        .then(pl.lit("pulled"))
        .otherwise(pl.lit(BENCH))
    )
    told = rows.with_columns(pl.col("judged_visit").is_not_null().alias("judged"), standing.alias("standing"))
    return standing_at(told, snapshot.as_of).drop("_packed", "_over")


def standing_at(rows: pl.DataFrame, as_of: datetime) -> pl.DataFrame:
    """Rows of instruments with what of `standing` hangs on the moment, and on_hold. rows : standing, last_seen and
    last_outcome.
    """
    lost = pl.col("last_seen") < pl.lit(as_of) - FROM_SIGHT
    now = pl.when(lost).then(pl.lit(LOST)).when(pl.col("last_outcome") == HOLD).then(pl.lit(HOLD))
    here = pl.col("standing").is_in([LOST, HOLD, BENCH])
    standing = pl.when(here).then(now.otherwise(pl.lit(BENCH))).otherwise("standing")
    return rows.with_columns(standing.alias("standing")).with_columns((pl.col("standing") == HOLD).alias("on_hold"))


def judging_role(shop: Shop) -> str:
    """The role of the stage at which work is judged: final inspection, in a shop that has none packing."""
    return "final" if "final" in shop.roles.values() else "packing"


def finishing_role(shop: Shop) -> str:
    """The role of the stage that work leaves the bench by: packing, in a shop that has none final inspection."""
    return "packing" if "packing" in shop.roles.values() else "final"
