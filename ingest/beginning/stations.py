"""Columns of one station: in a row an instrument, headings that begin alike stand under one heading of the sheet.

`Neck in Date`, `Neck in By`, `Neck in Straightness` are the day, the hands and the reading of what stands over them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Protocol

from ingest.beginning.guesses import Guess, guess_column
from ingest.beginning.heading_sense import book, words_of
from ingest.beginning.profiles import Profile
from ingest.reading.headings import plain

OF_VISIT = ("date", "started_at", "finished_at", "tech", "reading", "outcome", "fault", "minutes", "gauge", "note")
UNDER = "its words under"  # begins why a column is of a station
WHO_AND_WHEN = ("date", "started_at", "tech")


class Seen(Protocol):
    """A column as the survey has it."""

    @property
    def guess(self) -> Guess:
        """What it means by itself."""

    @property
    def profile(self) -> Profile:
        """What its cells look like."""


def by_stations(columns: Sequence[Seen], words: Mapping[str, str]) -> list[Guess]:
    """The guesses of all columns, those under one station's heading read by the rest of their own, at that station.

    words : stages by their words as somebody said them.  Nothing changes unless two stations at least have a day or
    hands of their own.
    """
    guesses = [column.guess for column in columns]
    said = {plain(word): stage for word, stage in words.items()}
    found: dict[str, dict[int, Guess]] = {}  # station as typed -> place -> what the column is there
    for place, (column, guess) in enumerate(zip(columns, guesses, strict=True)):
        station, rest, stage = _station(guess.heading, said)
        if not stage or guess.level == "said":
            continue
        read = guess_column(rest, column.profile)
        if read.field not in OF_VISIT or not read.level:
            read = guess
        if read.field in OF_VISIT and read.level:
            why = f"{UNDER} {station!r}"
            found.setdefault(station, {})[place] = replace(read, heading=guess.heading, stage=stage, why=why)
    own = {
        place: guess
        for held in found.values()
        if any(each.field in WHO_AND_WHEN for each in held.values())
        for place, guess in held.items()
    }
    if len({guess.stage for guess in own.values()}) < 2:
        return guesses
    return [own.get(place, guess) for place, guess in enumerate(guesses)]


def _station(heading: str, said: Mapping[str, str]) -> tuple[str, str, str]:
    """(the longest beginning of a heading that names a stage, the rest, the stage); '' thrice where none does."""
    words = heading.split()
    for length in range(len(words) - 1, 0, -1):
        begins = " ".join(words[:length])
        stage = said.get(plain(begins)) or _stage(begins)
        if stage:
            return begins, " ".join(words[length:]), stage
    return "", "", ""


def _stage(text: str) -> str:
    marks = book().get(" ".join(words_of(text)), [])
    return next((meaning for kind, meaning in marks if kind == "stage"), "")


def unknown_stations(columns: Sequence[Seen], words: Mapping[str, str]) -> list[str]:
    """Beginnings of headings that no word of the trade explains, under which a day or hands stand, in the order of the
    sheet: what stands over a group of columns. None unless there are two such groups at least, known or not.

    words : stages by their words as somebody said them.
    """
    said = {plain(word): stage for word, stage in words.items()}
    groups: dict[str, set[str]] = {}
    for column in columns:
        begins, rest = _who_or_when(column)
        if begins:
            groups.setdefault(begins, set()).add(rest)
    if len(groups) < 2:
        return []
    headings = [plain(column.guess.heading) for column in columns]
    several = [word for word in groups if sum(each.startswith(f"{plain(word)} ") for each in headings) > 1]
    return [word for word in several if not (said.get(plain(word)) or _stage(word))]


def _who_or_when(column: Seen) -> tuple[str, str]:
    """What stands before a word for a day or for hands at the end of a heading, and that word's meaning; '' twice where
    no such word stands there.
    """
    words = column.guess.heading.split()
    if len(words) < 2 or column.guess.level == "said":
        return "", ""
    read = guess_column(words[-1], column.profile)
    return (" ".join(words[:-1]), read.field) if read.level == "sure" and read.field in WHO_AND_WHEN else ("", "")
