"""Which column is meant by words that somebody said: a column of results is the one that holds the results they named.

`words = { outcome = { A = "pass", R = "send back" } }` needs no heading beside it: it is the column whose cells are
those words. A heading that only sounds like it gives way.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from ingest.beginning.answers import LogSaid
from ingest.beginning.guesses import Guess, guess_column, guess_outcome
from ingest.beginning.sent_back import head_and_place
from ingest.beginning.stage_words import stage_of_word
from ingest.reading.headings import plain
from ingest.terms.questions import listed

BY_WORDS = ("outcome", "stage", "what", "moment", "position")
ENOUGH = 0.9  # of the filled cells are words that were said or that the trade knows
SELDOM = 0.4  # filled so seldom beside a stage of every row: where an instrument went back to


class Seen(Protocol):
    """A column as the survey has it."""

    @property
    def guess(self) -> Guess:
        """What it means by itself."""

    @property
    def cells(self) -> Sequence[str]:
        """What stands in it."""


@dataclass(frozen=True)
class _Cover:
    """How far a column is made of certain words."""

    share: float  # of its filled cells: said, or known to the trade
    said: int  # words that were said and stand in it
    filled: int


def by_said_words(columns: Sequence[Seen], told: LogSaid) -> list[Guess]:
    """The guesses of all columns, those whose cells are the words that somebody said put right by them."""
    guesses = [column.guess for column in columns]
    for name in BY_WORDS:
        words = {plain(word) for word in told.words.get(name, {})}
        if not words or any(guess.level == "said" and guess.field == name for guess in guesses):
            continue
        covers = {place: _cover(column.cells, words, name) for place, column in enumerate(columns)}
        fit = [
            place
            for place, cover in covers.items()
            if cover.said and cover.share >= ENOUGH and guesses[place].level != "said"
        ]
        if name == "stage":
            fit = [place for place in fit if guesses[place].field not in ("sent_back_to", "cause")]
        if not fit:
            continue
        _settle(guesses, fit, covers, name)
    return guesses


def _settle(guesses: list[Guess], fit: Sequence[int], covers: Mapping[int, _Cover], name: str) -> None:
    """Give the field to the column that holds the words; a rival that only sounds like it loses it."""
    best = max(fit, key=lambda place: (guesses[place].field == name, covers[place].said, covers[place].filled))
    rivals = [
        place
        for place in fit
        if place != best
        and (guesses[place].field == name, covers[place].said) == (guesses[best].field == name, covers[best].said)
        and covers[place].filled > SELDOM * covers[best].filled
    ]
    if rivals and name in ("outcome", "stage"):
        others = listed([repr(guesses[place].heading) for place in rivals], 3)
        why = f"the words you gave, which stand in {others} too"
        guesses[best] = replace(guesses[best], field=name, level="unsure", why=why)
        return
    for place, guess in enumerate(guesses):
        if guess.field == name and place != best and guess.level != "said":
            guesses[place] = Guess(guess.heading, why=f"another column holds the words you gave for {name}")
    kept = guesses[best]
    guesses[best] = Guess(kept.heading, name, stage="", level="sure", why="the words you gave")


def _cover(cells: Sequence[str], said: set[str], name: str) -> _Cover:
    counts: Counter[str] = Counter()
    for cell, count in Counter(cells).items():
        counts[plain(cell)] += count
    counts.pop("", None)
    filled = sum(counts.values())
    if not filled or len(counts) > max(60, 4 * len(said)):
        return _Cover(0.0, 0, filled)
    heads = {word: plain(head_and_place(word, said)[0]) if name == "outcome" else "" for word in counts}
    good = sum(count for word, count in counts.items() if {word, heads[word]} & said or _known(word, name))
    return _Cover(good / filled, len(said & {*counts, *heads.values()}), filled)


def _known(word: str, name: str) -> bool:
    """Does the trade know the word in this sense?"""
    if name == "outcome":
        return bool(guess_outcome(word))
    if name == "stage":
        return bool(stage_of_word(word))
    if name == "what":
        return guess_column(word, None).field == "reading"
    return False
