"""store/: what the program made of the originals. One writer at a time drafts the next version; readers open one as a
snapshot.
"""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import polars as pl
from deltalake.exceptions import DeltaError

from ingest.shopfiles.shop import ShopProblem, fingerprint, read_shop
from ingest.shopfiles.side_files import read_changes, read_climate, read_lots
from ingest.shopfiles.specs import read_specs
from ingest.store import book, editions, ledger, seals, whole
from ingest.store.delta import Table
from ingest.store.draft import Draft
from ingest.store.kept_states import KeptStates
from ingest.store.kept_tables import KeptTables
from ingest.store.kept_texts import KeptTexts
from ingest.store.ledger import Version
from ingest.store.problems import StoreProblem, damaged, first_line, is_panic, of_database, reading_of
from ingest.store.snapshot import Reader, Snapshot
from ingest.store.worked_out import WorkedOut
from ingest.terms import tables

__all__ = ["StoreProblem", "drafting", "is_whole", "log_called", "newest", "open_snapshot", "trying"]

KEPT_FOR = timedelta(days=30)  # that an older version stays readable
TIDY_EVERY = 20  # versions between two looks at the older ones
LONG_AGO = datetime(1970, 1, 1, tzinfo=UTC)  # as_of of a shop without a visit


@contextmanager
def drafting(folder: Path, now: datetime | None = None) -> Iterator[Draft]:
    """The next version, alone: begun from the newest whole one, kept if the body ends well, else as if it had never
    been.

    `draft.before` is None in a new store, and where an older one has been put away to be made again. The body calls
    `draft.finish`.
    """
    _can_be_named(folder)
    with trying(folder), ledger.writing(folder) as connection:
        if not ledger.check_format(connection):
            ledger.make(connection)
        before = ledger.newest(connection)
        held = delta_tables(folder, before)
        for table in held.values():
            table.stand()
        draft = Draft(folder, connection, before, held, book.verdicts(folder), now=now)
        yield draft
        if draft.made and draft.n % TIDY_EVERY == 0:
            forget_older(folder, connection, draft.made - KEPT_FOR)
            seals.note_files(connection, folder)


@contextmanager
def pretending(folder: Path) -> Iterator[Draft]:
    """A draft that is never kept and writes nothing, on a copy of the ledger in memory."""
    with sqlite3.connect(":memory:", isolation_level=None) as copy:
        with ledger.reading(folder) as connection:
            if connection is not None:
                connection.backup(copy)
        if not ledger.check_format(copy):
            ledger.make(copy)
        before = ledger.newest(copy)
        yield Draft(folder, copy, before, delta_tables(folder, before), book.verdicts(folder), write=False)
    copy.close()


def _can_be_named(folder: Path) -> None:
    """StoreProblem where the path holds what the tables' library cannot find a file by."""
    path = folder.absolute().as_posix()
    odd = re.search(r"[\[\]|^\t\\]|%[0-9A-Fa-f]{2}", path)
    if odd:
        raise StoreProblem(
            f"{folder}: no shop can be kept under a name with {odd[0]!r} in it; give the folder another name"
        )


def delta_tables(folder: Path, version: Version | None) -> dict[str, Table]:
    """The Delta tables as a version row names them."""
    return {name: Table(folder / "store" / name, version.tables[name] if version else None) for name in ledger.DELTA}


@contextmanager
def trying(folder: Path) -> Iterator[None]:
    """What goes wrong with the disk, said in one line."""
    try:
        yield
    except sqlite3.DatabaseError as fault:
        raise of_database(fault, folder, f"{book.FILE} or store/{ledger.FILE}") from fault
    except (OSError, DeltaError) as fault:
        raise StoreProblem(
            f"{folder} could not be written ({first_line(fault)}); nothing was changed. Is the folder writable, the "
            "disk not full?"
        ) from fault
    except pl.exceptions.PolarsError as fault:
        raise damaged("store/", fault) from fault
    except BaseException as fault:
        if not is_panic(fault):
            raise
        raise damaged("store/", fault) from None


def newest(folder: Path) -> tuple[int, int]:
    """The store version and the book's last sequence as they are now; with the fingerprint of the shop files, all that
    an answer hangs on.
    """
    n, _, sequence = stands(folder)
    return n, sequence


def stands(folder: Path) -> tuple[int, str, int]:
    """The store version, when it was made (a store made again counts anew), and the book's last sequence."""
    whole.refuse_a_lost_book(folder)
    with ledger.reading(folder) as connection:
        readable = connection is not None and ledger.check_format(connection)
        n, made = ledger.newest_mark(connection) if readable and connection is not None else (0, "")
    return n, made, book.last_sequence(folder)


def _made(version: Version | None) -> str:
    """As `ledger.newest_mark` says it."""
    return version.at.isoformat(timespec="microseconds") if version else ""


def is_whole(folder: Path) -> bool:
    """Can the store be read as it stands? False: it is missing or older, and the book names logs it should be made
    from.
    """
    with ledger.reading(folder) as connection:
        if connection is not None and ledger.check_format(connection) and ledger.newest(connection) is not None:
            return True
    return book.active_logs(book.loads(folder)).is_empty()


def log_called(logs: pl.DataFrame, called: str) -> str:
    """The log_id of the log of that file name, or whose hash begins so; StoreProblem where none or several are
    meant.
    """
    named = logs.filter(pl.col("name") == called)
    if named.is_empty() and called:
        named = logs.filter(pl.col("sha256").str.starts_with(called.lower()))
    if named.height == 1:
        return str(named["log_id"].item())
    if named.is_empty():
        held = ", ".join(logs["name"].unique(maintain_order=True).head(8).to_list()) or "none yet"
        raise StoreProblem(
            f"No log {called!r} is loaded; wanted a file name or the start of its hash. Loaded: "
            f"{held}{' ...' if logs.height > 8 else ''}"
        )
    several = ", ".join(f"{name} ({sha[:8]})" for name, sha in named.select("name", "sha256").iter_rows())
    raise StoreProblem(f"{called!r} may be any of {several}; wanted the start of one hash")


def open_snapshot(folder: Path, *, as_of: datetime | None = None, version: int | None = None) -> Snapshot:
    """The shop at one store version, columns read when they are asked for.

    as_of : UTC; visits finished (else started) after it, their readings and their faults are not seen. Default: the
    last taken_at on file.
    version : of the store; default the newest. The book is read as it is now; at an older version as it was then.
    Raises ShopProblem (shop files that cannot be used) and StoreProblem (a newer store; no such version), one line
    each.
    """
    shop = read_shop(folder / "shop.toml")
    specs = read_specs(folder / "specs.csv", shop)
    whole.refuse_a_lost_book(folder)
    with ledger.reading(folder) as connection:
        readable = connection is not None and ledger.check_format(connection)
        found = ledger.newest(connection, version) if readable and connection is not None else None
        if found is not None and connection is not None:
            _files_are_there(connection, folder)
    if found is None and version is not None:
        raise StoreProblem(f"The store has no version {version}")
    sequence = book.last_sequence(folder) if version is None or found is None else found.book_sequence
    last_at = (found.last_at if found else None) or LONG_AGO
    as_of = last_at if as_of is None else as_of
    cut = as_of if as_of < last_at else None
    held = delta_tables(folder, found)
    readers: dict[str, Reader] = {
        **{name: _side(folder, name, shop) for name in ("lots", "changes", "climate")},
        **{name: _of_book(folder, name, sequence) for name in book.SCHEMAS if name != "loads"},
        **{name: _of_ledger(folder, name, found) for name in ledger.VERSIONED},
        "editions": _of_pairs(folder),
        **{name: _of_delta(held[name], name, cut, held["visits"]) for name in ledger.DELTA},
    }
    n, made = (found.n, _made(found)) if found else (0, "")
    return Snapshot(
        shop,
        specs,
        readers,
        as_of,
        n,
        sequence,
        fingerprint(folder),
        made,
        worked_out=WorkedOut(folder, n, made),
        kept_tables=KeptTables(folder, n, made, found.visits, held) if found and cut is None else None,
        kept_texts=KeptTexts(folder, n, made) if found and version is None else None,
        kept_states=KeptStates(folder, n, made) if found and version is None and cut is None else None,
    )


def _files_are_there(connection: sqlite3.Connection, folder: Path) -> None:
    """StoreProblem where a file of a table is gone or not as it was written: the libraries would give up on it halfway,
    or read what nobody wrote.
    """
    wrong = seals.wrong_files(connection, folder, anew=0)
    if wrong:
        raise damaged(wrong[0].path, wrong[0].how)


PUBLIC = {
    "visits": tables.VISITS,
    "readings": tables.READINGS,
    "faults": tables.FAULTS,
    "logs": tables.LOGS,
    "set_aside": tables.SET_ASIDE,
    "gauge_trials": tables.GAUGE_TRIALS,
    "columns": tables.COLUMNS,
}


def _once(read: Any) -> Reader:
    """A reader of a small table that is read whole, the first time it is asked for."""
    held = cache(read)

    def columns_of(columns: tuple[str, ...]) -> pl.DataFrame:
        table: pl.DataFrame = held()
        return table.select(columns) if columns else table

    return columns_of


def forget_older(folder: Path, connection: sqlite3.Connection, before: datetime) -> None:
    """Take versions made before a moment off the disk, all but the newest; inside a writer's transaction, so that
    nobody writes meanwhile.
    """
    row = connection.execute(
        "SELECT MIN(n) FROM main.versions WHERE at >= ?", (before.astimezone(UTC).isoformat(timespec="microseconds"),)
    ).fetchone()
    found = ledger.newest(connection, row[0]) or ledger.newest(connection)
    if (
        found is None
        or not connection.execute("SELECT 1 FROM main.versions WHERE n < ? LIMIT 1", (found.n,)).fetchone()
    ):
        return
    for table in delta_tables(folder, found).values():
        if table.version is not None:
            table.forget_the_past()
    connection.execute("DELETE FROM main.versions WHERE n < ?", (found.n,))
    for name in ledger.VERSIONED:
        connection.execute(f"DELETE FROM main.{name} WHERE until <= ?", (found.n,))


def _side(folder: Path, name: str, shop: Any) -> Reader:
    read = {"lots": read_lots, "changes": read_changes, "climate": read_climate}[name]
    return _once(lambda: read(folder, shop))


def _of_book(folder: Path, name: str, sequence: int) -> Reader:
    def read() -> pl.DataFrame:
        with book.reading(folder) as connection:
            return book.lines(connection, name, sequence, without=(book.COPY,))

    return _once(read)


def _of_pairs(folder: Path) -> Reader:
    """Which logs are editions of which, as they are now."""

    def read() -> pl.DataFrame:
        with ledger.reading(folder) as connection:
            return tables.empty(editions.EDITIONS) if connection is None else ledger.pairs(connection)

    return _once(read)


def _of_ledger(folder: Path, name: str, version: Version | None) -> Reader:
    def read() -> pl.DataFrame:
        with ledger.reading(folder) as connection:
            if connection is None or version is None:
                return tables.empty(PUBLIC[name])
            rows = tables.shaped(ledger.held_rows(connection, name, version.n), PUBLIC[name])
            return rows.sort("name", "line", "column", maintain_order=True) if name == "set_aside" else rows

    return _once(read)


def _of_delta(table: Table, name: str, cut: datetime | None, visits: Table) -> Reader:
    """A reader of a Delta table, to the moment `cut`."""
    time = pl.coalesce("finished_at", "started_at") if name == "visits" else pl.col("taken_at")

    def read(columns: tuple[str, ...]) -> pl.DataFrame:
        wanted = list(columns) or list(PUBLIC[name])
        if table.version is None:
            return tables.empty({column: PUBLIC[name][column] for column in wanted})
        with reading_of(table.path.parent.parent, f"store/{name}"):
            return chosen(wanted)

    def chosen(wanted: list[str]) -> pl.DataFrame:
        rows = table.scan()
        if cut is not None and name == "faults":
            before = visits.scan().filter(pl.coalesce("finished_at", "started_at") <= cut)
            rows = rows.join(
                before.select("log_id", "line", "stage"),
                on=["log_id", "line", "stage"],
                how="semi",
                maintain_order="left",
            )
        elif cut is not None:
            rows = rows.filter(time <= cut)
        return rows.select(wanted).collect()

    return read


def check_shop_files(folder: Path) -> None:
    """Raise ShopProblem where a file beside shop.toml cannot be used."""
    shop = read_shop(folder / "shop.toml")
    read_specs(folder / "specs.csv", shop)
    problems = []
    for read in (read_lots, read_changes, read_climate):
        try:
            read(folder, shop)
        except ShopProblem as problem:
            problems.append(str(problem))
    if problems:
        raise ShopProblem("\n".join(problems))
