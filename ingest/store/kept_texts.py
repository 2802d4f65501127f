"""Answers kept beside the store as one text each (`kept_files`), so that who opens the shop next has them at once:
store/kept_texts.
"""

from pathlib import Path

from ingest.store.kept_files import KeptFiles
from ingest.store.worked_out import take_away

FOLDER = "kept_texts"
MOST = 12  # texts that stay
LONGEST = 8 << 20  # bytes of one


class KeptTexts:
    """The texts kept with one shop, as one version of its store sees them."""

    def __init__(self, folder: Path, version: int, made: str) -> None:
        self._files = KeptFiles(folder, version, made, FOLDER, most=MOST, longest=LONGEST)

    def of(self, key: str) -> str | None:
        """The text kept under a key; None where none is."""
        data = self._files.of(key)
        return None if data is None else data.decode()

    def keep(self, key: str, text: str) -> None:
        """Keep a text, if nobody is writing to the store and the version seen is still one of it."""
        self._files.keep(key, text.encode())


def let_go(folder: Path) -> None:
    """Take all that is kept away."""
    take_away(folder / "store", FOLDER)
