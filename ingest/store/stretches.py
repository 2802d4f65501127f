"""The stretches of time that some visits fill: where among stored ones their like is looked for, so that most of the
table need not be read.
"""

from datetime import datetime

import polars as pl

MOST = 8


def within(marks: pl.DataFrame) -> pl.Expr:
    """The condition that a stored visit falls in the stretches of time of these (time, begun)."""
    spans = stretches(marks["time"])
    started = pl.any_horizontal(pl.col("started_at").is_between(low, high) for low, high in spans)
    if marks["begun"].all():
        return started
    return started | pl.any_horizontal(
        pl.col("started_at").is_null() & pl.col("finished_at").is_between(low, high) for low, high in spans
    )


def stretches(times: pl.Series, most: int = MOST) -> list[tuple[datetime, datetime]]:
    """At most so many stretches that cover all times, parted at the widest gaps: one mistyped year must not mean all
    years.
    """
    ordered = times.drop_nulls().unique().sort()
    gaps = ordered.diff().dt.total_microseconds()[1:]
    cuts = sorted(gaps.arg_sort(descending=True).head(most - 1).to_list())
    firsts = [0, *(cut + 1 for cut in cuts)]
    lasts = [*cuts, ordered.len() - 1]
    return [(ordered[first], ordered[last]) for first, last in zip(firsts, lasts, strict=True)]
