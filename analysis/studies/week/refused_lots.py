"""Lots of which more is refused for good than of all others, whatever is measured of them."""

from datetime import date, timedelta

import numpy as np
import polars as pl
from scipy.stats import hypergeom

from analysis.studies.story.story import story
from analysis.studies.week.not_passed import KINDS, LEAST, REFUSED, main_fault
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

REFUSED_LOTS: dict[str, pl.DataType] = {
    "stage": pl.String(),
    "supplier": pl.String(),
    "lot": pl.String(),
    "count": pl.Int64(),  # refused
    "of": pl.Int64(),
    "others": pl.Int64(),  # of the other lots, of half a year
    "of_others": pl.Int64(),
    "fault": pl.String(),
}
HALF_A_YEAR = timedelta(weeks=26)
OF_A_LOT = 1e-4  # chance of so many in one lot, were they spread over all: some ten lots a week are looked at


def refused_lots(snapshot: Snapshot, *, week: date) -> pl.DataFrame:
    """REFUSED_LOTS: lots with work in the week under review of which more was refused at first, at one stage, than of
    all others; the most first.
    """
    told = snapshot.once(story)
    here = told.visits["first_pass"] & told.visits["week"].is_between(week - HALF_A_YEAR, week)
    rows = told.visits.at(here.arg_true(), "visit", "stage", "supplier", "lot", "week", "outcome")
    rows = tables.plain(rows.filter(pl.col("lot") != ""))
    bad = pl.col("outcome").is_in(KINDS[REFUSED])
    counted = rows.group_by("stage", "supplier", "lot").agg(
        bad.sum().cast(pl.Int64).alias("count"),
        pl.len().cast(pl.Int64).alias("of"),
        (pl.col("week") == week).any().alias("now"),
        pl.col("visit").filter(bad).alias("visits"),
    )
    whole = counted.group_by("stage").agg(pl.col("count").sum().alias("all"), pl.col("of").sum().alias("of_all"))
    held = counted.filter(pl.col("now") & (pl.col("count") >= LEAST)).join(whole, on="stage")
    held = held.filter(pl.col("of_all") > pl.col("of"))
    rare = hypergeom.sf(
        held["count"].to_numpy() - 1, held["of_all"].to_numpy(), held["all"].to_numpy(), held["of"].to_numpy()
    )
    held = held.filter(pl.Series(np.atleast_1d(rare) < OF_A_LOT, dtype=pl.Boolean)).sort(
        "count", "lot", descending=[True, False]
    )
    faults = [main_fault(told.faults, visits) for visits in held["visits"]]
    return tables.shaped(
        held.with_columns(
            others=pl.col("all") - pl.col("count"),
            of_others=pl.col("of_all") - pl.col("of"),
            fault=pl.Series(faults, dtype=pl.String),
        ),
        REFUSED_LOTS,
    )
