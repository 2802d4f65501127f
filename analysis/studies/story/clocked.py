"""What the clocks of a stage say of its work: how long a visit there usually takes, and from where on a clock ran on
by itself.
"""

import numpy as np
import polars as pl

from analysis.methods.segments import Floats
from analysis.studies.story.calendar import paid_minutes
from ingest.shopfiles.shop import Shop

TOO_LONG, BELIEVED = 4, 30.0  # a clock that ran longer than so many times the minutes planned, and usual, and than so
# many minutes, ran on by itself: what is planned may be a guess, and a long repair is no clock left running
LEAST = 30  # clocked visits of a stage and family from which on they say what is usual
STEPS = 3  # to a doubling: what is usual is rounded up to one of them, so that one log more seldom moves other visits
TOGETHER = 3.0  # visits at once of one person at one stage: more are stamped together, and no visit's own minutes
USUAL: dict[str, pl.DataType] = {
    "stage": pl.String(),
    "family": pl.String(),
    "visits": pl.Int64(),  # with a clock
    "median": pl.Float64(),  # minutes
    "usual": pl.Float64(),  # minutes: the median, rounded up
}
STAMPS = ("stage", "family", "tech", "started_at", "finished_at", "time_known")  # what `usual_of` hangs on


def clock_of(visits: pl.DataFrame, shop: Shop) -> pl.Series:
    """Paid minutes of each visit by its stamps, shape (n,); null without two stamps, or where they run backwards."""
    both = (pl.col("finished_at") >= pl.col("started_at")).fill_null(False) & pl.col("time_known").fill_null(True)
    stamped = visits.select(both).to_series().to_numpy()
    clock: Floats = np.full(len(visits), np.nan)
    if stamped.any():
        held = visits.select("started_at", "finished_at").filter(pl.Series(stamped))
        clock[stamped] = paid_minutes(held["started_at"], held["finished_at"], shop)
    return pl.Series("clock", clock).fill_nan(None)


def usual_of(visits: pl.DataFrame, clock: pl.Series, typed: pl.Series, shop: Shop | None = None) -> pl.DataFrame:
    """USUAL of each stage and family with enough clocks, by stage and family.

    visits : STAMPS of instruments.  clock : `clock_of` them.  typed : whose minutes somebody typed; they say nothing of
    clocks.  shop : only what is more than its plan lets one believe.  A stage at which people stamp many instruments at
    once, or all of a morning alike, is not told.
    """
    held = visits.select(*STAMPS).with_columns(clock.alias("clock")).filter(clock.is_not_null() & ~typed)
    pairs = held.group_by("stage", "family").agg(
        visits=pl.len().cast(pl.Int64), median=pl.col("clock").median().cast(pl.Float64)
    )
    pairs = pairs.filter((pl.col("visits") >= LEAST) & (pl.col("median") > 0)).with_columns(
        usual=(2.0 ** ((pl.col("median").log(2.0) * STEPS - 1e-9).ceil() / STEPS))
    )
    if shop is not None:
        names = pairs.select(pl.col("stage", "family").cast(pl.String)).iter_rows()
        most = [max(BELIEVED, TOO_LONG * shop.by_stage[stage].planned_minutes(family)) for stage, family in names]
        pairs = pairs.filter(pl.col("usual") * TOO_LONG > pl.Series(most, dtype=pl.Float64))
    own = pairs.join(_at_once(held.join(pairs, on=["stage", "family"], how="semi")), on=["stage", "family"], how="left")
    told = own.filter(pl.col("at_once").fill_null(1.0) <= TOGETHER)
    return told.select([pl.col(name).cast(dtype) for name, dtype in USUAL.items()]).sort("stage", "family")


def usual_in(visits: pl.DataFrame, clock: pl.Series, typed: pl.Series, shop: Shop) -> pl.DataFrame:
    """`usual_of` the visits of instruments among these, which have a `serial`."""
    own = (visits["serial"] != "").fill_null(False)
    return usual_of(visits.select(*STAMPS).filter(own), clock.filter(own), typed.filter(own), shop)


def _at_once(held: pl.DataFrame) -> pl.DataFrame:
    """stage, family, at_once: how many visits somebody has open at a time, on average over the time that they have any;
    of visits without a name how many share both stamps.
    """
    whose, same = ["stage", "family", "tech"], ["stage", "family", "started_at", "finished_at"]
    named = held.filter(pl.col("tech").fill_null("") != "").sort("started_at", "finished_at")
    until = pl.col("finished_at").cum_max().shift(1).over(whose)
    free = pl.max_horizontal("started_at", until)
    fresh = (pl.col("finished_at") - free).dt.total_seconds().clip(lower_bound=0)
    spent = (pl.col("finished_at") - pl.col("started_at")).dt.total_seconds()
    nobody = held.filter(pl.col("tech").fill_null("") == "")
    first = pl.struct(same).is_first_distinct()
    both = pl.concat(
        [
            named.select("stage", "family", spent.alias("spent"), fresh.alias("covered")),
            nobody.select("stage", "family", spent.alias("spent"), (spent * first).alias("covered")),
        ]
    )
    return both.group_by("stage", "family").agg(at_once=pl.col("spent").sum() / pl.col("covered").sum())
