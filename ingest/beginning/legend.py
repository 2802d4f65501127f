"""A tab of a workbook that explains the words of the others: a word, and beside it what it means."""

import re
from collections.abc import Iterable, Sequence

from ingest.beginning.guesses import guess_outcome
from ingest.reading.headings import plain

_NOT_OK = ("not ok", "not okay", "nicht in ordnung", "nok", "nio", "n.i.o.", "fail", "failed")  # whatever came of it


def legend_of(rows: Iterable[Sequence[str]]) -> dict[str, str]:
    """What each word means, by the word in plain letters: of rows that hold two cells, word and meaning."""
    found: dict[str, str] = {}
    for row in rows:
        held = [cell.strip() for cell in row if cell.strip()]
        if len(held) == 2:
            found.setdefault(plain(held[0]), held[1])
    return found


def outcome_in(meaning: str) -> str:
    """The one outcome that the words of a meaning name; '' where they name none, or two. 'Not in order' goes with any
    that says what became of it, and alone names none.
    """
    parts = [part.strip() for part in re.split(r"[,;/()]|\s[-–—]\s", meaning) if part.strip()]
    named = {guess_outcome(part) for part in parts if plain(part) not in _NOT_OK} - {""}
    return named.pop() if len(named) == 1 else ""
