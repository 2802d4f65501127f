"""What may have moved readings, as columns: levels of factors, numbers by which they move, and one of these with its
starts; and where and when the readings were taken.
"""

from dataclasses import dataclass

import numpy as np

from analysis.methods.segments import Flags, Floats, Ints


@dataclass(frozen=True)
class Factor:
    """Something that may have moved: the level of every reading.

    own_start : its levels come and go (a lot): a shift of one has begun with its first reading.
    nested : its levels have standing offsets of their own in each stream (people, gauges).
    weight : prior weight beside the other factors.
    once : its levels come once and stay (a kind of sheet): few as they are, nothing tells how
        far they differ anyhow.
    own_spread : readings of one level may lie further apart than those of another (people).
    """

    name: str
    code: Ints  # (n,) -1 where not known
    own_start: bool = False
    nested: bool = False
    weight: float = 1.0
    own_spread: bool = False
    once: bool = False


@dataclass(frozen=True)
class Column:
    """Something with a number for every reading, by which readings may move: the air some hours before, or 1 where a
    dated change holds.

    value : (n,), 0 where it does not touch the reading. scanned : it may have begun to matter on any day, else it did
    throughout. kin : columns of one kin are one candidate (the air some hours before, and more hours before).
    """

    name: str
    value: Floats
    scanned: bool = False
    weight: float = 1.0
    kin: str = ""


@dataclass(frozen=True)
class Candidate:
    """A hypothesis with the starts that are looked at exactly."""

    factor: str
    level: int
    kin: str
    streams: Ints
    base: Floats  # (n,) the column before its start
    days: Ints
    log_prior: Floats  # (days,)
    score: float  # log, as far as it is known before the exact look
    late: bool = False  # of starts about as likely the last one is told: a column may touch nothing for weeks
    end: int = -1  # the first day without it, which its base minds; -1: it lasts

    @property
    def group(self) -> str:
        """What those share that differ in level, streams or lag only."""
        return self.kin.partition(":")[0]


@dataclass(frozen=True, eq=False)
class Readings:
    """What screening sees: where and when readings were taken."""

    day: Ints  # (n,)
    stream: Ints  # (n,)
    streams: int
    days: int
    since: int
    span: int  # working days on any of which it might have begun, as the price of a start

    @property
    def starts(self) -> int:
        """Days on which something may have begun."""
        return self.days - self.since

    def on(self, streams: Ints) -> Flags:
        """Readings of some streams (n,)."""
        chosen = np.zeros(self.streams, dtype=bool)
        chosen[streams] = True
        return np.asarray(chosen[self.stream])
