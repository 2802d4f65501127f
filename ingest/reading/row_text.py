"""A row as it was typed: in one line for a question, as JSON for what no column holds, as a hash that any version of
the program repeats.
"""

import re
from base64 import b64encode
from hashlib import blake2b

import numpy as np
import numpy.typing as npt
import polars as pl

from ingest.reading.headings import Column, Columns

AT_ONCE = 100_000  # rows hashed at a time
FACTOR = 0x9E3779B97F4A7C15  # odd, so that no place is lost; 2^64 / golden ratio


def row_text(rows: pl.DataFrame) -> pl.Series:
    """The cells of each row in one line, as a question shows them.

    rows : line, c0, c1 ...
    """
    if rows.width < 2:
        return pl.Series("raw", [""] * rows.height, dtype=pl.String)
    joined = pl.concat_str([name for name in rows.columns if re.fullmatch(r"c\d+", name)], separator=" | ")
    return rows.select(joined.str.replace(r"(?:\s*\|\s*)+$", "").alias("raw")).to_series()


def other_json(rows: pl.DataFrame, columns: Columns) -> pl.Series:
    """The filled cells of columns that no heading names, as JSON by heading; '' where none is filled."""
    others = columns.others()
    if not others:
        return pl.Series("other", [""], dtype=pl.String).new_from_index(0, rows.height)
    pieces = []
    named = [column.heading for column in others]
    for column in others:
        cell = pl.col(f"c{column.place}")
        alone = column.heading and named.count(column.heading) == 1
        name = column.heading if alone else f"{column.heading} column {column.place + 1}".strip()
        encoded = pl.struct(cell.alias(name)).struct.json_encode()
        pieces.append(pl.when(cell != "").then(encoded.str.slice(1, encoded.str.len_chars() - 2)))
    joined = pl.concat_str(pieces, separator=",", ignore_nulls=True)
    return rows.select(pl.when(joined == "").then(pl.lit("")).otherwise("{" + joined + "}").alias("other")).to_series()


def text_hash(rows: pl.DataFrame, columns: Columns, at: str = "", *, here: bool = True) -> pl.Series:
    """64 bits (Int64) of the filled cells of each row under their headings' meaning: same for the same row whatever the
    order of columns.

    Columns that nobody has mapped tell of nothing, so they never make two rows differ.

    rows : line, c0, c1 ... (stripped).  at : a stage of a sheet with a row an instrument; only cells that its visit
    takes count, since those of other stages fill up while the row travels on.  here : measurements that name no stage
    belong to this one.
    """
    named = sorted(
        (column.meaning, column.place)
        for column in columns.all
        if column.field not in ("ignore", "other") and (not at or _taken(column, columns, at, here))
    )
    filled = rows.select((pl.col(f"c{place}") != "").all() for _, place in named).row(0) if named else ()
    pieces: list[pl.Expr] = []
    for (meaning, place), everywhere in zip(named, filled, strict=True):
        cell = pl.col(f"c{place}")
        tag = pl.lit("\x1e" + b64encode(blake2b(meaning.encode(), digest_size=3).digest()).decode())
        pieces += [tag if everywhere else pl.when(cell != "").then(tag), cell]
    if not pieces:
        return pl.Series("text_hash", [0], dtype=pl.Int64).new_from_index(0, rows.height)
    hashes = [
        hash_of(rows[start : start + AT_ONCE].select(pl.concat_str(pieces, ignore_nulls=True)).to_series())
        for start in range(0, rows.height, AT_ONCE)
    ]
    return pl.Series("text_hash", np.concatenate(hashes) if hashes else np.zeros(0, dtype=np.int64), dtype=pl.Int64)


def _taken(column: Column, columns: Columns, at: str, here: bool) -> bool:
    """Does the visit at a stage take anything from this column?"""
    if column.stage:
        return column.stage == at
    if column.field == "reading":
        return here
    return (
        column.field == "other" or columns.find(column.field, at) is None
    )  # a field with a column of its own at the stage is read there


def hash_of(texts: pl.Series) -> npt.NDArray[np.int64]:
    """A hash of each text that stays the same from version to version and machine to machine, shape (n,).

    The UTF-8 bytes, padded with NUL to words of 8, each word mixed, then added up with a factor of its own for each
    place.
    """
    padding = (8 - texts.str.len_bytes() % 8).cast(pl.Int64)  # 1 to 8: no text is without a word
    padded = pl.select(texts + pl.lit("\0" * 8).str.slice(0, padding)).to_series()
    words = np.frombuffer(padded.str.join("").item().encode(), dtype="<u8")
    counts = (padded.str.len_bytes() // 8).to_numpy().astype(np.int64)
    starts = np.cumsum(counts) - counts
    place = np.arange(len(words)) - np.repeat(starts, counts)
    factors = np.cumprod(np.full(int(counts.max(initial=1)), FACTOR, dtype=np.uint64))
    return (
        _mixed(np.add.reduceat(_mixed(words) * factors[place], starts)).view(np.int64)
        if len(words)
        else np.zeros(0, dtype=np.int64)
    )


def _mixed(words: npt.NDArray[np.uint64]) -> npt.NDArray[np.uint64]:
    """Every bit of a word spread over the whole word (the finishing steps of a linear congruential hash)."""
    words = (words ^ (words >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    words = (words ^ (words >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return words ^ (words >> np.uint64(31))
