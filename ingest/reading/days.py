"""The days that a file tells of: stretches of whole local days, in which a newer edition stands for an older one."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import polars as pl

GAP = timedelta(
    days=31
)  # longer without a visit is not covered: a mistyped year does not make a sheet tell of all years
Span = tuple[datetime, datetime]  # UTC; from the first moment of a local day up to, not with, that of another


def covered(times: pl.Series, timezone: str) -> list[Span]:
    """The stretches of whole local days that visits at these times (UTC) tell of."""
    days = times.drop_nulls().dt.convert_time_zone(timezone).dt.date().unique().sort().to_list()
    spans: list[tuple[date, date]] = []
    for day in days:
        if spans and day - spans[-1][1] <= GAP:
            spans[-1] = (spans[-1][0], day)
        else:
            spans.append((day, day))
    zone = ZoneInfo(timezone)
    return [(_midnight(first, zone), _midnight(last + timedelta(days=1), zone)) for first, last in spans]


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time.min, tzinfo=zone).astimezone(UTC)


def within(spans: Sequence[Span], moment: str = "time") -> pl.Expr:
    """Does a moment fall into one of the spans."""
    if not spans:
        return pl.lit(False)
    return pl.any_horizontal(pl.col(moment).is_between(low, high, closed="left") for low, high in spans)
