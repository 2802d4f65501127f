"""Tables of `ingest.terms.tables` kept in SQLite: columns, rows in, rows out. Times and dates stand as ISO text, so
that a person can read the file.
"""

import sqlite3
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl

from ingest.terms.tables import TIME, empty

PATIENCE = 5.0  # seconds that anybody waits for another one before a line says so
SYNCHRONOUS = "FULL"  # a line that was said to be written outlives a power cut
LONG_PATIENCE = 600.0  # that a version waits which is worked out already and wants only its place
_TIME_TEXT = "%Y-%m-%dT%H:%M:%S%.6f+00:00"
_KINDS = {
    "String": "TEXT",
    "Int64": "INTEGER",
    "Float64": "REAL",
    "Boolean": "INTEGER",
    "Datetime": "TEXT",
    "Date": "TEXT",
}


def connect(path: Path, *, existing: bool = False, patience: float | None = None) -> sqlite3.Connection:
    """A connection whose transactions are begun and ended by hand. The rollback journal stays: only with it are two
    files committed as one.
    """
    if existing:  # not `mode=ro`: whoever comes first after a crash must be able to put the file right
        return sqlite3.connect(
            f"{path.absolute().as_uri()}?mode=rw",
            uri=True,
            timeout=PATIENCE if patience is None else patience,
            isolation_level=None,
            check_same_thread=False,
        )
    connection = sqlite3.connect(
        path, timeout=PATIENCE if patience is None else patience, isolation_level=None, check_same_thread=False
    )
    connection.execute(f"PRAGMA synchronous = {SYNCHRONOUS}")
    return connection


def kind_of(dtype: pl.DataType) -> str:
    """What SQLite calls a kind of column."""
    return _KINDS[str(dtype.base_type())]


def create(connection: sqlite3.Connection, table: str, schema: Mapping[str, pl.DataType], more: str = "") -> None:
    """Make a table with the columns of `schema` (and `more`, as SQL) where it is not there yet."""
    columns = ", ".join(f'"{name}" {kind_of(dtype)}' for name, dtype in schema.items())
    connection.execute(f"CREATE TABLE IF NOT EXISTS {table} ({columns}{', ' + more if more else ''})")


def as_text(moment: datetime) -> str:
    """A moment as it stands in a table; moments compare as their texts do."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def insert(connection: sqlite3.Connection, table: str, rows: pl.DataFrame) -> None:
    """Put all rows into a table by the names of their columns."""
    if rows.is_empty():
        return
    plain = rows.with_columns(
        *(pl.col(name).dt.strftime(_TIME_TEXT) for name, dtype in rows.schema.items() if dtype == TIME),
        *(pl.col(name).dt.strftime("%Y-%m-%d") for name, dtype in rows.schema.items() if dtype == pl.Date()),
    )
    names = ", ".join(f'"{name}"' for name in rows.columns)
    connection.executemany(f"INSERT INTO {table} ({names}) VALUES ({', '.join('?' * rows.width)})", plain.iter_rows())


def fetch(
    connection: sqlite3.Connection, schema: Mapping[str, pl.DataType], rest: str, values: Sequence[Any] = ()
) -> pl.DataFrame:
    """The columns of `schema` of `SELECT ... rest` (FROM and after) as a table of that schema."""
    stored = {
        name: pl.String() if dtype in (TIME, pl.Date()) else pl.Int64() if dtype == pl.Boolean() else dtype
        for name, dtype in schema.items()
    }
    names = ", ".join(f'"{name}"' for name in schema)
    rows = connection.execute(f"SELECT {names} {rest}", values).fetchall()
    if not rows:
        return empty(dict(schema))
    columns = zip(stored.items(), zip(*rows, strict=True), strict=True)
    table = pl.DataFrame([pl.Series(name, values, dtype=dtype) for (name, dtype), values in columns])
    return table.with_columns(
        *(
            pl.col(name).str.to_datetime("%Y-%m-%dT%H:%M:%S%.f%z", time_unit="us", time_zone="UTC")
            for name, dtype in schema.items()
            if dtype == TIME
        ),
        *(pl.col(name).str.to_date("%Y-%m-%d") for name, dtype in schema.items() if dtype == pl.Date()),
        *(pl.col(name).cast(pl.Boolean) for name, dtype in schema.items() if dtype == pl.Boolean()),
    )
