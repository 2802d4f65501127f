"""Notes at a fret: which frets a string has, and how sharp a choked note may be before it is a slip of the pen."""

import re

import polars as pl

from ingest.reading.headings import Column
from ingest.reading.sheet import Reading

MOST = 24  # frets; no model of the trade has more
CHOKED = (40.0, 230.0)  # cents sharp: the next fret, or the one after it, stops the string (common practice)
AT_FRET = r"^\d+ fret [1-9]\d*$"
_PLACE = re.compile(r"(\d+) fret (\d+)")


def on_the_neck(cells: pl.DataFrame, column: Column, models: pl.Series, reading: Reading) -> pl.DataFrame:
    """Cells of a column (row, line, text) without those of frets that the string of the row's model does not have:
    these are set aside.
    """
    place = _PLACE.fullmatch(column.positions[0]) if len(column.positions) == 1 else None
    if place is None or place[2] == "0":
        return cells
    string, fret = int(place[1]), int(place[2])
    if fret > MOST:
        out, wanted = pl.Series([True]).new_from_index(0, cells.height), f"a fret from 1 to {MOST}, or 0 for open"
    else:
        shorter = {
            model.key: model.short_string.starts_at
            for model in reading.shop.models
            if model.short_string and model.short_string.string == string and fret <= model.short_string.starts_at
        }
        if not shorter:
            return cells
        out = models.is_in(list(shorter)).gather(cells["row"])
        wanted = f"a fret after {max(shorter.values())}, where string {string} begins, or 0 for open"
    refused = cells.filter(out & (cells["text"] != ""))
    reading.asides.add_frame(
        refused.select(
            "line",
            pl.lit(column.heading).alias("column"),
            pl.col("text").alias("raw"),
            pl.lit("no such fret").alias("reason"),
            pl.lit(wanted).alias("wanted"),
        )
    )
    return cells.with_columns(text=pl.when(~out).then("text").otherwise(pl.lit("")))


def choke(quantity: str) -> pl.Expr:
    """Is a reading (value, position) a choked note: far sharp at a fret, but no further than the next frets' pitch?"""
    if quantity != "pitch":
        return pl.lit(False)
    return pl.col("position").str.contains(AT_FRET) & pl.col("value").is_between(*CHOKED)
