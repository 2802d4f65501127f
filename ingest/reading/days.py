"""The time that a file tells of: stretches of days, each from the first visit on to the end of its last local day, in
which a newer edition stands for an older one. What happened earlier on its first day it was not made to tell: two
exports of a day may overlap.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import polars as pl

GAP = timedelta(
    days=31
)  # longer without a visit is not covered: a mistyped year does not make a sheet tell of all years
Span = tuple[datetime, datetime]  # UTC; from a visit up to, not with, the first moment of a local day


def covered(times: pl.Series, timezone: str) -> list[Span]:
    """The stretches of local days that visits at these times (UTC) tell of."""
    times = times.drop_nulls()
    firsts = pl.DataFrame({"time": times, "day": times.dt.convert_time_zone(timezone).dt.date()})
    first_of = dict(firsts.group_by("day").agg(pl.col("time").min()).sort("day").iter_rows())
    days = list(first_of)
    spans: list[tuple[date, date]] = []
    for day in days:
        if spans and day - spans[-1][1] <= GAP:
            spans[-1] = (spans[-1][0], day)
        else:
            spans.append((day, day))
    zone = ZoneInfo(timezone)
    return [(first_of[first], _midnight(last + timedelta(days=1), zone)) for first, last in spans]


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time.min, tzinfo=zone).astimezone(UTC)


def within(spans: Sequence[Span], moment: str = "time") -> pl.Expr:
    """Does a moment fall into one of the spans."""
    if not spans:
        return pl.lit(False)
    return pl.any_horizontal(pl.col(moment).is_between(low, high, closed="left") for low, high in spans)
