"""Where a name may stand besides book and store: every other file of the shop's folder, and what of it could not be
covered.
"""

import io
import os
import re
import sqlite3
import unicodedata
import zipfile
from collections.abc import Iterable, Iterator
from pathlib import Path

import polars as pl

from ingest.reading.headings import plain
from ingest.store import book, originals
from ingest.store.writing import write_whole
from ingest.verbs import backup
from ingest.verbs.names import SHORT, Names
from ingest.verbs.rewriting import SQLITE, ZIP, codecs_of, database_without, is_known, without

_TWO = re.compile(r"\s*[/+&,]\s*")
_OWN = ("shop.toml", book.FILE)  # rewritten by their own rules
MOST = 20  # lines of places that could not be looked into; then a count


def single_techs(cells: Iterable[str]) -> list[str]:
    """The techs of cells, of two in one cell each by itself."""
    return [part for cell in cells for part in _TWO.split(cell) if part]


def parts_in(texts: pl.Series, names: Names, but: set[str]) -> list[tuple[str, int]]:
    """Parts of the name (four letters and more) that stand by themselves in notes and entries, with how many of
    them.
    """
    parts = {part for term in names.terms for part in re.split(r"[\W_]+", term) if len(part) >= SHORT and part != term}
    low = texts.str.to_lowercase()
    found = []
    for part in sorted(parts):
        whole = re.compile(rf"(?<!\w){re.escape(part)}(?!\w)", re.IGNORECASE)
        near = texts.filter(low.str.contains(part.lower(), literal=True))
        count = sum(1 for text in near if whole.search(names.out(text)))
        if count and part not in but:
            found.append((part, count))
    return found


def originals_in(folder: Path) -> Iterator[tuple[str, bytes]]:
    """SHA-256 and bytes of every original that is as it came."""
    for path in sorted((folder / originals.FOLDER).glob("*")):
        if len(path.name) == 64:
            try:
                yield path.name, originals.fetch(folder, path.name)
            except (OSError, ValueError):
                continue


def backups_in(folder: Path) -> list[Path]:
    """The backups in the folder: they hold what they held when they were made."""
    return backup.standing(folder)


def rewrite(folder: Path, names: Names, *, but: tuple[str, ...]) -> list[str]:
    """Take the name out of every other file of the folder and out of the files' names; what could not be looked into,
    a line each.
    """
    left = []
    for path in sorted(files_in(folder)):
        told = path.relative_to(folder).as_posix()
        if told in but or told in _OWN or _is_of_the_store(told) or backup.is_backup(path):
            continue
        if path.is_symlink():
            left.append(f"{told}: a link to {os.readlink(path)}; what it leads to was not touched")
            continue
        try:
            how = _rewrite_one(path, names)
        except (OSError, sqlite3.Error) as fault:
            how = f"could not be rewritten ({fault})"
        if how:
            left.append(f"{told}: {how}")
    for path in sorted(files_in(folder, folders=True), key=lambda path: len(path.parts), reverse=True):
        new = names.out_of_name(path.name)
        told = path.relative_to(folder).as_posix()
        if new != path.name and told not in but and not _is_of_the_store(told):
            path.rename(_free(path.with_name(new)))
    return left[:MOST] + (
        [f"and {len(left) - MOST} more files that could not be looked into"] if len(left) > MOST else []
    )


def still_named(folder: Path, names: Names, *, but: tuple[str, ...]) -> list[str]:
    """The files that hold the name all the same, in their bytes, in a part of them, or in their own name; a line
    each.
    """
    left = []
    for path in sorted(files_in(folder)):
        told = path.relative_to(folder).as_posix()
        if told in but or path.is_symlink() or (path.suffix != ".sqlite" and backup.is_backup(path)):
            continue
        try:
            data = backup.database(path) if path.suffix == ".sqlite" else path.read_bytes()
        except (OSError, sqlite3.Error) as fault:
            left.append(f"{told}: could not be read ({fault})")
            continue
        if any(_holds(part, names) for part in _parts_of(data)) or names.out_of_name(told) != told:
            left.append(f"{told}: still holds the name; it is nothing that could be rewritten")
    return left


def files_in(folder: Path, *, folders: bool = False) -> Iterator[Path]:
    """Every file below a folder, without following links; `folders`: the folders too."""
    for place, inner, files in os.walk(folder):
        for name in [*files, *(inner if folders else [])]:
            yield Path(place) / name


def _is_of_the_store(told: str) -> bool:
    """Is it kept by hash or made again from what is: originals, tables, ledger?"""
    return told.startswith((f"{originals.FOLDER}/", "store/")) and told != "store/program.log"


def _rewrite_one(path: Path, names: Names) -> str:
    """One file without the name; why not, where it could not be looked into."""
    if path.suffix == ".sqlite":
        database_without(path, names)
        return ""
    data = path.read_bytes()
    if data.startswith(SQLITE):
        database_without(path, names)
        return ""
    if not is_known(data):
        return "was not looked into; it is no text, workbook or database"
    new = without(data, names, path.suffix)
    if new != data:
        write_whole(path, new)
    return ""


def _free(path: Path) -> Path:
    several = (path, *(path.with_name(f"{path.stem}-{n}{path.suffix}") for n in range(2, 1000)))
    return next(each for each in several if not each.exists())


def _parts_of(data: bytes) -> Iterator[bytes]:
    yield data
    if data.startswith(ZIP):
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as held:
                for name in held.namelist():
                    yield name.encode()
                    yield held.read(name)
        except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError):
            return


def _holds(data: bytes, names: Names) -> bool:
    if names.raw is not None and names.raw.search(data):
        return True
    for codec in codecs_of(data) if not data.startswith((ZIP, b"PAR1")) else ():
        try:
            text = data.decode(codec)
        except UnicodeDecodeError:
            continue
        folded = unicodedata.normalize("NFKC", text)
        return names.out(folded) != folded or any(plain(term) == plain(text) for term in names.terms)
    return False
