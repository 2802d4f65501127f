"""The three Delta tables of a store: written as plain strings and UTC times, so that any engine can open them; read at one version."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import arro3.core as arro
import polars as pl
from deltalake import CommitProperties, DeltaTable, PostCommitHookProperties, write_deltalake

from ingest import tables

# Beside the public columns `visits` keeps what tells a visit from another one: its place among rows of the same day without a clock, its text.
KEPT: dict[str, dict[str, pl.DataType]] = {
    "visits": tables.VISITS | {"ordinal": pl.Int64(), "text_hash": pl.Int64()},
    "readings": tables.READINGS,
    "faults": tables.FAULTS,
}
BATCH = 500_000  # rows handed over at a time
MANY_FILES = 40  # small files of one table before they are put together
_HOOKS = PostCommitHookProperties(create_checkpoint=True, cleanup_expired_logs=False)  # the past stays readable until it is vacuumed


def plain(rows: pl.DataFrame) -> Any:
    """An Arrow table of plain strings: the string views of Polars are not read by every engine."""
    table = arro.Table.from_arrow(rows)
    columns: dict[str, Any] = {}
    for name, dtype in rows.schema.items():
        held = table.column(name)
        columns[name] = held.cast(arro.DataType.string()) if dtype == pl.String() else held
    return arro.Table.from_pydict(columns)


def append(path: Path, rows: pl.DataFrame, said: dict[str, str]) -> int:
    """Add rows to a table (made where it is not there) and return its version; `said` goes into the commit's metadata."""
    schema = plain(rows.clear()).schema

    def batches() -> Iterator[Any]:
        for start in range(0, rows.height, BATCH):
            yield from plain(rows.slice(start, BATCH)).to_batches()

    write_deltalake(
        path,
        arro.RecordBatchReader.from_batches(schema, batches()),
        mode="append",
        commit_properties=CommitProperties(custom_metadata=said),
        post_commithook_properties=_HOOKS,
    )
    return DeltaTable(path).version()


def delete(path: Path, where: str | None, said: dict[str, str]) -> int:
    """Take out the rows of an SQL condition (None: all) and return the table's version."""
    table = DeltaTable(path)
    table.delete(where, commit_properties=CommitProperties(custom_metadata=said), post_commithook_properties=_HOOKS)
    return int(table.version())


def bring_back(path: Path, version: int) -> int:
    """The table as it was at `version`, whatever was written after it; the version it has now (a restore is a new one)."""
    table = DeltaTable(path)
    if table.version() > version:
        table.restore(version, post_commithook_properties=_HOOKS)
    return int(table.version())


def tidy(path: Path, said: dict[str, str]) -> int:
    """Put many small files together; the table's version."""
    table = DeltaTable(path)
    if len(table.file_uris()) > MANY_FILES:
        table.optimize.compact(target_size=32 << 20, commit_properties=CommitProperties(custom_metadata=said), post_commithook_properties=_HOOKS)
    return int(table.version())


def scan(path: Path, version: int | None) -> pl.LazyFrame:
    """The table at a version, to be read column by column; None: as it is now."""
    return pl.scan_delta(DeltaTable(path, version=version))


def text(value: str) -> str:
    """A text as SQL writes it."""
    return "'" + value.replace("'", "''") + "'"


def of_logs(log_ids: Sequence[str]) -> str:
    """The SQL condition for all rows of some logs."""
    return f"log_id IN ({', '.join(text(log_id) for log_id in log_ids)})"


def of_rows(rows: pl.DataFrame) -> str:
    """The SQL condition for the rows of some visits (log_id, line, stage)."""
    parts = rows.group_by("log_id", "stage", maintain_order=True).agg(pl.col("line").unique())
    return " OR ".join(
        f"(log_id = {text(log_id)} AND stage = {text(stage)} AND line IN ({', '.join(map(str, lines))}))" for log_id, stage, lines in parts.iter_rows()
    )
