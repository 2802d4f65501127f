"""`load --watch`: whole files only - a file is taken once its size has stood still from one look to the next."""

import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from ingest.store.problems import Busy
from ingest.verbs.load import load
from ingest.verbs.loaded import Loaded

EVERY = 2.0  # seconds between two looks
UNFINISHED = (".part", ".tmp", ".crdownload", ".partial", ".download")


def settled_files(
    now: dict[Path, tuple[int, int]], before: dict[Path, tuple[int, int]], taken: dict[Path, tuple[int, int]]
) -> list[Path]:
    """The files that stood still (size and time of change) since the look before and were not taken so yet, by name."""
    return sorted(path for path, seen in now.items() if before.get(path) == seen and taken.get(path) != seen)


def look(directory: Path) -> dict[Path, tuple[int, int]]:
    """Size and time of change of every file that may be a log; hidden, empty and half-downloaded ones are none."""
    seen = {}
    for path in directory.iterdir():
        if path.name.startswith((".", "~")) or path.suffix.lower() in UNFINISHED:
            continue
        try:
            stat = path.stat()
        except FileNotFoundError:  # gone between two moments
            continue
        if path.is_file() and stat.st_size:
            seen[path] = (stat.st_size, stat.st_mtime_ns)
    return seen


def watch(
    folder: Path,
    directory: Path,
    *,
    clock: Callable[[], datetime],
    sleep: Callable[[float], None] = time.sleep,
    looks: int | None = None,
) -> Iterator[list[Loaded]]:
    """Load what comes into a directory, for ever or for so many looks; what became of each bunch of files.

    clock : tells the time at each load.  sleep : waits between two looks.
    """
    before: dict[Path, tuple[int, int]] = {}
    taken: dict[Path, tuple[int, int]] = {}
    while looks is None or looks > 0:
        seen = look(directory)
        ready = settled_files(seen, before, taken)
        if ready:
            became: list[Loaded] = []
            with suppress(Busy):  # somebody else writes now: the next look tries again
                became = load(folder, ready, now=clock())
                taken |= {path: seen[path] for path in ready}
            if became:
                yield became
        before = seen
        looks = None if looks is None else looks - 1
        sleep(EVERY)
