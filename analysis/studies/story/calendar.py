"""The clock on the wall: local days, weeks by the shop's first day, and which minutes between two times are paid."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl

from analysis.methods.segments import Floats, Ints
from ingest.shopfiles.house_rules import DAYS, Calendar
from ingest.shopfiles.shop import Shop

DAY = 86_400_000_000  # microseconds
MINUTE = 60_000_000  # microseconds
DAYS_SEEN = ("day", "week", "visited", "read")  # columns of `days_of`
HALF = 0.5  # a weekday is a working day where it has visits in at least half of the weeks on file


def local_day(time: pl.Expr, shop: Shop) -> pl.Expr:
    """The date on the shop's wall at a UTC time."""
    return time.dt.convert_time_zone(shop.shop.timezone).dt.date()


def week_of(day: pl.Expr, shop: Shop) -> pl.Expr:
    """The first day of the week a date lies in."""
    first = DAYS.index(shop.shop.week_starts)
    return day - pl.duration(days=(day.dt.weekday().cast(pl.Int64) + 6 - first) % 7)


def first_day(day: date, shop: Shop) -> date:
    """`week_of` for one date."""
    return day - timedelta(days=(day.weekday() - DAYS.index(shop.shop.week_starts)) % 7)


def last_moment(day: date, shop: Shop) -> datetime:
    """The last moment of a day by the shop's clock, in UTC."""
    midnight = datetime.combine(day + timedelta(days=1), datetime.min.time(), shop.zone)
    return midnight.astimezone(UTC) - timedelta(microseconds=1)


def of_late(days: pl.Series, span: timedelta) -> pl.Series:
    """Which of some days lie less than so long before the last of them, shape (n,)."""
    day = pl.col(days.name)
    return days.to_frame().select((day > day.max() - span).fill_null(False)).to_series()


def days_of(visited: pl.Series, read: pl.Series, shop: Shop) -> pl.DataFrame:
    """DAYS_SEEN of every day with a visit or a reading, by day. visited, read : days, as often as there are such."""
    seen, told = _each_once(visited), _each_once(read)
    day = pl.concat([seen, told]).unique().sort().alias("day").to_frame()
    return day.select(
        "day",
        week_of(pl.col("day"), shop).alias("week"),
        visited=pl.col("day").is_in(seen.implode()),
        read=pl.col("day").is_in(told.implode()),
    )


def _each_once(days: pl.Series) -> pl.Series:
    """Every day among some, rising."""
    told = days.drop_nulls().to_physical().to_numpy()
    if not len(told):
        return days.clear()
    first = int(told.min())
    there = np.zeros(int(told.max()) - first + 1, dtype=np.bool_)
    there[told - first] = True
    return pl.Series(days.name, (np.flatnonzero(there) + first).astype(np.int32)).cast(pl.Date)


def working_weekdays(visits: pl.DataFrame) -> set[int]:
    """Weekdays (Monday 0) on which the shop works, by its own logs. visits : week (its first day), day."""
    seen = visits.select("week", (pl.col("day").dt.weekday() - 1).cast(pl.Int64).alias("weekday")).unique()
    weeks = max(seen["week"].n_unique(), 1)
    counts = seen.group_by("weekday").agg(pl.len().alias("n"))
    return {int(day) for day, n in counts.iter_rows() if n >= HALF * weeks}


def wall(time: pl.Series, shop: Shop) -> Ints:
    """UTC times as microseconds of the clock on the wall since 1970, shape (n,); no time may be missing."""
    return np.asarray(
        time.dt.convert_time_zone(shop.shop.timezone).dt.replace_time_zone(None).cast(pl.Int64).to_numpy(),
        dtype=np.int64,
    )


def paid_minutes(started: pl.Series, finished: pl.Series, shop: Shop) -> Floats:
    """Minutes from start to finish less breaks and closed hours.

    started, finished : UTC times, shape (n,), none missing, finish not before start.
    Where the shop names no opening hours every hour may be paid, and what passed is counted in real time, so that a
    night on which the clocks change keeps its true length.
    """
    begin, end = wall(started, shop), wall(finished, shop)
    hours, closed = _paid_hours(shop.calendar), closed_days(shop.calendar)
    paid = _count(end, hours, closed) - _count(begin, hours, closed)
    if not shop.calendar.open:
        unpaid = (end - begin) - paid
        paid = np.asarray((finished - started).dt.total_microseconds().to_numpy(), dtype=np.int64) - unpaid
    return np.asarray(np.maximum(paid, 0) / MINUTE, dtype=np.float64)


def closed_days(calendar: Calendar) -> Ints:
    """Every closed day as days since 1970, rising, each once."""
    days: set[int] = set()
    for entry in calendar.closed:
        first, _, last = entry.partition("/")
        begin, end = date.fromisoformat(first.strip()), date.fromisoformat((last or first).strip())
        days.update(range((begin - date(1970, 1, 1)).days, (end - date(1970, 1, 1)).days + 1))
    return np.array(sorted(days), dtype=np.int64)


def _paid_hours(calendar: Calendar) -> list[tuple[int, int]]:
    """The paid stretches of an open day in microseconds from midnight."""
    paid = [_stretch(calendar.open)] if calendar.open else [(0, DAY)]
    for low, high in map(_stretch, calendar.breaks):
        paid = [
            part
            for begin, end in paid
            for part in ((begin, min(end, low)), (max(begin, high), end))
            if part[0] < part[1]
        ]
    return paid


def _stretch(text: str) -> tuple[int, int]:
    """'07:30-17:00' as a stretch of the day."""
    begin, end = (_of_day(part) for part in text.split("-"))
    return begin, end


def _of_day(text: str) -> int:
    hours, minutes = text.strip().split(":")
    return (int(hours) * 60 + int(minutes)) * MINUTE


def _count(time: Ints, hours: list[tuple[int, int]], closed: Ints) -> Ints:
    """Paid microseconds of the wall clock from 1970 to each time."""
    days, within = np.divmod(time, DAY)
    whole = sum(end - begin for begin, end in hours)
    before = np.searchsorted(closed, days, side="left")
    shut = np.searchsorted(closed, days, side="right") > before
    part = np.zeros_like(within)
    for begin, end in hours:
        part += np.clip(within, begin, end) - begin
    return np.asarray((days - before) * whole + np.where(shut, 0, part), dtype=np.int64)
