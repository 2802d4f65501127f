"""A small shop with something of everything, and ways to damage its files."""

from pathlib import Path

from ingest.store import book
from ingest.verbs.load import load
from tests.ingest.bench import NOW, log, row, shop


def full_shop(folder: Path) -> Path:
    """Three logs in two versions, faults, questions, entries of the book."""
    shop(folder)
    rows = [row(f"A{n}", outcome="fixed", fault="open-string buzz") for n in range(60)]
    load(
        folder,
        [log(folder, "a.csv", rows), log(folder, "b.csv", [row(f"B{n}", relief="9") for n in range(40)])],
        now=NOW,
    )
    load(folder, [log(folder, "c.csv", [row(f"C{n}") for n in range(50)])], now=NOW)
    for n in range(12):
        book.write_entry(folder, "note", f"entry {n}", "Mo", now=NOW)
    return folder


def cut(path: Path) -> None:
    """Half of a file."""
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])


def flip(path: Path) -> None:
    """One bit in the middle of a file."""
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))


def gone(path: Path) -> None:
    """No file."""
    path.unlink()


def the_file(folder: Path, pattern: str) -> Path:
    """The first file of a pattern."""
    return min(folder.glob(pattern))
