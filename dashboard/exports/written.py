"""A table as text: CSV or JSON, canonical units, unrounded, times in UTC."""

import json
import re

import polars as pl

FORMULA = r"^[=+\-@\t\r\n]"  # how a cell begins that a spreadsheet may take for a formula
NUMBER = r"^[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?$"


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
    """Numbers with the fewest digits that give them back exactly; no cell is a formula to a spreadsheet."""
    texts = [name for name, dtype in rows.schema.items() if dtype == pl.String]
    safe = rows.with_columns(_no_formula(pl.col(name)).alias(name) for name in texts)
    return safe.rename({name: _no_formula_in(name) for name in rows.columns}).write_csv(null_value="")


def _no_formula(text: pl.Expr) -> pl.Expr:
    """An apostrophe before what a spreadsheet would run: page.js does the same with tables saved in the browser."""
    return pl.when(text.str.contains(FORMULA) & ~text.str.contains(NUMBER)).then("'" + text).otherwise(text)


def _no_formula_in(word: str) -> str:
    return "'" + word if re.match(FORMULA, word) and not re.match(NUMBER, word) else word
