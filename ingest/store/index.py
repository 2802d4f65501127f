"""What stands beside each original: its name, kind of sheet and when it was loaded, so that a lost book or ledger loses
no log.
"""

import json
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from ingest.reading.card_sheet import is_card
from ingest.reading.which_log import log_for
from ingest.shopfiles.shop import Shop
from ingest.store import book, originals
from ingest.store.writing import write_whole
from ingest.terms.questions import FileProblem

SUFFIX = ".json"
COMING, LOADED, UNLOADED = "coming", "loaded", "unloaded"


@dataclass(frozen=True)
class Noted:
    """What is known of an original without the book."""

    sha256: str
    name: str
    kind: str  # name of its [[log]], '' where shop.toml has none
    loaded_at: datetime  # UTC
    sequence: int  # of the book's line that says so; 0 while the load is under way
    what: str  # coming (its load has begun) | loaded | unloaded
    replaces: str = ""  # log_id of the log in whose place it came

    @property
    def log_id(self) -> str:
        """What the log is called in every table."""
        return originals.log_id(self.sha256)


def path_of(folder: Path, sha: str) -> Path:
    """Where the note on an original stands."""
    return folder / originals.FOLDER / f"{sha}{SUFFIX}"


def note(folder: Path, noted: Noted, *, sure: bool = True) -> None:
    """Write the note on an original, where it does not say so already."""
    if read_note(folder, noted.sha256) != noted:
        told = asdict(noted) | {"loaded_at": noted.loaded_at.isoformat()}
        write_whole(path_of(folder, noted.sha256), json.dumps(told, ensure_ascii=False, indent=1).encode(), sure=sure)


def read_note(folder: Path, sha: str) -> Noted | None:
    """The note on an original, None where there is none that can be read."""
    try:
        told = json.loads(path_of(folder, sha).read_bytes())
        noted = Noted(**(told | {"loaded_at": datetime.fromisoformat(told["loaded_at"])}))
    except (OSError, ValueError, TypeError, KeyError):
        return None
    return noted if noted.sha256 == sha and noted.loaded_at.tzinfo is not None else None


def all_notes(folder: Path) -> list[Noted]:
    """Every note that can be read, in the order in which the logs were loaded; those whose load never ended last."""
    shas = [path.name.removesuffix(SUFFIX) for path in sorted((folder / originals.FOLDER).glob(f"*{SUFFIX}"))]
    found = [noted for sha in shas if (noted := read_note(folder, sha)) is not None]
    return sorted(found, key=lambda noted: (noted.what == COMING, noted.sequence, noted.loaded_at, noted.name))


def wanted(loads: pl.DataFrame, shop: Shop | None) -> list[Noted]:
    """The notes that the book's lines (book.LOADS) ask for: of each original what was said last."""
    latest = loads.sort("sequence").unique("sha256", keep="last", maintain_order=True)
    columns = ("sha256", "name", "at", "sequence", "what", "replaces")
    return [
        Noted(sha, name, _kind(name, shop), at, sequence, what, replaces)
        for sha, name, at, sequence, what, replaces in latest.select(columns).iter_rows()
        if what == LOADED or not is_card(name)  # of a sheet that Card writes only what counts is kept
    ]


def follow(folder: Path, shop: Shop | None, shas: set[str] | None = None) -> None:
    """Bring the notes (all, or those on some originals) in line with the book; a note that cannot be written now is
    written another time.
    """
    for noted in wanted(book.loads(folder, shas), shop):  # of ten years of logs only those that are asked for
        with suppress(OSError):
            note(folder, noted)


def _kind(name: str, shop: Shop | None) -> str:
    if shop is None:
        return ""
    try:
        return log_for(name, shop).name
    except FileProblem:
        return ""
