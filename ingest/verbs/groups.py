"""Open questions as people decide them: groups that one answer settles, and decisions of groups of one kind."""

import re
from dataclasses import dataclass, field

MEANS, VALUE, VERDICT = "means", "value", "verdict"  # how a group is answered
NEW = "new:"  # before the family of a model that shop.toml lists no such one of: an answer, and a guess

_NAMED = re.compile(r" under '([^']+)'; found '")  # as ingest/reading/stamps.py asks for a time


@dataclass(frozen=True)
class Group:
    """Questions that one answer settles: the same text for the same reason in columns of the same name."""

    key: str
    kind: str  # MEANS | VALUE | VERDICT
    field: str  # of a word, else ''
    column: str  # heading; '' = the whole row
    typed: str
    wanted: str
    rows: tuple[tuple[str, int, str], ...]  # log_id, line, column
    where: str  # file and line of the first
    guess: str = ""
    fits: int = 0  # rows whose story bears the guess out
    of: int = 0  # rows that could be looked at
    sure: bool = False
    choices: tuple[str, ...] = ()
    real: bool = False  # an implausible value: it may be real
    new: bool = False  # most likely no word of the list: `fits` of `of` instruments bear no other

    @property
    def cell(self) -> str:
        """The heading over which a value is laid: of a whole row the one that the question names; '' where none."""
        named = _NAMED.search(self.wanted) if self.kind == VALUE and not self.column else None
        return named[1] if named else self.column


@dataclass(frozen=True)
class Decision:
    """Groups of one kind of question."""

    key: str
    title: str
    about: str
    kind: str
    rows: int
    groups: tuple[Group, ...] = field(default=())

    @property
    def asks_once(self) -> bool:
        """Are these words that are kept as typed meanwhile: nothing is set aside for them."""
        return self.key in KEPT

    @property
    def guessed(self) -> int:
        """How many of its groups have a guess that may be accepted as it is."""
        return sum(group.sure for group in self.groups)


KEPT = ("tech", "fault", "gauge", "kept model")  # words that are kept as typed, and asked about once
