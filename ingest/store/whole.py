"""Is a shop's folder whole: book, ledger and tables as they were written, and each knowing what the others know."""

import sqlite3
from pathlib import Path

from ingest.store import book, index, ledger, originals, seals
from ingest.store.delta import Table
from ingest.store.problems import LOOK, StoreProblem, busy, damaged, first_line, is_panic
from ingest.store.seals import Wrong

BOOK, LEDGER = book.FILE, f"store/{ledger.FILE}"


def wrong_in(folder: Path, *, thorough: bool = False) -> list[Wrong]:
    """What is damaged or gone of the book and the store; nothing of what can still be read is lost by looking.

    thorough : SQLite looks through its files too, even where every byte is as it was written.
    Raises StoreProblem where somebody holds a file, or where a newer Truerun wrote it.
    """
    try:
        in_ledger = _of_ledger(folder, thorough=thorough)
        return [*_of_book(folder, thorough=thorough), *in_ledger]
    except sqlite3.OperationalError as fault:
        raise busy(folder) from fault


def refuse_damage(folder: Path) -> None:
    """StoreProblem, one line, where the book or the store is damaged: nothing may be written over what can still be
    mended.
    """
    found = wrong_in(folder)
    if found:
        more = f", and {len(found) - 1} more" if len(found) > 1 else ""
        raise StoreProblem(f"{found[0].path} is damaged ({found[0].how}){more}; nothing was changed. {LOOK}")


def refuse_a_lost_book(folder: Path) -> None:
    """StoreProblem, one line, where the book is missing in a shop that has loaded logs: it would look empty."""
    how = _is_lost(folder)
    if how:
        raise damaged(BOOK, how)


def _is_lost(folder: Path) -> str:
    path = folder / book.FILE
    if path.exists() and path.stat().st_size:
        return ""
    known = logs_known_without_the_book(folder)
    return f"missing, but {known} logs were loaded" if known else ""


def _of_book(folder: Path, *, thorough: bool) -> list[Wrong]:
    path = folder / book.FILE
    if not path.exists() or not path.stat().st_size:
        how = _is_lost(folder)
        return [Wrong(BOOK, how)] if how else []
    how = seals.wrong_with(folder, path, thorough=thorough)
    if how:
        return [Wrong(BOOK, how)]
    try:
        last, said = book.last_sequence(folder), _told_by_store(folder)
    except StoreProblem as problem:
        if "newer" in str(problem):
            raise
        return []
    return [Wrong(BOOK, f"older than the store: it ends at line {last}, the store knows {said}")] if last < said else []


def logs_known_without_the_book(folder: Path) -> int:
    """How many logs the ledger and the notes beside the originals say were loaded."""
    names = {noted.log_id for noted in index.all_notes(folder) if noted.what != index.COMING}
    try:
        with ledger.reading(folder) as connection:
            if connection is not None and ledger.newest(connection) is not None:
                names |= set(ledger.held_rows(connection, "logs")["log_id"].to_list())
    except (StoreProblem, sqlite3.Error):
        pass
    return len(names)


def _told_by_store(folder: Path) -> int:
    """The last line of the book that the newest version of the store has seen."""
    with ledger.reading(folder) as connection:
        readable = connection is not None and ledger.check_format(connection)
        found = ledger.newest(connection) if readable and connection is not None else None
    return found.book_sequence if found else 0


def _of_ledger(folder: Path, *, thorough: bool) -> list[Wrong]:
    path = ledger.path_of(folder)
    if not path.exists():
        return []  # made again from the originals, whoever comes next
    how = seals.wrong_with(folder, path, thorough=thorough)
    if how:
        return [Wrong(LEDGER, how)]
    with ledger.reading(folder) as connection:
        if connection is None or not ledger.check_format(connection) or (found := ledger.newest(connection)) is None:
            return []
        wrong = seals.wrong_files(connection, folder, anew=None if thorough else seals.IN_TURN)
        shas = [] if not thorough else ledger.held_rows(connection, "logs", found.n)["sha256"].to_list()
    wrong += [
        Wrong(f"{originals.FOLDER}/{sha}", "missing") for sha in shas if not (folder / originals.FOLDER / sha).exists()
    ]
    if wrong:
        return wrong
    for name, version in found.tables.items():
        if version is not None and (how := _table_opens(Table(folder / "store" / name, version))):
            wrong.append(Wrong(f"store/{name}", how))
    return wrong


def _table_opens(table: Table) -> str:
    """Does a Delta table open at its version, with every file there? What is wrong, else ''."""
    try:
        gone = [name for name in table.files() if not (table.path / name).exists()]
    except Exception as fault:  # whatever the library makes of bytes that are no log of its own
        return first_line(fault)
    except BaseException as fault:
        if not is_panic(fault):
            raise
        return first_line(fault)
    return f"{gone[0]} is missing" if gone else ""
