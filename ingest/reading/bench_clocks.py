"""Benches whose clock is off: `clock_ahead` in the [[log]] says by how much, and on which days, so that their visits
stand among those of other benches where they were.
"""

from datetime import date, timedelta

import polars as pl

from ingest.reading.sheet import Reading


def set_right(times: pl.DataFrame, stages: pl.Series, reading: Reading) -> pl.DataFrame:
    """The times of a table's rows (stamps.read_times), those of a bench whose clock is off put right."""
    ahead = reading.log.clock_ahead
    if not ahead:
        return times
    rows = times.with_columns(stages.alias("_stage"))
    day = pl.coalesce("started_at", "finished_at").dt.convert_time_zone(reading.shop.shop.timezone).dt.date()
    shift = pl.lit(timedelta(0))
    for stage, text in ahead.items():
        by, since, until = off_by(text)
        here = (pl.col("_stage") == stage) & pl.col("time_known") & (day >= since) & (day <= until)
        shift = pl.when(here).then(pl.lit(by)).otherwise(shift)
    return rows.with_columns(pl.col("started_at", "finished_at") - shift).drop("_stage")


def off_by(text: str) -> tuple[timedelta, date, date]:
    """'3:00 since 2026-10-05 until 2026-11-01' as how far a clock is ahead, and the first and last day by it."""
    words = text.split()
    told = dict(zip(words[1::2], words[2::2], strict=True))
    hours, minutes = words[0].removeprefix("-").split(":")
    by = timedelta(hours=int(hours), minutes=int(minutes))
    days = [
        date.fromisoformat(told[word]) if word in told else end
        for word, end in (("since", date.min), ("until", date.max))
    ]
    return (-by if text.startswith("-") else by), days[0], days[1]
