"""What SQLite is asked for: a line that was said to be written outlives a power cut; a table without rows has its
columns.
"""

import runpy

import polars as pl

from ingest.store import book, ledger, sqlite_tables
from tests.ingest.bench import shop

FULL = 2  # as SQLite counts them


def test_the_product_writes_ledger_and_book_through_to_the_disk(tmp_path, monkeypatch):
    own = runpy.run_path(sqlite_tables.__file__)["SYNCHRONOUS"]  # not what conftest.py makes of it
    monkeypatch.setattr(sqlite_tables, "SYNCHRONOUS", own)
    with ledger.writing(shop(tmp_path)) as connection:
        for each in ("main", "book"):
            assert connection.execute(f"PRAGMA {each}.synchronous").fetchone() == (FULL,)


def test_a_table_without_rows_has_its_columns_and_their_types(tmp_path):
    with ledger.writing(shop(tmp_path)) as connection:
        for name, schema in book.SCHEMAS.items():
            assert sqlite_tables.fetch(connection, schema, f"FROM book.{name}").equals(pl.DataFrame(schema=schema))
