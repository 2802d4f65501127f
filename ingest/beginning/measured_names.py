"""A sheet with a row a measurement under headings of its own: the column whose cells name measurements, beside one of
values, and the one whose cells are strings and sides.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from ingest.beginning.guesses import Guess, guess_column
from ingest.reading.headings import position_of
from ingest.reading.strings_by_tuning import note_in

MOST = 40  # names of what a shop measures
FULL, MOSTLY, SURE = 0.9, 0.6, 0.95  # of the rows filled; of them naming measurements; of the places being such


class Seen(Protocol):
    """A column as the survey has it."""

    @property
    def cells(self) -> Sequence[str]:
        """What stands in it."""


def named_measures(columns: Sequence[Seen], guesses: Sequence[Guess]) -> list[Guess]:
    """The guesses with `what` for the one column, of those nobody has named, most of whose cells name measurements, two
    at least, and with `position` for the one of strings, notes or sides beside it.
    """
    out = list(guesses)
    fields = [guess.field for guess in out if guess.taken]
    if fields.count("value") != 1 or "what" in fields or "reading" in fields:
        return out
    named = [p for p, guess in enumerate(out) if _open(guess, "model") and _names(columns[p].cells)]  # an 'item'
    if len(named) != 1:
        return out
    heading = out[named[0]].heading
    out[named[0]] = Guess(heading, field="what", level="likely", why="its cells: names of measurements")
    places = [place for place, guess in enumerate(out) if _open(guess) and _is_of_places(columns[place].cells)]
    if len(places) == 1 and "position" not in fields:
        out[places[0]] = replace(out[places[0]], field="position", level="likely", why="its cells: strings or sides")
    return out


def _open(guess: Guess, *fields: str) -> bool:
    return guess.field in ("", *fields) and guess.level != "said"


def _names(cells: Sequence[str]) -> bool:
    words = Counter(cell.strip() for cell in cells)
    filled = len(cells) - words.pop("", 0)
    if not 2 <= len(words) <= MOST or filled < FULL * len(cells):
        return False
    meant = {word: guess.measure for word in words if (guess := guess_column(word, None)).field == "reading"}
    return sum(words[word] for word in meant) >= MOSTLY * filled and len({*meant.values()}) > 1


def _is_of_places(cells: Sequence[str]) -> bool:
    words = Counter(cell.strip() for cell in cells)
    words.pop("", 0)
    if not 2 <= len(words) <= MOST:
        return False
    known = sum(number for word, number in words.items() if position_of(word) or note_in(word))
    return known >= SURE * words.total()
