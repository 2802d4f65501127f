"""Checks with yes and no: characteristics of kind `class` with their words; one that is not good counts as a fault.
So does what is read at several points, round a rim, and is not even.
"""

import polars as pl

from ingest.reading.headings import Column, plain
from ingest.reading.notation import NO_READING
from ingest.reading.sheet import Reading
from ingest.terms import tables

NEAR = 1e-9


def of_the_words(cells: pl.DataFrame, column: Column, reading: Reading) -> pl.DataFrame:
    """Cells of a column (row, line, text) in the words of its check, however they were typed; other words are set
    aside.
    """
    item = reading.shop.by_characteristic[column.characteristic]
    if not item.values:
        return cells
    known = {plain(word): word for word in item.values}
    texts = cells["text"].unique().to_list()
    meant = {text: known.get(plain(text)) for text in texts}
    fits = pl.Series([meant[text] is not None for text in cells["text"]], dtype=pl.Boolean)
    silent = sorted(word for word in NO_READING if word not in known)
    asked = cells.filter(~fits & (cells["text"] != "") & ~cells["text"].str.to_lowercase().is_in(silent))
    reading.asides.add_frame(
        asked.select(
            "line",
            pl.lit(column.heading).alias("column"),
            pl.col("text").alias("raw"),
            pl.lit("not one of the words").alias("reason"),
            pl.lit(", ".join(item.values)).alias("wanted"),
        )
    )
    words = {text: word or "" for text, word in meant.items()}
    return cells.with_columns(text=pl.col("text").replace_strict(words, return_dtype=pl.String))


def uneven(readings: list[pl.DataFrame], reading: Reading) -> list[pl.DataFrame]:
    """tables.FAULTS of what was found further apart at its positions than `even_within`, a row a visit: at the tightest
    and the slackest point.
    """
    out = []
    for item in reading.shop.characteristics:
        mine = [frame for frame in readings if frame.height and frame["characteristic"][0] == item.key]
        if item.most_apart is None or not mine:
            continue
        found = pl.concat(mine).filter((pl.col("moment") == "found") & pl.col("value").is_not_null())
        each = found.sort("value", maintain_order=True).group_by(
            "log_id", "line", "serial", "stage", maintain_order=True
        )
        apart = each.agg(
            (pl.col("value").last() - pl.col("value").first()).alias("apart"),
            pl.format("{}, {}", pl.col("position").last(), pl.col("position").first()).alias("fault_at"),
            pl.format("{} to {}", pl.col("raw").first(), pl.col("raw").last()).alias("raw"),
        ).filter(pl.col("apart") > item.most_apart + NEAR)
        name = item.name or item.key.replace("_", " ")
        out.append(tables.shaped(apart.with_columns(fault=pl.lit(f"{name}: uneven")), tables.FAULTS))
    return [frame for frame in out if frame.height]


def failed_checks(visits: pl.DataFrame, readings: list[pl.DataFrame], reading: Reading) -> list[pl.DataFrame]:
    """tables.FAULTS of the checks that were not good, a row each: the check and its word."""
    out = []
    for frame in readings:
        key = frame["characteristic"][0] if frame.height else ""
        item = reading.shop.by_characteristic.get(key)
        if item is None or not item.good:
            continue
        bad = frame.filter((pl.col("moment") == "found") & (pl.col("raw") != "") & ~pl.col("raw").is_in(item.good))
        name = item.name or item.key.replace("_", " ")
        told = bad.select(
            "log_id",
            "line",
            "serial",
            "stage",
            pl.format(f"{name}: {{}}", "raw").alias("fault"),
            pl.col("position").alias("fault_at"),
            "raw",
        )
        out.append(tables.shaped(told, tables.FAULTS))
    return [frame for frame in out if frame.height]
