"""What Card does to the shop's folder: keep a row, undo it, and take the day's sheets into the store.

A row is in `cards/` and on the disk before anybody is told that it is kept. It is known by its card's own number:
sending it twice writes it once. A row that was undone leaves its sheet and stays in `cards/undone.csv`.
"""

import ast
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import date, datetime
from functools import partial
from pathlib import Path
from threading import RLock

from ingest.reading import card_sheet
from ingest.reading.card_sheet import CARD
from ingest.reading.sheet import Progress
from ingest.store import book, index, originals
from ingest.store.problems import StoreProblem
from ingest.store.writing import write_whole
from ingest.verbs import load
from ingest.verbs.loaded import Loaded

FOLDER, UNDONE, CHECKS = "cards", "undone.csv", "gauge_checks.csv"
CHECKED = ("at", "gauge", "value", "who")  # value in mm, or as the gauge gives it
MOST_SHEETS = 100  # of one bench and day
_here = RLock()  # between threads of this program; between programs the lock file


def keep(folder: Path, day: date, bench: str, headings: Sequence[str], row: dict[str, str]) -> bool:
    """Write one row into the sheet of its bench and day; False where that card stands in it already, or was there and
    was undone: a tablet may send it once more, late. On the disk when this returns. StoreProblem where it cannot be
    written.
    """
    with _alone(folder):
        if _undone(folder, row[CARD]) is not None:
            return False
        for path in _sheets(folder, day, bench):
            if any(each.get(CARD) == row[CARD] for each in _read(path)[1]):
                return False
        path = _open_sheet(folder, day, bench, headings)
        try:
            _append(path, card_sheet.line(headings, row))
        except OSError as fault:
            raise StoreProblem(f"{path.name}: the row could not be written: {fault.strerror}; it is not kept") from None
    return True


def undo(folder: Path, day: date, bench: str, card: str, *, now: datetime) -> dict[str, str] | None:
    """Take a card's row out of its sheet; the row, also of one that was undone before; None where no sheet of that
    bench and day ever held it.
    """
    with _alone(folder):
        for path in _sheets(folder, day, bench):
            headings, rows = _read(path)
            gone = [row for row in rows if row.get(CARD) == card]
            if not gone:
                continue
            aside = folder / FOLDER / UNDONE
            told = {"undone_at": now.isoformat(timespec="seconds"), "sheet": path.name, "row": str(gone[0])}
            if not aside.exists():
                write_whole(aside, card_sheet.head(list(told)))
            _append(aside, card_sheet.line(list(told), told))
            rest = [card_sheet.line(headings, row) for row in rows if row.get(CARD) != card]
            write_whole(path, card_sheet.head(headings) + b"".join(rest))
            return gone[0]
        return _undone(folder, card)


def was_undone(folder: Path, card: str) -> bool:
    """Was a card taken back? Sent again it stays so."""
    path = folder / FOLDER / UNDONE
    said = repr({CARD: card})[1:-1]
    return path.exists() and any(said in row.get("row", "") for row in _read(path)[1])


def check_gauge(folder: Path, gauge: str, value: float, who: str, *, now: datetime) -> None:
    """Write what a gauge read on its master piece, canonical units; on the disk when this returns."""
    row = {"at": now.isoformat(timespec="seconds"), "gauge": gauge, "value": f"{value:.6g}", "who": who}
    with _alone(folder):
        path = folder / FOLDER / CHECKS
        if not path.exists():
            write_whole(path, card_sheet.head(CHECKED))
            _sure_of_the_folder(path.parent)
        _append(path, card_sheet.line(CHECKED, row))


def gauge_checks(folder: Path) -> list[tuple[datetime, str, float]]:
    """(when, gauge, value) of every check on a master piece, oldest first; a line that is none is passed over."""
    path = folder / FOLDER / CHECKS
    out = []
    for row in _read(path)[1] if path.exists() else []:
        with suppress(ValueError, KeyError):
            out.append((datetime.fromisoformat(row["at"]), row["gauge"], float(row["value"])))
    return sorted(out)


def rows_since(folder: Path, first: date) -> list[tuple[str, dict[str, str]]]:
    """(sheet, row) of every card kept from a day on, in the order of the sheets' names and lines."""
    out = []
    for path in sheets(folder):
        if path.name[5:15] >= first.isoformat():
            out += [(path.name, row) for row in _read(path)[1]]
    return out


def sheets(folder: Path) -> list[Path]:
    """Every sheet that Card has written, by name."""
    there = folder / FOLDER
    return sorted(path for path in there.glob("card_*.csv") if card_sheet.is_card(path.name)) if there.exists() else []


def take_in(folder: Path, *, progress: Progress | None = None, now: datetime) -> list[Loaded]:
    """Load the sheets that have changed since they were loaded, each in the place of its earlier reading, which is
    unloaded in the same version. Of a sheet that grows only the original that counts is kept: its earlier readings
    stand in it, and what was undone in `cards/undone.csv`.
    """
    became: list[Loaded] = []
    for path in sheets(folder):
        with _alone(folder):
            data = path.read_bytes()
        data = data[: data.rfind(b"\n") + 1]
        active = book.active_logs(book.read(folder)["loads"])
        ident = originals.log_id(originals.sha256(data))
        if ident in set(active["log_id"]) or data.count(b"\n") < 1:
            continue
        earlier = active.filter(active["name"] == path.name)["log_id"].to_list()
        replaces = earlier[-1] if earlier else None
        if data.count(b"\n") == 1 and replaces is None:
            continue  # nothing but its headings
        became += load.load_data(
            folder, [(path.name, partial(bytes, data))], replaces=replaces, progress=progress, now=now
        )
        _only_what_counts(folder, path.name)
    return became


def _only_what_counts(folder: Path, name: str) -> None:
    """Take the originals of a sheet's earlier readings, and the notes beside them, away."""
    loads = book.read(folder)["loads"]
    counting = set(book.active_logs(loads)["sha256"])
    for sha in set(loads.filter(loads["name"] == name)["sha256"]) - counting:
        for path in (folder / originals.FOLDER / sha, index.path_of(folder, sha)):
            path.unlink(missing_ok=True)


def _undone(folder: Path, card: str) -> dict[str, str] | None:
    """The row of a card that was undone; None where none was."""
    path = folder / FOLDER / UNDONE
    if not path.exists():
        return None
    data = path.read_bytes()
    if f"'{CARD}': {card!r}".encode() not in data:
        return None
    for told in card_sheet.rows_of(data)[1]:
        with suppress(ValueError, SyntaxError):
            row = ast.literal_eval(told["row"])
            if isinstance(row, dict) and row.get(CARD) == card:
                return row
    return None


def _open_sheet(folder: Path, day: date, bench: str, headings: Sequence[str]) -> Path:
    """The sheet to write into: the newest of the day if its columns hold, else a new one; a torn last line, which
    nobody was told of, is cut away.
    """
    head = card_sheet.head(headings)
    for sheet in range(1, MOST_SHEETS):
        path = folder / FOLDER / card_sheet.name_of(day, bench, sheet)
        if not path.exists():
            write_whole(path, head)
            _sure_of_the_folder(path.parent)
            return path
        data = path.read_bytes()
        whole = data.rfind(b"\n") + 1
        if whole < len(data):
            with path.open("r+b") as file:
                file.truncate(whole)
        if data[: len(head)] == head:
            return path
    raise StoreProblem(f"{day.isoformat()}, {bench}: the columns have changed {MOST_SHEETS} times today; ask for help")


def _append(path: Path, data: bytes) -> None:
    with path.open("ab") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _sure_of_the_folder(folder: Path) -> None:
    """A new name is on the disk once its folder is."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _sheets(folder: Path, day: date, bench: str) -> Iterator[Path]:
    for sheet in range(1, MOST_SHEETS):
        path = folder / FOLDER / card_sheet.name_of(day, bench, sheet)
        if not path.exists():
            return
        yield path


def _read(path: Path) -> tuple[list[str], list[dict[str, str]]]:
    return card_sheet.rows_of(path.read_bytes())


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """One writer of sheets at a time, in this program and any other; StoreProblem where nothing can be written."""
    there = folder / FOLDER
    try:
        there.mkdir(parents=True, exist_ok=True)
        with _here, (there / ".lock").open("a+b") as handle:
            _lock(handle.fileno(), hold=True)
            try:
                yield
            finally:
                _lock(handle.fileno(), hold=False)
    except OSError as fault:
        raise StoreProblem(f"{FOLDER}/ could not be written: {fault.strerror or fault}; nothing is kept") from None


def _lock(handle: int, *, hold: bool) -> None:
    try:
        import fcntl
    except ImportError:  # Windows: the lock between threads holds, and one program writes
        return
    fcntl.flock(handle, fcntl.LOCK_EX if hold else fcntl.LOCK_UN)
