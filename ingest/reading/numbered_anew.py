"""Serials that a shop uses again: 1 to 50 in each batch, 0001 anew each year. `serials` in the [[log]] says how long a
number stands for one instrument; it is kept as `12 of 2026-03`.
"""

import polars as pl

from ingest.reading.sheet import Reading, Rows

SPANS = {"each day": "%Y-%m-%d", "each month": "%Y-%m", "each year": "%Y"}  # of a local day


def numbered_anew(rows: Rows, reading: Reading) -> Rows:
    """The rows with their serials told apart by the day, month or year of their line's first visit."""
    span = SPANS.get(reading.log.serials)
    if span is None or rows.visits.is_empty():
        return rows
    first = pl.coalesce("started_at", "finished_at").min().dt.convert_time_zone(reading.shop.shop.timezone)
    of_line = rows.visits.group_by("line").agg(first.dt.strftime(span).alias("_span"))
    return Rows(
        _told(rows.visits, of_line), [_told(frame, of_line) for frame in rows.readings], _told(rows.faults, of_line)
    )


def _told(frame: pl.DataFrame, of_line: pl.DataFrame) -> pl.DataFrame:
    joined = frame.join(of_line, on="line", how="left", maintain_order="left")
    anew = (pl.col("serial") != "") & pl.col("_span").is_not_null()
    return joined.with_columns(
        pl.when(anew).then(pl.concat_str("serial", pl.lit(" of "), "_span")).otherwise("serial").alias("serial")
    ).drop("_span")
