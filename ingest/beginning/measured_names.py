"""A sheet with a row a measurement under headings of its own: the column whose cells name measurements, beside one of
values, and the one whose cells are strings and sides.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from ingest.beginning.guesses import Guess, guess_column
from ingest.beginning.profiles import profile
from ingest.reading.headings import position_of
from ingest.reading.said_of_visits import OF_A_VISIT
from ingest.reading.strings_by_tuning import note_in

MOST = 40  # names of what a shop measures
FULL, MOSTLY, SURE = 0.9, 0.6, 0.95  # of the rows filled; of them naming measurements; of the places being such
SOME = 0.3  # of the rows name a measurement, where others say a result, a fault or a lot


class Seen(Protocol):
    """A column as the survey has it."""

    @property
    def cells(self) -> Sequence[str]:
        """What stands in it."""


def named_measures(columns: Sequence[Seen], guesses: Sequence[Guess]) -> list[Guess]:
    """The guesses with `what` for the one column, of those nobody has named, most of whose cells name measurements, two
    at least, with `value` for the one of numbers in their rows, and with `position` for the one of strings, notes or
    sides beside it.
    """
    out = list(guesses)
    fields = [guess.field for guess in out if guess.taken]
    if fields.count("value") > 1 or "reading" in fields or {"what", "value"} <= {*fields}:
        return out
    by_words = [p for p, guess in enumerate(out) if guess.taken and guess.field == "what"]
    named = by_words or [p for p, guess in enumerate(out) if _open(guess, "model") and _names(columns[p].cells)]
    if len(named) != 1:  # an 'item' may name them too
        return out
    if "value" not in fields:
        values = _values(columns, out, named[0])
        if len(values) != 1:
            return out
        why = f"its cells: numbers where {out[named[0]].heading!r} names a measurement"
        out[values[0]] = Guess(out[values[0]].heading, field="value", level="likely", why=why)
    if not by_words:
        out[named[0]] = Guess(out[named[0]].heading, "what", level="likely", why="its cells: names of measurements")
    places = [place for place, guess in enumerate(out) if _open(guess) and _is_of_places(columns[place].cells)]
    if len(places) == 1 and "position" not in fields:
        out[places[0]] = replace(out[places[0]], field="position", level="likely", why="its cells: strings or sides")
    return out


def _values(columns: Sequence[Seen], guesses: Sequence[Guess], named: int) -> list[int]:
    """The columns, of those nobody has named, that hold numbers in nearly every row whose name is of a measurement; of
    several that which its heading names as one of values.
    """
    names = columns[named].cells
    measures = {word for word in {*map(str.strip, names)} if word and _measure(word)}
    fit = []
    for place, guess in enumerate(guesses):
        if place == named or not _open(guess, "value"):
            continue
        cells = (cell for name, cell in zip(names, columns[place].cells, strict=True) if name.strip() in measures)
        looks = profile(tuple(cells))
        if looks.measured >= FULL and looks.filled >= MOSTLY * looks.rows and looks.filled and not looks.running:
            fit.append(place)
    by_words = [place for place in fit if guess_column(guesses[place].heading, None).field == "value"]
    return by_words if len(by_words) == 1 else fit


def _measure(word: str) -> str:
    """The measurement that a word names, '' where it names none."""
    guess = guess_column(word, None)
    return guess.measure if guess.field == "reading" else ""


def _open(guess: Guess, *fields: str) -> bool:
    return guess.field in ("", *fields) and guess.level != "said"


def _names(cells: Sequence[str]) -> bool:
    words = Counter(cell.strip() for cell in cells)
    filled = len(cells) - words.pop("", 0)
    if not 2 <= len(words) <= MOST or filled < FULL * len(cells):
        return False
    meant = {word: measure for word in words if (measure := _measure(word))}
    said = {word for word in words if word not in meant and guess_column(word, None).field in OF_A_VISIT}
    known = sum(words[word] for word in (*meant, *said))
    return (
        known >= MOSTLY * filled and len({*meant.values()}) > 1 and sum(words[word] for word in meant) >= SOME * filled
    )


def _is_of_places(cells: Sequence[str]) -> bool:
    words = Counter(cell.strip() for cell in cells)
    words.pop("", 0)
    if not 2 <= len(words) <= MOST:
        return False
    known = sum(number for word, number in words.items() if position_of(word) or note_in(word))
    return known >= SURE * words.total()
