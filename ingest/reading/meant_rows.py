"""Rows that are meant, of a sheet in which only some are a log's: by the words of a column. The others are passed over
and counted, each word of theirs with how many.
"""

from collections.abc import Iterable
from dataclasses import replace

import polars as pl

from ingest.reading.headings import plain
from ingest.reading.sheet import Reading
from ingest.reading.tabular import Table
from ingest.shopfiles.shop_parts import Log

MOST = 20  # words that are told apart
NOT_MEANT = ": rows that are not meant, passed over"


def meant_rows(table: Table, reading: Reading) -> Table:
    """The table with the rows that its [[log]] means: those with one of the words of `only_rows` in each of its
    columns and with none of `not_rows`.
    """
    rows = table.rows
    for heading, words, wanted in _rules(reading.log):
        place = _place(table, heading)
        if place is None or not rows.height:
            continue
        cell = pl.col(f"c{place}")
        said = rows.select(cell.unique()).to_series().to_list()
        mine = [text for text in said if (plain(text) in words) == wanted]
        for text, number in rows.filter(~cell.is_in(mine)).group_by(cell, maintain_order=True).len().iter_rows():
            _count(reading, heading, text, number)
        rows = rows.filter(cell.is_in(mine))
    return replace(table, rows=rows)


def heading_missing(table: Table, log: Log) -> str:
    """What a table lacks to tell the rows that are meant, '' where nothing."""
    for heading, _, wanted in _rules(log):
        if _place(table, heading) is None:
            return f"no column headed {heading!r}, by which {'only_rows' if wanted else 'not_rows'} tells rows"
    return ""


def _rules(log: Log) -> Iterable[tuple[str, set[str], bool]]:
    """Heading, plain words, and whether they are those that are meant or those that are not."""
    for table, wanted in ((log.only_rows, True), (log.not_rows, False)):
        for heading, words in table.items():
            yield heading, {plain(word) for word in words}, wanted


def _place(table: Table, heading: str) -> int | None:
    typed = [plain(each) for each in table.header]
    return typed.index(plain(heading)) if plain(heading) in typed else None


def _count(reading: Reading, heading: str, text: str, number: int) -> None:
    """Say how many rows were passed over for a word."""
    said = f"x {heading!r} says {text[:40]!r} in {reading.name}{NOT_MEANT}"
    if said not in reading.counted and sum(NOT_MEANT in each for each in reading.counted) >= MOST:
        said = f"x {heading!r} says another word in {reading.name}{NOT_MEANT}"
    reading.count(number, said)
