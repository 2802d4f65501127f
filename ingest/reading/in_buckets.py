"""Rows that belong together, brought together: of a long file whose visits are gathered from rows all over it, a part
of the visits at a time.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import polars as pl

from ingest.reading.on_disk import room
from ingest.reading.tabular import Table, Tables

AT_ONCE = 400_000  # rows that wait in memory before they are written


class Buckets:
    """The rows of a file in so many buckets; `together` of a table tells which rows may never be parted."""

    def __init__(self, root: Path, count: int, together: Callable[[Table], pl.Series]) -> None:
        self._folder = room(root, self)
        self._count, self._together = count, together
        self._tables: dict[tuple[int, tuple[str, ...]], Table] = {}  # by header, without rows
        self._waiting: dict[tuple[int, tuple[str, ...]], list[pl.DataFrame]] = {}
        self._rows = self._written = 0

    def sorted_in(self, found: Iterator[Tables], laid: Callable[[Table], Table]) -> Iterator[Tables]:
        """What is told of the pieces first, then their rows bucket by bucket, in the order of their lines.

        laid : the rows of a table as they are to be read.
        """
        for piece in found:
            for came in piece.tables:
                self._take(laid(came))
            yield Tables([], piece.refused, piece.passed_over, piece.notes)
        self._write()
        for place, table in enumerate(self._tables.values()):
            for bucket in range(self._count):
                parts = sorted(self._folder.glob(f"{place}.{bucket}.*"))
                if parts or not bucket:
                    rows = pl.concat([table.rows, *(pl.read_parquet(part) for part in parts)]).sort("line")
                    yield Tables([replace(table, rows=rows)])
                for part in parts:
                    part.unlink()

    def _take(self, table: Table) -> None:
        key = (table.header_line, table.header)
        self._tables.setdefault(key, replace(table, rows=table.rows.clear()))
        bucket = self._together(table) % self._count
        self._waiting.setdefault(key, []).append(table.rows.with_columns(bucket.alias("bucket")))
        self._rows += table.rows.height
        if self._rows > AT_ONCE:
            self._write()

    def _write(self) -> None:
        order = list(self._tables)
        for key, frames in self._waiting.items():
            for (bucket,), rows in pl.concat(frames).group_by("bucket", maintain_order=True):
                path = self._folder / f"{order.index(key)}.{bucket}.{self._written:06d}"
                rows.drop("bucket").write_parquet(path, compression="lz4", statistics=False)
        self._waiting, self._rows, self._written = {}, 0, self._written + 1
