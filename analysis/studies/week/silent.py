"""Weeks of which no row was read though the shop usually works: no work, or a file that is missing?"""

from datetime import UTC, date, datetime, timedelta

import polars as pl

from analysis.studies.story.calendar import closed_days, first_day, local_day, week_of, working_weekdays
from ingest.store.snapshot import Snapshot
from ingest.terms.tables import TIME

SILENT: dict[str, pl.DataType] = {"first": pl.Date(), "last": pl.Date()}  # first and last working day of each such week
WEEKS = 13  # that are looked at
FEWEST = 4  # weeks with rows before it is known how the shop works
USUALLY = 0.75  # of those weeks have rows
WAITED = 3  # weeks behind the last rows in which somebody may wait for a file; later nobody does
A_YEAR = 52  # weeks
QUARTER = 15 * 60_000_000  # microseconds: clocks on the wall differ by whole quarters of an hour
WHOLE = datetime(1972, 2, 1, tzinfo=UTC)  # since then


def silent(snapshot: Snapshot, *, week: date) -> pl.DataFrame:
    """SILENT of the weeks up to `week` (its first day), that one too, the oldest first."""
    return _silent(snapshot, week - timedelta(weeks=WEEKS), week + timedelta(weeks=1))


def awaited(snapshot: Snapshot, *, today: date) -> pl.DataFrame:
    """SILENT of the weeks that are over by now; where the last row is some weeks old, of those before it."""
    seen, this = set(snapshot.once(_days)["week"]), first_day(today, snapshot.shop)
    if not seen:
        return pl.DataFrame(schema=SILENT)
    if this > max(seen) + timedelta(weeks=WAITED + 1):
        this = max(seen)
    return _silent(snapshot, this - timedelta(weeks=WEEKS), this)


def _days(snapshot: Snapshot) -> pl.DataFrame:
    """Days with a visit: week (its first day), day."""
    visits = snapshot.table("visits", "started_at", "finished_at")
    at = pl.coalesce("finished_at", "started_at")
    begun = (at.to_physical() // QUARTER * QUARTER).cast(TIME)
    times = visits.select(at=pl.when(at >= WHOLE).then(begun).otherwise(at)).unique()
    days = times.select(day=local_day(pl.col("at"), snapshot.shop)).unique().drop_nulls()
    return days.select(week_of(pl.col("day"), snapshot.shop).alias("week"), "day").sort("day")


def _silent(snapshot: Snapshot, first: date, end: date) -> pl.DataFrame:
    """SILENT of the weeks from `first` to before `end`."""
    held, shop = snapshot.once(_days), snapshot.shop
    seen = set(held["week"])
    rows: list[tuple[date, date]] = []
    if seen:
        closed = set(closed_days(shop.calendar).tolist())
        weekdays = working_weekdays(held)
        begin = first_day(first, shop)
        for place in range(max((end - begin).days // 7, 0)):
            week = begin + timedelta(weeks=place)
            days = [week + timedelta(days=day) for day in range(7)]
            open_ = [day for day in days if day.weekday() in weekdays and (day - date(1970, 1, 1)).days not in closed]
            if open_ and week not in seen and _works(seen, week, end):
                rows.append((open_[0], open_[-1]))
    return pl.DataFrame(rows, schema=SILENT, orient="row")


def _works(seen: set[date], week: date, end: date) -> bool:
    """Does the shop usually work in such a week: in most weeks before, or in most on both sides of the silent ones, up
    to before `end`; and about then the year before, where that is on file?
    """
    oldest = min(seen)
    before = [week - timedelta(weeks=back) for back in range(1, WEEKS + 1) if week - timedelta(weeks=back) >= oldest]
    worked = sum(one in seen for one in before)
    year = [week - timedelta(weeks=A_YEAR + apart) for apart in (-1, 0, 1)]
    usual = (worked >= FEWEST and worked >= USUALLY * len(before)) or _on_both_sides(seen, week, end)
    return usual and all(one in seen for one in year if one >= oldest)


def _on_both_sides(seen: set[date], week: date, end: date) -> bool:
    """Did the shop work in most weeks before and behind a run of silent ones: of a shop that had just begun, later?"""
    first = max((one for one in seen if one < week), default=None)
    last = min((one for one in seen if week < one < end), default=None)
    if first is None or last is None:
        return False
    span = [first - timedelta(weeks=back) for back in range(WEEKS)] + [
        last + timedelta(weeks=on) for on in range(WEEKS)
    ]
    span = [one for one in span if min(seen) <= one <= max(each for each in seen if each < end)]
    worked = sum(one in seen for one in span)
    return worked >= 2 * FEWEST and worked >= USUALLY * len(span)
