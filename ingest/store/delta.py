"""The three Delta tables of a store: written as plain strings and UTC times, so that any engine can open them; read at
one version.
"""

import json
import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import arro3.core as arro
import polars as pl
from deltalake import CommitProperties, DeltaTable, PostCommitHookProperties, WriterProperties, write_deltalake

from ingest.terms import tables

# Beside the public columns `visits` keeps what tells a visit from another one: its place among rows of the same day
# without a clock, its text.
KEPT: dict[str, dict[str, pl.DataType]] = {
    "visits": tables.VISITS | {"ordinal": pl.Int64(), "text_hash": pl.Int64()},
    "readings": tables.READINGS,
    "faults": tables.FAULTS,
}
BATCH = 500_000  # rows handed over at a time
ROW_GROUP = 128 * 1024  # rows that are read or passed over as one
MANY_FILES = 40  # files of one table under half of LARGE before small ones are put together
LARGE = 4 << 20  # bytes of a file that is left as it is: of readings some 600,000 rows
_HOOKS = PostCommitHookProperties(
    create_checkpoint=True, cleanup_expired_logs=False
)  # the past stays readable until it is vacuumed


def plain(rows: pl.DataFrame) -> Any:
    """An Arrow table of plain strings: the string views of Polars are not read by every engine."""
    table = arro.Table.from_arrow(rows)
    columns: dict[str, Any] = {}
    for name, dtype in rows.schema.items():
        held = table.column(name)
        columns[name] = held.cast(arro.DataType.string()) if dtype == pl.String() else held
    return arro.Table.from_pydict(columns)


class Table:
    """One Delta table at one version; None: not made yet. Opened once, and only when it is needed."""

    def __init__(self, path: Path, version: int | None) -> None:
        self.path, self.version = path, version
        self._open: DeltaTable | None = None

    def _opened(self, *, latest: bool = False) -> DeltaTable:
        if self._open is None:
            self._open = DeltaTable(self.path.absolute().as_uri(), version=None if latest else self.version)
        return self._open

    def files(self) -> list[str]:
        """The names of the files that hold the rows."""
        return [] if self.version is None else [uri.rsplit("/", 1)[-1] for uri in self._opened().file_uris()]

    def steps(self, since: int) -> list[tuple[str, bool, bool]]:
        """What the versions after one did with files, in their order: the name, was it added (else taken out), and did
        rows change by that: a file that small ones were put together in holds the rows that they held.

        Raises OSError where the log does not reach back so far, ValueError or LookupError where it cannot be read.
        """
        told = []
        for version in range(since + 1, (since if self.version is None else self.version) + 1):
            text = (self.path / "_delta_log" / f"{version:020d}.json").read_text(encoding="utf-8")
            for line in map(json.loads, text.splitlines()):
                for what in line.keys() & {"add", "remove"}:
                    file = line[what]
                    told.append((file["path"].rsplit("/", 1)[-1], what == "add", bool(file["dataChange"])))
        return told

    def scan(self) -> pl.LazyFrame:
        """The rows, to be read column by column; only of a table that is there."""
        # not `scan_delta`: it takes the address of a file, where a space is %20, for its path
        return pl.scan_parquet([self.path / name for name in self.files()], schema=KEPT[self.path.name], glob=False)

    def stand(self) -> None:
        """Take the table from a writer that died: whatever was written after this version is taken back (a restore is a
        new version).
        """
        if self.version is None:
            shutil.rmtree(self.path, ignore_errors=True)
            return
        table = self._opened(latest=True)
        if table.version() > self.version:
            table.restore(self.version, post_commithook_properties=_HOOKS)
        self.version = table.version()

    def append(self, rows: pl.DataFrame, said: dict[str, str]) -> None:
        """Add rows, made where there is no table yet; `said` goes into the commit's metadata."""

        def batches() -> Iterator[Any]:
            for start in range(0, rows.height, BATCH):
                yield from plain(rows.slice(start, BATCH)).to_batches()

        write_deltalake(
            self.path.absolute().as_uri() if self.version is None else self._opened(),
            arro.RecordBatchReader.from_batches(plain(rows.clear()).schema, batches()),
            mode="append",
            writer_properties=WriterProperties(max_row_group_size=ROW_GROUP),
            commit_properties=CommitProperties(custom_metadata=said),
            post_commithook_properties=_HOOKS,
        )
        self.version = self._opened().version()

    def delete(self, where: str | None, said: dict[str, str]) -> None:
        """Take out the rows of an SQL condition; None: all."""
        if self.version is not None:
            self._opened().delete(
                where, commit_properties=CommitProperties(custom_metadata=said), post_commithook_properties=_HOOKS
            )
            self.version = self._opened().version()

    def tidy(self, said: dict[str, str]) -> None:
        """Put small files together where there are many."""
        if self.version is None or self._open is None or len(self._open.file_uris()) <= MANY_FILES:
            return
        sizes = pl.DataFrame(self._open.get_add_actions(flatten=True))["size_bytes"]
        if (sizes < LARGE // 2).sum() > MANY_FILES:  # of many years, too, not at every load
            self._open.optimize.compact(
                target_size=LARGE,
                commit_properties=CommitProperties(custom_metadata=said),
                post_commithook_properties=_HOOKS,
            )
            self.version = self._open.version()

    def forget_the_past(self) -> None:
        """Make this version the oldest that can be read: files and log entries of older ones are taken off the disk.

        Not `vacuum`: it keeps files by their age, and makes a version that no row of `versions` names.
        """
        table = self._opened()
        table.create_checkpoint()
        kept = {uri.rsplit("/", 1)[-1] for uri in table.file_uris()}
        logs = [path for path in (self.path / "_delta_log").iterdir() if path.name.split(".", 1)[0].isdigit()]
        for path in logs:
            if path.suffix == ".json" and _number(path) > table.version():
                lines = (json.loads(line) for line in path.read_text(encoding="utf-8").splitlines())
                kept |= {line["add"]["path"].rsplit("/", 1)[-1] for line in lines if "add" in line}
        for path in self.path.glob("*.parquet"):
            if path.name not in kept:
                path.unlink()
        for path in logs:
            if _number(path) < table.version():
                path.unlink()


def _number(path: Path) -> int:
    """The version of an entry of a Delta log."""
    return int(path.name.split(".", 1)[0])


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
        f"(log_id = {text(log_id)} AND stage = {text(stage)} AND line IN ({', '.join(map(str, lines))}))"
        for log_id, stage, lines in parts.iter_rows()
    )
