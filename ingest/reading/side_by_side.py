"""Whether two names are two people: who writes between the rows of another, day after day, is no slip of that name."""

import polars as pl

ROWS, DAYS = 3, 3  # rows of either name on a day, and such days, from which on they work side by side


def side_by_side(visits: pl.DataFrame, word: str, other: str) -> bool:
    """Do both names stand in a day's rows again and again, the other between the first and the last of the word?

    visits : tech, started_at, finished_at and time_known; rows without a clock say nothing.
    """
    name = pl.col("tech").cast(pl.String)
    at = pl.coalesce("finished_at", "started_at")
    rows = visits.filter(pl.col("time_known") & name.is_in([word, other])).select(
        name.alias("tech"), at.alias("at"), at.dt.date().alias("day")
    )
    mine = (
        rows.filter(pl.col("tech") == word)
        .group_by("day")
        .agg(pl.len().alias("n"), pl.col("at").min().alias("first"), pl.col("at").max().alias("last"))
        .filter(pl.col("n") >= ROWS)
    )
    between = (
        rows.filter(pl.col("tech") == other)
        .join(mine, on="day")
        .filter(pl.col("at").is_between("first", "last"))
        .group_by("day")
        .len()
    )
    return between.filter(pl.col("len") >= ROWS).height >= DAYS
