"""Rows of a log as they stand in its original."""

from pathlib import Path
from typing import Any

from ingest.reading.as_typed import rows_in
from ingest.reading.on_disk import Data, held
from ingest.reading.reader import read_log
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
