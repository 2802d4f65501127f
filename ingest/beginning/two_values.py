"""Two columns of values in a sheet of a row a measurement: what was found, and what was left."""

import re
from collections.abc import Sequence
from dataclasses import replace
from statistics import median
from typing import Protocol

from ingest.beginning.guesses import Guess
from ingest.beginning.heading_sense import sense_of
from ingest.beginning.profiles import Profile
from ingest.reading.amounts import tidy

LOOKED_AT = 2000  # rows
MEASURED = 0.8  # of the filled cells are numbers
FEWEST = 5  # rows of a name that hold both values
ALIKE = 0.8  # of the names have values of one size in both columns
TWICE = 2.0
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)")


class Seen(Protocol):
    """A column as the survey has it."""

    @property
    def cells(self) -> Sequence[str]:
        """What stands in it."""


def two_values(columns: Sequence[Seen], guesses: Sequence[Guess], looks: Sequence[Profile]) -> list[Guess]:
    """Two columns of numbers beside the names of what was measured, alike in all but in and out, before and after, are
    what was found and what was left; a second one as large as the value, name by name, is asked about.
    """
    out = list(guesses)
    what = next((place for place, guess in enumerate(out) if guess.field == "what" and guess.taken), None)
    if what is None:
        return out
    may = [place for place in range(len(out)) if _may_be_value(out[place], looks[place])]
    found = [(one, other) for one in may for other in may if _pair(out[one], out[other])]
    if len(found) == 1:
        for place, moment in zip(found[0], ("found", "left"), strict=True):
            guess, other = out[place], out[found[0][moment == "found"]]
            if guess.level == "said":
                continue
            level = guess.level if guess.field == "value" and guess.taken else "likely"
            why = f"its words, beside {other.heading!r}"
            out[place] = Guess(guess.heading, "value", "", "", moment, unit=guess.unit, level=level, why=why)
        return out
    for place, guess in enumerate(out):
        if guess.field == "value" and guess.moment and guess.level != "said":
            out[place] = replace(guess, moment="")  # of one column alone it says nothing
    value = [place for place, guess in enumerate(out) if guess.field == "value" and guess.taken]
    rest = [place for place in may if place not in value[:1] and out[place].level != "said"]
    second = [place for place in rest if value and place > value[0] and _as_large(columns, what, value[0], place)]
    if len(second) == 1:
        why = f"its cells: as large as {out[value[0]].heading!r}, name by name"
        out[second[0]] = Guess(out[second[0]].heading, "value", "", "", "left", level="unsure", why=why)
    return out


def _may_be_value(guess: Guess, look: Profile) -> bool:
    """Numbers whose heading names no measurement, and nothing else that a row may say."""
    if guess.level == "said":
        return guess.field == "value"
    sense = sense_of(guess.heading)
    numbers = look.filled >= FEWEST and look.measured > MEASURED and look.dates + look.clocks < 0.1 and not look.running
    other = sense.measures or sense.target or set(sense.fields) - {"value", "moment"} or sense.position
    return numbers and not other and (guess.field in ("", "value") or guess.level == "unsure")


def _moment(guess: Guess) -> str:
    if guess.level == "said":
        return guess.moment or "found"
    sense = sense_of(guess.heading)
    return sense.moments[-1] if sense.moments else "found" if sense.in_is else ""


def _pair(one: Guess, other: Guess) -> bool:
    """Does one say found and the other left, and both the same besides?"""
    if (_moment(one), _moment(other)) != ("found", "left"):
        return False
    senses = [sense_of(guess.heading) for guess in (one, other)]
    words = [(sorted(sense.strange), set(sense.fields) - {"moment"}, sense.ordinal) for sense in senses]
    return words[0] == words[1] or "said" in (one.level, other.level)


def _as_large(columns: Sequence[Seen], what: int, one: int, other: int) -> bool:
    """Do both columns hold values of one size for each name, and as many different ones? What a reading should be has
    few.
    """
    names = columns[what].cells
    step = max(1, len(names) // LOOKED_AT)
    rows = zip(names[::step], columns[one].cells[::step], columns[other].cells[::step], strict=True)
    by: dict[str, list[tuple[float, float]]] = {}
    for name, first, second in rows:
        a, b = _number(first), _number(second)
        if name.strip() and a is not None and b is not None:
            by.setdefault(name.strip(), []).append((a, b))
    told = [_sizes(pairs) for pairs in by.values() if len(pairs) >= FEWEST]
    return bool(told) and sum(told) >= ALIKE * len(told)


def _sizes(pairs: Sequence[tuple[float, float]]) -> bool:
    first, second = (sorted(abs(pair[place]) for pair in pairs) for place in (0, 1))
    low, high = sorted((median(first), median(second)))
    return high <= TWICE * low and 2 * len(set(second)) >= len(set(first))


def _number(cell: str) -> float | None:
    text = tidy(cell)
    return float(text.replace(",", ".")) if _NUMBER.fullmatch(text) else None
