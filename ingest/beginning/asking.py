"""Questions that the sheets cannot answer: gathered, answered by a person or by their default, at most so many."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from zoneinfo import available_timezones

from ingest.beginning.answers import slip
from ingest.reading.fields import FIELDS
from ingest.reading.said_of_visits import OF_A_VISIT
from ingest.reading.strings_by_tuning import note_in
from ingest.terms.questions import closest

MOST_ASKED = 25
LEAVE = "leave out"
COLUMN = "column "  # begins the key of a question about a column
TUNING = "tuning of "  # begins the key of a question how a model is tuned
WHAT = "what "  # begins the key of a question about the name of something measured


@dataclass(frozen=True)
class Ask:
    """One question that the sheets cannot answer."""

    key: str
    text: str
    options: tuple[str, ...]  # () = any text
    default: str  # what is written, and marked as a guess, without an answer
    of: str = ""  # the question that this and others like it ask, each of its own `word`
    word: str = ""


@dataclass
class Asker:
    """Gathers questions, at most MOST_ASKED; past that the default is taken and marked like any guess."""

    answers: Mapping[str, str]
    asks: list[Ask] = field(default_factory=list)

    def ask(self, key: str, text: str, options: tuple[str, ...], default: str, *, of: str = "", word: str = "") -> str:
        """The answer to a question, its default where there is none yet."""
        if len(self.asks) < MOST_ASKED and key not in {ask.key for ask in self.asks}:
            self.asks.append(Ask(key, text, options, default, of, word))
        answer = self.answers.get(key, default)
        if options and answer != default and answer not in options:
            raise ValueError(f"{key}: {answer!r} is none of {', '.join(options)}")
        return answer


def unfit(ask: Ask, answer: str) -> str:
    """Why an answer will not do, one line; '' where it will."""
    if ask.options and answer != ask.default and answer not in ask.options:
        return f"{answer!r} is none of {', '.join(ask.options)}."
    if ask.key == "timezone" and no_zone(answer):
        near = closest(answer, sorted(_zones()))
        return f"{answer!r} is no time zone; wanted one such as {near or 'Europe/Dublin'}."
    if ask.key.startswith(TUNING) and answer != ask.default and not all(map(note_in, answer.split())):
        return f'{answer!r} is no tuning; wanted a note a string, such as "G C E A".'
    if ask.key.startswith(WHAT) and answer in FIELDS and answer not in OF_A_VISIT:
        told = f"what no row of a measurement says; wanted a measurement or one of {', '.join(OF_A_VISIT)}"
        return f"{answer!r} is {told}."
    if ask.key.startswith(COLUMN) and answer != ask.default and (near := slip(answer, ())):
        return f"{answer!r} names no column; did you mean {near!r}?"
    return ""


def no_zone(name: str) -> bool:
    """Is this no time zone?"""
    return name not in _zones()


@cache
def _zones() -> set[str]:
    """Every time zone this machine knows, which are looked for in its folders."""
    return available_timezones()
