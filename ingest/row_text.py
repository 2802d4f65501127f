"""A row as it was typed: in one line for a question, as JSON for what no column holds, as a hash that any version of the program repeats."""

from hashlib import blake2b

import polars as pl

from ingest.headings import Columns


def row_text(rows: pl.DataFrame) -> pl.Series:
    """The cells of each row in one line, as a question shows them.

    rows : line, c0, c1 ...
    """
    if rows.width < 2:
        return pl.Series("raw", [""] * rows.height, dtype=pl.String)
    return rows.select(pl.concat_str(rows.columns[1:], separator=" | ").alias("raw")).to_series()


def other_json(rows: pl.DataFrame, columns: Columns) -> pl.Series:
    """The filled cells of columns that no heading names, as JSON by heading; '' where none is filled."""
    others = columns.others()
    if not others:
        return pl.Series("other", [""], dtype=pl.String).new_from_index(0, rows.height)
    pieces = []
    for column in others:
        cell = pl.col(f"c{column.place}").str.strip_chars()
        encoded = pl.struct(cell.alias(column.heading or f"column {column.place + 1}")).struct.json_encode()
        pieces.append(pl.when(cell != "").then(encoded.str.slice(1, encoded.str.len_chars() - 2)))
    joined = pl.concat_str(pieces, separator=",", ignore_nulls=True)
    return rows.select(pl.when(joined == "").then(pl.lit("")).otherwise("{" + joined + "}").alias("other")).to_series()


def text_hash(rows: pl.DataFrame, columns: Columns) -> pl.Series:
    """64 bits (Int64) of the filled cells of each row under their headings' meaning: same for the same row whatever the order of columns."""
    named = sorted(((column.meaning if column.field != "other" else column.heading, column.place) for column in columns.all if column.field != "ignore"))
    pieces = []
    for meaning, place in named:
        cell = pl.col(f"c{place}").str.strip_chars()
        pieces.append(pl.when(cell == "").then(pl.lit("")).otherwise(pl.lit(f"{meaning}\x1f") + cell + "\x1e"))
    texts = rows.select(pl.concat_str(pieces) if pieces else pl.lit("").repeat_by(pl.len())).to_series()
    hashes = [int.from_bytes(blake2b(text.encode(), digest_size=8).digest(), "big", signed=True) for text in texts]
    return pl.Series("text_hash", hashes, dtype=pl.Int64)
