"""`restore`: a shop's folder made of a backup file again.

The file is unpacked beside the folder's own files and looked through first; then each part changes places. A kill
before that leaves the folder as it was; whoever comes after a later one ends what was begun.
"""

import hashlib
import json
import shutil
import sqlite3
import zipfile
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import Any

from ingest.access import file as access
from ingest.access import sessions
from ingest.store import book, ledger, originals, seals
from ingest.store.alone import alone
from ingest.store.problems import StoreProblem, first_line
from ingest.store.sqlite_tables import connect
from ingest.store.writing import write_whole
from ingest.verbs import backup, publish

PARTS = (*backup.SHOP_FILES, book.FILE, access.FILE, originals.FOLDER, "cards", "store")  # what changes places
UNDER_WAY = (
    ".restore"  # in the folder: unpacked under new/, what it takes the place of under old/, READY once it is whole
)
READY = "ready"


@dataclass(frozen=True)
class Restored:
    """What a restore has put into a folder."""

    made_at: datetime  # when the backup was made, UTC
    logs: int
    before: Path | None  # the backup of what stood there until now


def restore(folder: Path, path: Path, *, now: datetime) -> Restored:
    """Make the folder what it was when a backup was made; a backup of what it holds now is made first.

    Raises StoreProblem, one line, with nothing changed: no backup, a damaged one, one of a newer Truerun, no room.
    """
    told = looked_at(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise StoreProblem(f"{folder} could not be made ({fault.strerror}); nothing was changed") from fault
    with alone(folder):
        return _restore(folder, path, told, now)


def _restore(folder: Path, path: Path, told: dict[str, Any], now: datetime) -> Restored:
    made = backup.before("restore", folder, now=now, spare=path)
    work = folder / UNDER_WAY
    try:
        shutil.rmtree(work, ignore_errors=True)
        new = work / "new"
        _unpack(path, told, new)
        _check_formats(new)
        _count_on(new, folder, str(told["made_at"]), now)
        for name in (book.FILE, f"store/{ledger.FILE}"):
            seals.seal(new, new / name)
        _who_may_sign_in(folder, new)
        _where_it_is_published(folder, new)
        had = [part for part in PARTS if (folder / part).exists() and part not in (access.FILE, publish.FILE)]
        write_whole(work / READY, json.dumps({"had": had}).encode())
    except OSError as fault:
        shutil.rmtree(work, ignore_errors=True)
        said = fault.strerror or first_line(fault)
        raise StoreProblem(
            f"{folder} could not be written ({said}); nothing was changed. Is there room on the disk?"
        ) from fault
    except BaseException:
        shutil.rmtree(work, ignore_errors=True)
        raise
    try:
        end_restore(folder)
    except OSError as fault:
        raise StoreProblem(
            f"{folder} could not be written ({first_line(fault)}); any truerun command goes on where it stood"
        ) from fault
    return Restored(datetime.fromisoformat(str(told["made_at"])), int(told["logs"]), made.path if made else None)


def looked_at(path: Path) -> dict[str, Any]:
    """The list in a backup file; StoreProblem where it is none, or a newer one."""
    try:
        with zipfile.ZipFile(path) as held:
            told = json.loads(held.read(backup.LIST))
    except FileNotFoundError:
        raise StoreProblem(f"{path} is not there; wanted a file that `truerun backup` has made") from None
    except (OSError, zipfile.BadZipFile, KeyError, ValueError, EOFError, zipfile.zlib.error) as fault:  # type: ignore[attr-defined]
        raise StoreProblem(
            f"{path} is no backup of Truerun, or is damaged ({first_line(fault)}); nothing was changed"
        ) from None
    if not isinstance(told, dict) or not isinstance(told.get("files"), dict):
        raise StoreProblem(f"{path} is no backup of Truerun; nothing was changed")
    if told.get("format", 0) > backup.FORMAT:
        raise StoreProblem(
            f"{path} was made by a newer Truerun (format {told['format']}; this one reads {backup.FORMAT}); "
            "nothing was changed"
        )
    return told


def under_way(folder: Path) -> bool:
    """Has a restore begun to change the folder, and not ended?"""
    return (folder / UNDER_WAY / READY).exists()


def end_restore(folder: Path) -> None:
    """Let each part change places; as often as it is called, it goes on where it stood."""
    work = folder / UNDER_WAY
    if not under_way(folder):
        shutil.rmtree(work, ignore_errors=True)
        return
    had = json.loads((work / READY).read_bytes())["had"]
    (work / "old").mkdir(exist_ok=True)
    with backup.one_moment(folder):
        for part in PARTS:
            here, new, old = folder / part, work / "new" / part, work / "old" / part
            if part in had and not old.exists() and here.exists():
                here.replace(old)
                here.with_name(f"{part}-journal").unlink(missing_ok=True)  # of the file that is no longer here
            if new.exists():
                new.replace(here)
    (work / READY).unlink()
    shutil.rmtree(work, ignore_errors=True)


def _unpack(path: Path, told: dict[str, Any], new: Path) -> None:
    """Every file of the list, each held against its hash."""
    try:
        with zipfile.ZipFile(path) as held:
            for name, digest in told["files"].items():
                parts = PurePosixPath(name).parts
                if not parts or parts[0] not in PARTS or ".." in parts:
                    raise StoreProblem(f"{path}: {name!r} is no file of a shop; nothing was changed")
                data = held.read(name)
                if hashlib.sha256(data).hexdigest() != digest:
                    raise StoreProblem(f"{path} is damaged ({name} is not as it was put in); nothing was changed")
                (new / name).parent.mkdir(parents=True, exist_ok=True)
                (new / name).write_bytes(data)
    except (zipfile.BadZipFile, KeyError, EOFError, zipfile.zlib.error) as fault:  # type: ignore[attr-defined]
        raise StoreProblem(f"{path} is damaged ({first_line(fault)}); nothing was changed") from None


def _where_it_is_published(folder: Path, new: Path) -> None:
    """What was published since the backup was made stands at its targets still, so what is noted of it now stays."""
    if (folder / publish.FILE).exists():
        (new / publish.FILE).unlink(missing_ok=True)


def _who_may_sign_in(folder: Path, new: Path) -> None:
    """Who may sign in stays as it is now: a restore brings nobody back who was taken off the list. Where there is no
    such list now the backup's counts, with every session ended.
    """
    if (folder / access.FILE).exists():
        (new / access.FILE).unlink(missing_ok=True)
    elif (new / access.FILE).exists():
        access.only_the_owners(new)
        sessions.drop_all(new)


def _check_formats(new: Path) -> None:
    """StoreProblem where book or store are of a newer Truerun."""
    with book.reading(new), ledger.reading(new) as connection:
        if connection is not None:
            ledger.check_format(connection)


def _count_on(new: Path, folder: Path, made_at: str, now: datetime) -> None:
    """Versions go on counting from those of the folder, so that whoever has one open sees that it has changed."""
    try:
        with ledger.reading(folder) as connection:
            here = ledger.newest(connection) if connection is not None else None
    except (StoreProblem, sqlite3.Error):
        here = None
    path = ledger.path_of(new)
    if here is None or not path.exists():
        return
    try:
        with closing(connect(path, existing=True)) as connection:
            connection.execute("BEGIN IMMEDIATE")
            found = ledger.newest(connection)
            if found is not None:
                after = replace(
                    found, n=max(found.n, here.n) + 1, what=f"restored from the backup of {made_at[:16]}", at=now
                )
                ledger.add_version(connection, after)
            connection.execute("COMMIT")
    except sqlite3.Error:
        return  # a store that was damaged when the backup was made: it is told as such, and made again
