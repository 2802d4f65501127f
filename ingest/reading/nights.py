"""Night shifts that write the day of the evening for all their rows: 23:50 stands before 00:10 under one day. In the
order in which the rows were written the clock then falls within a day; `night_until` in the [[log]] says before which
hour a time is of the day after.
"""

from dataclasses import dataclass

import polars as pl

from ingest.terms import clock
from ingest.terms.clock import Order

EVENING, MORNING, HALF_A_DAY = 18 * 60, 12 * 60, 12 * 60  # minutes
FALLS = 2  # of days from which on they are no slip
OF_SERIALS = 10  # instruments whose rows fall so
OTHERWISE = 0.1  # of the falls at most rise by half a day: then days begin at midnight, or rows stand in no order
RISING = 0.7  # of the other steps at least go up: else the newest row stands first
NOON = 12 * 60
ROWS = ("day", "start", "end", "serial")  # texts: the day's column, times beside it, whose row it is
AS_IT_STANDS = "00:00"  # of `night_until`: a shop's word that its days are those of the calendar


@dataclass(frozen=True)
class Night:
    """What the rows of a sheet show."""

    times: int  # days, else instruments, within which the clock falls
    day: str  # of the first, as typed
    before: str  # two times of day, one after the other
    after: str
    until: str  # an hour for `night_until`; '' where the rows tell none


def night_of(texts: pl.DataFrame, order: Order) -> Night | None:
    """The night that the rows of a sheet show, in their order; None where the clock does not fall within days.

    texts : ROWS. Times with a day of their own are passed over.
    """
    return night_in(texts, *(clock.read_stamps(texts[name], order) for name in ROWS[:3]))


def night_in(texts: pl.DataFrame, days: pl.DataFrame, starts: pl.DataFrame, ends: pl.DataFrame) -> Night | None:
    """`night_of` rows whose days, starts and ends are read (clock.read_stamps). texts : day and serial."""
    rows = texts.select(pl.col("day").alias("typed"), "serial").with_columns(
        day=days["local"].dt.date(), start=_minutes(starts), end=_minutes(ends)
    )
    rows = rows.filter(days["has_day"] & ~days["has_clock"])
    rows = rows.with_columns(at=pl.coalesce("start", "end")).filter(pl.col("at").is_not_null())
    by_day = _steps(rows, "day")
    if _night(by_day, FALLS):
        return _told(by_day, rows)
    by_serial = _steps(rows.filter(pl.col("serial") != "").sort("serial", maintain_order=True), "day", "serial")
    return _told(by_serial, rows) if _night(by_serial, OF_SERIALS) else None


def moved(at: pl.Expr, until: str) -> pl.Expr:
    """A time on the wall, a day later where its hour lies before `until`."""
    hour, minute = (int(part) for part in until.split(":"))
    early = at.dt.hour().cast(pl.Int32) * 60 + at.dt.minute() < hour * 60 + minute
    return pl.when(early).then(at.dt.offset_by("1d")).otherwise(at)


def _minutes(read: pl.DataFrame) -> pl.Series:
    """Minutes from midnight of bare times of day, null of all else."""
    bare = pl.col("has_clock") & ~pl.col("has_day")
    return read.select(pl.when(bare).then((pl.col("local") - clock.EXCEL_DAY_0).dt.total_minutes())).to_series()


def _steps(rows: pl.DataFrame, *within: str) -> pl.DataFrame:
    """The rows with `was`, the time of the row before within a group, and what the step from it is."""
    stepped = rows.with_columns(was=pl.col("at").shift(1).over(within))
    step = pl.col("at") - pl.col("was")
    return stepped.with_columns(
        falls=(step <= -HALF_A_DAY) & (pl.col("was") >= EVENING) & (pl.col("at") < MORNING),
        rises=step >= HALF_A_DAY,
        up=step >= 0,
    )


def _night(steps: pl.DataFrame, least: int) -> bool:
    held = steps.filter(pl.col("was").is_not_null())
    falls, rises = int(held["falls"].sum()), int(held["rises"].sum())
    small = held.filter(~pl.col("falls") & ~pl.col("rises"))
    rising = small.is_empty() or int(small["up"].sum()) >= RISING * small.height
    return falls >= least and rises <= OTHERWISE * falls and rising


def _told(steps: pl.DataFrame, rows: pl.DataFrame) -> Night:
    falls = steps.filter("falls")
    first = falls.row(0, named=True)
    return Night(falls.height, first["typed"], _hour(first["was"]), _hour(first["at"]), _until(steps, rows))


def _until(steps: pl.DataFrame, rows: pl.DataFrame) -> str:
    """Noon where nobody works then; else the first hour of a day's rows, if those behind the fall end before it."""
    if rows.filter(pl.any_horizontal(pl.col("start", "end").is_between(NOON - 120, NOON + 120))).is_empty():
        return _hour(NOON)
    behind = steps.with_columns(behind=pl.col("falls").fill_null(False).cum_sum().over("day") > 0)
    first = behind.filter(~pl.col("behind"), pl.col("day").is_in(behind.filter("behind")["day"].implode()))["at"].min()
    last = behind.filter("behind")["at"].max()
    return _hour(first) if isinstance(first, int) and isinstance(last, int) and last < first else ""


def _hour(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
