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
