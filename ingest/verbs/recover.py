"""`again --all` on a damaged shop: a book that can be read again, and a store that is made anew from the originals.

The logs come back from the notes beside the originals and from the ledger. What only the book knew is taken from
whatever of it can still be read; the rest is named as lost. Damaged files go into a backup first, as they are.
"""

import shutil
import sqlite3
from collections.abc import Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import polars as pl

from ingest.store import book, index, ledger, originals, seals, whole
from ingest.store.problems import StoreProblem
from ingest.store.sqlite_tables import connect, insert
from ingest.store.store import trying
from ingest.terms import tables

TOLD = {
    "limits_on_file": "limits on file",
    "bench_book": "entries of the bench book",
    "corrections": "corrections",
    "settled": "answers to questions",
    "weeks_reviewed": "weeks as they were reviewed",
}


@dataclass(frozen=True)
class Recovery:
    """What can be had again of a damaged shop, before anything is done."""

    wrong: tuple[seals.Wrong, ...]
    book_is_lost: bool  # it is missing or damaged
    held: dict[str, pl.DataFrame]  # lines of the book, by table, as they can be read
    logs: tuple[index.Noted, ...]  # in the order in which they were loaded
    without_original: tuple[str, ...]  # names of logs whose original is gone or not as it came
    last_sequence: int

    def told(self) -> list[str]:
        """The damage, what comes back and what is lost, in lines."""
        lines = [f"{wrong.path} is damaged: {wrong.how}" for wrong in self.wrong]
        lines.append(f"{len(self.logs)} logs are read again from their originals")
        lines += [f"{name} does not come back: its original is gone or damaged" for name in self.without_original]
        if self.book_is_lost:
            kept = [
                f"{self.held[name].height} {words}"
                for name, words in TOLD.items()
                if name in self.held and self.held[name].height
            ]
            lost = [words for name, words in TOLD.items() if name not in self.held or self.held[name].is_empty()]
            lines += [f"Still read of {book.FILE}: {', '.join(kept)}; lines between may be missing"] if kept else []
            lines += (
                [f"Lost with {book.FILE}, which alone knew them: whatever there was of {', '.join(lost)}"]
                if lost
                else []
            )
        return lines


def needed(folder: Path) -> Recovery | None:
    """What has to be recovered, None where the folder is whole. Changes nothing.

    Raises StoreProblem where going on would leave nothing of what there was.
    """
    wrong = [each for each in whole.wrong_in(folder, thorough=True) if not each.path.startswith(originals.FOLDER)]
    if not wrong:
        return None
    book_is_lost = any(each.path == whole.BOOK for each in wrong)
    held, last = _salvaged(folder)
    of_ledger = [] if any(each.path == whole.LEDGER for each in wrong) else _logs_of_ledger(folder)
    logs = _known_logs(folder, held.get("loads"), of_ledger) if book_is_lost else _named(held["loads"])
    last = max([last, *(noted.sequence for noted in logs), _told_by_versions(folder)])
    without = [noted.name for noted in logs if not _as_it_came(folder, noted.sha256)]
    if logs and len(without) == len(logs):
        raise StoreProblem(
            f"Nothing was changed: none of the {len(logs)} logs has an original that can be read, so that nothing "
            "would be left. Put the folder originals/ back, or restore a backup: truerun restore FILE"
        )
    return Recovery(tuple(wrong), book_is_lost, held, tuple(logs), tuple(without), last)


def carry_out(folder: Path, found: Recovery, *, now: datetime) -> None:
    """Put a book in place that can be read, and take a damaged store away: whoever opens it next makes it from the
    originals.
    """
    with trying(folder):
        _put_in_place(folder, found, now)


def _put_in_place(folder: Path, found: Recovery, now: datetime) -> None:
    if found.book_is_lost:
        _new_book(folder, found, now)
    if any(each.path != whole.BOOK for each in found.wrong):
        path = ledger.path_of(folder)
        for each in (path, path.with_name(f"{path.name}-journal"), path.with_suffix(".seal")):
            each.unlink(missing_ok=True)
        for name in ledger.DELTA:
            shutil.rmtree(folder / "store" / name, ignore_errors=True)


def _salvaged(folder: Path) -> tuple[dict[str, pl.DataFrame], int]:
    """Every line of the book that can still be read, from its beginning and from its end; and the last sequence it
    knows.
    """
    path, held, last = folder / book.FILE, {}, 0
    if not path.exists():
        return {}, 0
    with suppress(sqlite3.Error), closing(connect(path, existing=True)) as connection:
        connection.text_factory = lambda data: data.decode("utf-8", "replace")
        with suppress(sqlite3.Error, TypeError):
            last = int(connection.execute("SELECT MAX(last) FROM counter").fetchone()[0])
        for name in book.SCHEMAS:
            rows: dict[int, Sequence[Any]] = {}
            for order in ("ASC", "DESC"):
                with suppress(sqlite3.Error):
                    for rowid, *cells in connection.execute(
                        f"SELECT rowid, {_columns(name)} FROM {name} ORDER BY rowid {order}"
                    ):
                        if rowid in rows:
                            break
                        rows[rowid] = cells
            held[name] = _shaped(name, [rows[rowid] for rowid in sorted(rows)])
            last = max([last, *held[name]["sequence"].to_list()])
    return held, last


def _columns(name: str) -> str:
    return ", ".join(f'"{column}"' for column in book.SCHEMAS[name])


def _shaped(name: str, rows: list[Sequence[Any]]) -> pl.DataFrame:
    """Rows as the book's table has them, without those that make no sense."""
    schema = book.SCHEMAS[name]
    texts = {
        column: [None if row[place] is None else str(row[place]) for row in rows] for place, column in enumerate(schema)
    }
    frame = pl.DataFrame(texts, schema=dict.fromkeys(schema, pl.String()))
    cast = [
        pl.col(column).str.to_datetime("%Y-%m-%dT%H:%M:%S%.f%z", time_unit="us", time_zone="UTC", strict=False)
        if dtype == tables.TIME
        else pl.col(column).str.to_date("%Y-%m-%d", strict=False)
        if dtype == pl.Date()
        else (pl.col(column) == "1")
        if dtype == pl.Boolean()
        else pl.col(column).cast(dtype, strict=False)
        for column, dtype in schema.items()
    ]
    return tables.shaped(frame.select(cast), schema).filter(
        pl.col("sequence").is_not_null() & pl.col("at").is_not_null()
    )


def _logs_of_ledger(folder: Path) -> list[index.Noted]:
    with suppress(StoreProblem, sqlite3.Error), ledger.reading(folder) as connection:
        if connection is not None and ledger.newest(connection) is not None:
            rows = ledger.held_rows(connection, "logs").sort("loaded")
            columns = ("sha256", "name", "kind", "loaded_at", "loaded")
            return [
                index.Noted(sha, name, kind, at, sequence, index.LOADED)
                for sha, name, kind, at, sequence in rows.select(columns).iter_rows()
            ]
    return []


def _told_by_versions(folder: Path) -> int:
    with suppress(StoreProblem, sqlite3.Error), ledger.reading(folder) as connection:
        found = ledger.newest(connection) if connection is not None else None
        return found.book_sequence if found else 0
    return 0


def _named(loads: pl.DataFrame) -> list[index.Noted]:
    """The logs that a book names as loaded."""
    columns = ("sha256", "name", "at", "sequence", "replaces")
    rows = book.active_logs(loads).select(columns).iter_rows()
    return [
        index.Noted(sha, name, "", at, sequence, index.LOADED, replaces) for sha, name, at, sequence, replaces in rows
    ]


def _began(folder: Path, noted: index.Noted) -> bool:
    """Has a load got as far as its original? Its note is written first."""
    return noted.what != index.COMING or (folder / originals.FOLDER / noted.sha256).exists()


def _known_logs(folder: Path, loads: pl.DataFrame | None, of_ledger: list[index.Noted]) -> list[index.Noted]:
    """All logs that count, without a whole book: what the ledger holds, else what the notes and the lines still read
    say was said last.
    """
    said = {noted.sha256: noted for noted in index.all_notes(folder)}
    if of_ledger:  # the newest whole version: what it holds counts, and nothing else
        return [
            replace(noted, replaces=said[noted.sha256].replaces) if noted.sha256 in said else noted
            for noted in of_ledger
        ]
    for noted in index.wanted(loads, None) if loads is not None else []:
        if noted.sha256 not in said or said[noted.sha256].sequence < noted.sequence:
            said[noted.sha256] = noted
    counting = [noted for noted in said.values() if noted.what != index.UNLOADED and _began(folder, noted)]
    return sorted(counting, key=lambda noted: (noted.what == index.COMING, noted.sequence, noted.loaded_at, noted.name))


def _as_it_came(folder: Path, sha: str) -> bool:
    try:
        originals.get(folder, sha)
    except (OSError, ValueError):
        return False
    return True


def _new_book(folder: Path, found: Recovery, now: datetime) -> None:
    """A book with the lines that could be read and a line for each log, put in place of the damaged one in one step."""
    path, unfinished = folder / book.FILE, folder / f".{book.FILE}.new"
    unfinished.unlink(missing_ok=True)
    last = found.last_sequence
    taken = {noted.sequence for noted in found.logs if noted.sequence}
    with closing(connect(unfinished)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        book.make(connection)
        for name, rows in found.held.items():
            if name != "loads":
                insert(connection, f"main.{name}", rows.filter(~pl.col("sequence").is_in(sorted(taken))))
        for noted in found.logs:
            if not noted.sequence:
                last += 1
            line = {
                "sequence": noted.sequence or last,
                "at": noted.loaded_at,
                "who": "",
                "why": f"named by the folder, {now:%Y-%m-%d}",
                "log_id": noted.log_id,
                "sha256": noted.sha256,
                "name": noted.name,
                "what": "loaded",
                "replaces": noted.replaces,
            }
            insert(connection, "main.loads", pl.DataFrame([line], schema=book.LOADS))
        connection.execute("UPDATE main.counter SET last = ?", (last,))
        connection.execute("COMMIT")
    path.with_name(f"{path.name}-journal").unlink(missing_ok=True)
    unfinished.replace(path)
    seals.seal(folder, path)
