"""Of the instruments set at a stage since a moment, those that a move touches and the others: how many came back to it,
and before. Where others were set there, what came back of a move is mostly of what it touches.
"""

from dataclasses import dataclass
from datetime import datetime
from math import log, sqrt

import polars as pl

from analysis.studies.people.techs import exposure
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot

LEAST = 30  # instruments, from which on a share is held against another
Z95 = 1.96
HALF = 0.5  # of all that came back more
Counted = tuple[int, int]  # came back, of so many


@dataclass(frozen=True)
class Touched:
    """Instruments that came back to a stage, of those judged: touched and others, since it began and before."""

    back: int
    tried: int
    back_before: int
    tried_before: int
    others_back: int
    others_tried: int
    others_back_before: int
    others_tried_before: int

    @property
    def theirs(self) -> bool:
        """Do those touched come back more than before, at 95 %; and where enough others were set, so many times more
        than these, at 95 %, with half of all that came back more among them? Of somebody who came new all that was set
        of these models before says what is usual.
        """
        since, before = (self.back, self.tried), (self.back_before, self.tried_before)
        others, others_before = (
            (self.others_back, self.others_tried),
            (self.others_back_before, self.others_tried_before),
        )
        new = before[1] < LEAST
        if new:
            before = (before[0] + others_before[0], before[1] + others_before[1])
        if min(since[1], before[1]) < LEAST or not _more((since,), (before,)):
            return False
        if min(others[1], others_before[1]) < LEAST:
            return True
        apart = _more((since,), (others,)) if new else _more((since, others_before), (before, others))
        mine, rest = _excess(since, before), _excess(others, others_before)
        return apart and mine >= HALF * (mine + max(rest, 0.0))


def touched(snapshot: Snapshot, stage: str, since: datetime, models: list[str], **level: str) -> Touched:
    """Of what is set at a stage. models : setups that the move touches; level : whose work (tech) or which lot (lot) of
    these alone. Others are of the same models where it touches only some of them, else of the other models.
    """
    work = snapshot.once(exposure).filter(pl.col("stage") == stage)
    taken = snapshot.once(story).visits["taken_at"].gather(work["visit"])
    here = work["model"].cast(pl.String).replace(snapshot.shop.setups).is_in(models)
    mine = here
    for name, value in level.items():
        mine = mine & (work[name].cast(pl.String) == value)
    rest, late = (here & ~mine) if level else ~here, taken >= since
    parts = [work["came_back"].filter(some & span) for some in (mine, rest) for span in (late, ~late)]
    return Touched(*(number for part in parts for number in (int(part.sum()), len(part))))


def _more(these: tuple[Counted, ...], those: tuple[Counted, ...]) -> bool:
    """Is the product of some shares larger than that of others, at 95 %? (Logarithms of shares, half a send-back added:
    Agresti 2013, Categorical Data Analysis, section 3.1; from memory.)
    """
    off = sum(log((back + 0.5) / (size + 0.5)) for back, size in these)
    off -= sum(log((back + 0.5) / (size + 0.5)) for back, size in those)
    return off > Z95 * sqrt(sum(1 / (back + 0.5) for back, _ in (*these, *those)))


def _excess(since: Counted, before: Counted) -> float:
    """How many more came back than by the share before."""
    return since[0] - since[1] * before[0] / before[1]
