"""What a person decides about single rows and cells: a correction, a verdict on a question. Each stands in the book and
ends in a new version.
"""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import polars as pl

from ingest.reading.as_typed import cell_of
from ingest.shopfiles.shop import fingerprint
from ingest.store import book, ledger, originals
from ingest.store.accounts import CONFLICT
from ingest.store.draft import Draft
from ingest.store.problems import StoreProblem
from ingest.store.store import drafting, log_called
from ingest.terms.questions import IMPLAUSIBLE
from ingest.verbs.from_originals import read_again
from ingest.verbs.load import ensure
from ingest.verbs.loaded import Loaded, loaded_of, with_two_values
from ingest.verbs.sound import sound_shop, usable_shop


def correct(
    folder: Path, log: str, line: int, column: str, value: str | None, *, who: str, why: str, now: datetime
) -> Loaded:
    """Lay a person's value over one cell of a log and read the log anew; the original stays as it came.

    log : a file name or the start of a hash.  column : its heading.  value : what the cell should say, as one would
    type it; None takes the correction back.  Raises StoreProblem or FileProblem, one line, where there is no such log
    or cell, nobody says who and why, or a reading's value cannot be read.
    """
    _said_by(who, why)
    shop = sound_shop(folder, now=now)
    ensure(folder, now=now)
    with drafting(folder, now) as draft:
        log_id, name, sha = _the_log(draft, log)
        heading, came = cell_of(originals.get(folder, sha), name, shop, line, column)
        standing = book.standing_corrections(book.read(folder)["corrections"])
        before = standing.filter(
            (pl.col("log_id") == log_id) & (pl.col("line") == line) & (pl.col("column") == heading)
        )
        if value is None and before.is_empty():
            raise StoreProblem(
                f"{name}, line {line}: {heading} has no correction to take back; it says {came!r} as it came"
            )
        row = pl.DataFrame(
            {"log_id": [log_id], "line": [line], "column": [heading], "value": [value or ""], "undone": [value is None]}
        )
        what = f"{name}, line {line}: {heading} " + (
            f"is {value!r} in place of {came!r}" if value is not None else f"is {came!r} again"
        )
        readable = None if value is None else lambda: _must_be_read(draft, log_id, line, heading)
        return _decided(draft, folder, "corrections", row, what, who=who, why=why, now=now, held=readable)


def _must_be_read(draft: Draft, log_id: str, line: int, heading: str) -> None:
    """Refuse a correction that is no reading: it would take the cell out of every figure."""
    columns = ledger.held_rows(draft.connection, "columns", log_ids=[log_id])
    if columns.filter((pl.col("heading") == heading) & (pl.col("field") == "reading")).is_empty():
        return
    asked = ledger.held_rows(draft.connection, "set_aside", log_ids=[log_id]).filter(
        (pl.col("line") == line)
        & (pl.col("column") == heading)
        & ~pl.col("wanted").str.contains(IMPLAUSIBLE, literal=True)
    )
    for row in asked.head(1).iter_rows(named=True):
        raise StoreProblem(f"{heading} cannot be {row['raw']!r}: {row['reason']}; wanted {row['wanted']}")


def settle(
    folder: Path, log: str, line: int, column: str, verdict: str, *, who: str, why: str, now: datetime
) -> Loaded:
    """Settle one question: 'it is real' accepts an implausible cell; 'keep held' or 'take new' ends a conflict of two
    rows.

    log, line, column : as the question shows them ('' = the whole row).  Raises StoreProblem where no such question is
    open.
    """
    _said_by(who, why)
    if verdict not in book.VERDICTS:
        raise StoreProblem(f"No verdict {verdict!r}; wanted one of {', '.join(book.VERDICTS)}")
    sound_shop(folder, now=now)
    ensure(folder, now=now)
    with drafting(folder, now) as draft:
        log_id, name, _ = _the_log(draft, log)
        asked = ledger.held_rows(draft.connection, "set_aside", log_ids=[log_id]).filter(
            (pl.col("line") == line) & (pl.col("column") == column)
        )
        fits = (
            pl.col("wanted").str.contains(IMPLAUSIBLE, literal=True)
            if verdict == "it is real"
            else pl.col("reason") == CONFLICT
        )
        asked = asked.filter(fits)
        if asked.is_empty():
            raise StoreProblem(
                f"{name}, line {line}{', ' + column if column else ''}: no question is open here to which {verdict!r} "
                "is an answer"
            )
        row = asked.head(1).select("log_id", "line", "column", "raw", verdict=pl.lit(verdict))
        return _decided(draft, folder, "settled", row, f"{name}, line {line}: {verdict}", who=who, why=why, now=now)


def say_edition(folder: Path, newer: str, older: str, verdict: str, who: str, why: str, *, now: datetime) -> Loaded:
    """Say of two logs that the one is an edition of the other, or another log; what became of the newer one.

    newer, older : file names or starts of hashes.  verdict : editions.EDITION or editions.OTHER.  Raises StoreProblem
    where the two share no visit, or the newer one is the older.
    """
    _said_by(who, why)
    sound_shop(folder, now=now)
    ensure(folder, now=now)
    with drafting(folder, now) as draft:
        new, name, _ = _the_log(draft, newer)
        old, old_name, _ = _the_log(draft, older)
        pairs = ledger.pairs(draft.connection).filter((pl.col("newer") == new) & (pl.col("older") == old))
        if pairs.is_empty():
            raise StoreProblem(f"{name} and {old_name} share no visit, or {old_name} is the newer of the two")
        row = pl.DataFrame({"log_id": [new], "line": [0], "column": [old], "raw": [old_name], "verdict": [verdict]})
        return _decided(draft, folder, "settled", row, f"{name} is {verdict} of {old_name}", who=who, why=why, now=now)


def _said_by(who: str, why: str) -> None:
    if not who.strip() or not why.strip():
        raise StoreProblem("Nobody's word for it: say --who decides it and --why")


def _the_log(draft: Draft, log: str) -> tuple[str, str, str]:
    log_id = log_called(draft.logs, log)
    name, sha = draft.logs.filter(pl.col("log_id") == log_id).select("name", "sha256").row(0)
    return log_id, name, sha


def _decided(
    draft: Draft,
    folder: Path,
    table: str,
    row: pl.DataFrame,
    what: str,
    *,
    who: str,
    why: str,
    now: datetime,
    held: Callable[[], None] | None = None,
) -> Loaded:
    """Write a decision into the book, read its log anew with all that share visits with it, and end the version.

    held : asked before the version ends; what it raises leaves everything as it was.
    """
    log_id = str(row["log_id"].item())
    sequence = book.append(draft.connection, table, row, now=now, who=who, why=why, schema="book")
    said = {name: book.lines(draft.connection, name) for name in book.SCHEMAS}
    draft.settled = book.standing_verdicts(said["settled"])
    read_again(draft, folder, usable_shop(folder), said, [log_id])
    if held is not None:
        held()
    draft.finish(what, now, fingerprint(folder), sequence)
    return with_two_values(draft, [loaded_of(draft, draft.logs.filter(pl.col("log_id") == log_id))])[0]
