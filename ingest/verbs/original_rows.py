"""Rows of a log as they stand in its original."""

from functools import lru_cache
from pathlib import Path
from typing import Any

from ingest.reading.as_typed import rows_in
from ingest.reading.on_disk import Data, held
from ingest.reading.reader import read_log
from ingest.reading.workbook import tab_lines
from ingest.shopfiles.shop import Shop
from ingest.store import originals
from ingest.terms.problems import Problem

NEAR = 100  # lines on either side of a row in which its neighbours are looked for


def original(folder: Path, log_id: str) -> Data | None:
    """The file of a log as it came; None where it is gone."""
    whole = (path for path in (folder / originals.FOLDER).glob(f"{log_id}*") if len(path.name) == 64)
    try:
        path = next(whole, None)
        return None if path is None else held(path)
    except OSError:
        return None


@lru_cache(maxsize=64)
def _tabs(folder: Path, log_id: str) -> tuple[tuple[int, str], ...]:
    """The tabs of an original, which never changes under its name."""
    data = original(folder, log_id) or b""
    try:
        return tuple(tab_lines(data))
    except Exception:  # a workbook that cannot be read has no tabs to name
        return ()


def place_of(folder: Path, log_id: str, name: str, line: int) -> str:
    """Where a row stands, in words: file, of a workbook the tab and the row in it, and the line it is counted as."""
    for first, tab in reversed(_tabs(folder, log_id)):
        if first <= line:
            row = line - first + 1
            return f"{name}, tab {tab}, line {line}" + (f" (its row {row})" if row != line else "")
    return f"{name}, line {line}"


def cells_of(folder: Path, shop: Shop, log_id: str, name: str, line: int) -> dict[str, str]:
    """The cells of a row as they were typed, by heading; empty where it cannot be found."""
    try:
        return rows_in(original(folder, log_id) or b"", name, shop, {line}).get(line, {})
    except Problem:
        return {}


def rows_read(folder: Path, log_id: str, name: str, shop: Shop, lines: set[int]) -> list[dict[str, Any]]:
    """The visits on some lines of a log, read under a shop file: line, serial, started_at, finished_at, model."""
    data = original(folder, log_id) or b""
    try:
        sheet = read_log(data, name, shop, only=lines)
    except Problem:
        return []
    return sheet.visits.select("line", "serial", "started_at", "finished_at", "model").rows(named=True)


def lines_about(folder: Path, shop: Shop, log_id: str, name: str, line: int, around: int = 2) -> list[tuple[int, str]]:
    """A row of a log as it was typed, with the rows just above and below it: (line, cells in one line)."""
    data = original(folder, log_id)
    try:
        cells = rows_in(data or b"", name, shop, range(line - NEAR, line + NEAR + 1))
    except Problem:
        return []
    lines = sorted(cells)
    if line not in cells:
        return []
    place = lines.index(line)
    near = lines[max(0, place - around) : place + around + 1]
    return [(one, " | ".join(cells[one].values())) for one in near]
