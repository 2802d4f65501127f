"""A table as text: CSV or JSON, canonical units, unrounded, times in UTC."""

import json

import polars as pl


def plain(rows: pl.DataFrame) -> pl.DataFrame:
    """The same rows with times as UTC text (+00:00), dates as text, and null for what is no number."""
    columns = []
    for name, dtype in rows.schema.items():
        if isinstance(dtype, pl.Datetime):
            columns.append(pl.col(name).dt.strftime("%Y-%m-%dT%H:%M:%S%.f+00:00"))
        elif dtype == pl.Date:
            columns.append(pl.col(name).dt.strftime("%Y-%m-%d"))
        elif dtype.is_float():
            columns.append(pl.when(pl.col(name).is_finite()).then(pl.col(name)).otherwise(None).alias(name))
        else:
            columns.append(pl.col(name))
    return rows.select(columns)


def json_text(rows: pl.DataFrame) -> str:
    """A list of rows, one a line."""
    return (
        "["
        + ",\n ".join(json.dumps(row, ensure_ascii=False, allow_nan=False) for row in rows.iter_rows(named=True))
        + "]\n"
    )


def csv_text(rows: pl.DataFrame) -> str:
    """Numbers with the fewest digits that give them back exactly."""
    return rows.write_csv(null_value="")
