"""What a move of readings brings: more that comes back, to the stage that sets what moved, since it moved.

The two are one cause, told in one line, where the stage that more comes back to sets what moved and reads it so, the
days on which each may have begun meet, and what comes back more is of what the move touches: where that is one person's
work, one lot or some models, mostly of these (`people/touched`). And where no tester grew stricter, no other move there
would do as well, and nobody decided about what comes back by itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from analysis.studies.drift.share_starts import likely_weeks
from analysis.studies.drift.signals import signals
from analysis.studies.matters.records import LOT, SET_BY, Matter
from analysis.studies.matters.register import OPEN
from analysis.studies.people.catchers import caught_by_one
from analysis.studies.people.touched import Touched, touched
from ingest.store.snapshot import Snapshot

JUDGED = timedelta(weeks=1)  # an instrument counts in the week it was judged, that much after the bench at most
LEVELS = {SET_BY: "tech", LOT: "lot"}  # of what is named: the column of the work that says who or what has it


@dataclass(frozen=True)
class Brought:
    """More that comes back, of one cause with a move."""

    matter: Matter  # of what comes back
    touched: Touched


def brings(snapshot: Snapshot, told: Sequence[Matter]) -> dict[str, Brought]:
    """By the key of a move what it brings, of matters that are told in one week."""
    found: dict[str, Brought] = {}
    for more in told:
        if more.characteristics or (more.size or 0.0) <= 0 or more.state != OPEN or not more.shown:
            continue
        stage = str(more.main["stage"])
        near = [one for one in told if _there(snapshot, one, stage) and _as_soon(snapshot, one, more)]
        counted = [(one, _touched(snapshot, one, stage)) for one in near]
        fit = [(one, some) for one, some in counted if some.theirs]
        if len(fit) == 1 and caught_by_one(snapshot, stage) is None:
            found[fit[0][0].key] = Brought(more, fit[0][1])
    return found


def _there(snapshot: Snapshot, one: Matter, stage: str) -> bool:
    """Has it moved for certain, at a stage that sets it, or where it is read first after that?"""
    sure = bool(one.characteristics) and one.shown and not (one.slight or one.may_be_chance or one.to_target)
    if not sure or one.planned is not None:
        return False
    key, models = one.characteristics[0], one.models or [str(one.main["model"])]
    here = stage in one.stages or (not one.usual_at and not _read(snapshot, key, stage))
    return here and all(snapshot.shop.set_stage(key, model) == stage for model in models)


def _read(snapshot: Snapshot, characteristic: str, stage: str) -> bool:
    judged = snapshot.once(signals)
    rows = None if judged is None else judged.streams.rows.filter(characteristic=characteristic, stage=stage)
    return rows is not None and len(rows) > 0


def _as_soon(snapshot: Snapshot, one: Matter, more: Matter) -> bool:
    """Do the days on which each may have begun meet?"""
    judged = snapshot.once(signals)
    if judged is None or judged.weekly is None or one.began_low is None or one.began_high is None:
        return False
    low, high = likely_weeks(judged.weekly, more.main)
    return one.began_low < high and low < one.began_high + JUDGED


def _touched(snapshot: Snapshot, one: Matter, stage: str) -> Touched:
    assert one.began_at is not None
    named = one.moves_with.named
    level = {LEVELS[each.factor]: each.level for each in named if len(named) == 1 and each.factor in LEVELS}
    return touched(snapshot, stage, one.began_at, one.models or [str(one.main["model"])], **level)
