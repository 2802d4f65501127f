"""Groups of signals that one explanation accounts for, and which of them are one matter.

One cause at several stages or of several characteristics is one matter where its likely starts lie within two weeks of
one another; so is what nothing explains, where characteristic, direction and start agree. What was over stays in sight
for two weeks: what the same cause moves again at its bench by then, from the last closing of one time to the start of
the next, is the same matter, and so is what it moves while the first lasts. A cause that comes again later is another
matter, for which somebody has to decide anew; what was written about the first stays with the first, and no line of the
book hangs on what was over years ago. Times that each lie so near to another of them are one matter.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np

from analysis.studies.matters.one_move import SAME_CAUSE, as_far, one_move, within
from analysis.studies.matters.parts import Part
from analysis.studies.matters.records import SET_BY
from analysis.studies.matters.units import Signal

JUST_OVER = timedelta(weeks=2)  # so long what was over is told to be back, and an action on it is still in sight


@dataclass(frozen=True)
class Time:
    """One time that a cause lasted at a bench."""

    unit: tuple[str, str]  # characteristic and stage
    causes: frozenset[tuple[str, str]]
    began: datetime
    over: datetime | None  # the last closing of its signals; None: one is open, or it lasts

    def near(self, other: "Time") -> bool:
        """Did neither begin more than two weeks after the other was over?"""
        return all(
            one.over is None or then.began - JUST_OVER <= one.over for one, then in ((self, other), (other, self))
        )

    def again(self, other: "Time") -> bool:
        """Is it the same cause at the same bench, not away for longer than that?"""
        return self.unit == other.unit and bool(self.causes & other.causes) and self.near(other)


@dataclass(eq=False)
class Group:
    """Signals that one explanation accounts for, or several groups that are one matter."""

    signals: set[int]
    parts: list[Part]  # none: a weekly share, or signals of streams without a baseline
    lasts: bool = False  # its signals have closed, its cause has not come back
    ended: bool = False  # its cause has ended, though a chart of few readings has not shown it yet
    settled: bool = False  # a person closed it
    times: list[Time] = field(default_factory=list)  # of all that was merged into it (`timed`)

    @property
    def named(self) -> bool:
        """Does a cause stand out?"""
        return bool(self.parts) and self.parts[0].named


def over(group: Group, every: list[Signal]) -> datetime | None:
    """The last closing of its signals; None where one is open, or its cause lasts."""
    closed = [every[k].row["closed_at"] for k in group.signals]
    return None if group.lasts or None in closed else max(closed)


def timed(group: Group, every: list[Signal]) -> Group:
    """The same with its own time, to be merged with others."""
    times = list(group.times)
    if not times and group.parts:
        one = group.parts[0]
        unit = (one.characteristic, one.stage)
        times = [Time(unit, frozenset(one.causes), one.measured.began_at, over(group, every))]
    return replace(group, signals=set(group.signals), parts=list(group.parts), times=times)


def merged(groups: Iterable[Group], every: list[Signal]) -> list[Group]:
    """Matters of groups, in the order of their first signals."""
    found: list[Group] = []
    for one in sorted((timed(each, every) for each in groups), key=lambda group: min(group.signals)):
        home = next((other for other in found if alike(one, other, every)), None)
        if home is None:
            found.append(one)
        else:
            home.signals |= one.signals
            home.parts += one.parts
            home.times += one.times
            home.lasts |= one.lasts
            home.ended |= one.ended
    return found


def joined(opened: Iterable[Group], closed: Iterable[Group], every: list[Signal]) -> tuple[list[Group], list[Group]]:
    """Open ones with the signals of what closed of the same cause, and what closed of another. The last closed is asked
    first: it may lead back to what closed before it.
    """
    homes, left = [timed(one, every) for one in opened], list[Group]()
    rest = [timed(one, every) for one in closed]
    last = {id(one): max(every[k].row["closed_at"] for k in one.signals) for one in rest}
    for one in sorted(rest, key=lambda group: (last[id(group)], min(group.signals)), reverse=True):
        home = next((other for other in homes if one.named and alike(one, other, every)), None)
        if home is None:
            left.append(one)
        else:
            home.signals |= one.signals
            home.times += one.times
    return homes, left


def same_cause(one: Group, other: Group) -> bool:
    """Is one cause named for both at one bench, and was neither closed by a person?"""
    if not one.parts or not other.parts or one.settled or other.settled:
        return False
    mine, theirs = one.parts[0], other.parts[0]
    same_bench = (mine.characteristic, mine.stage) == (theirs.characteristic, theirs.stage)
    return same_bench and bool(set(mine.causes) & set(theirs.causes))


def goes_on(one: Group, other: Group) -> bool:
    """Does the move of the one, which nothing explains, go on as the other's: at the same time, at none but its places,
    and as far?
    """
    if not one.parts or not other.parts or one.settled or other.settled or one.named or other.named:
        return False
    mine, theirs = one.parts[0], other.parts[0]
    here = (mine.characteristic, mine.stage) == (theirs.characteristic, theirs.stage)
    same_way = bool(np.sign(mine.measured.size) == np.sign(theirs.measured.size))
    near = abs(mine.started - theirs.started) <= SAME_CAUSE
    places = set(mine.models) <= set(theirs.models) and within(mine.positions, theirs.positions)
    return here and same_way and near and places and as_far(mine.measured, theirs.measured)


def alike(one: Group, other: Group, every: list[Signal]) -> bool:
    """Are two groups (`timed`) one matter? The parts of the other are held by its first, its times all of them."""
    if one.signals & other.signals:
        return True
    if not one.parts or not other.parts or one.settled or other.settled:
        return False
    mine, theirs = one.parts[0], other.parts[0]
    if mine.named and theirs.named:
        near = abs(mine.started - theirs.started) <= SAME_CAUSE
        again = same_cause(one, other) and any(then.again(time) for then in one.times for time in other.times)
        return again or (bool(set(mine.causes) & set(theirs.causes)) and near)
    if mine.characteristic != theirs.characteristic:
        return False
    if mine.named or theirs.named:
        return their_charts(*((one, other) if mine.named else (other, one)), every)
    both_open = [
        not group.ended and any(every[k].row["closed_at"] is None for k in group.signals) for group in (one, other)
    ]
    same_way = bool(np.sign(mine.effect) == np.sign(theirs.effect))
    return both_open[0] == both_open[1] and same_way and one_move(mine, theirs, still=all(both_open))


def their_charts(named: Group, other: Group, every: list[Signal]) -> bool:
    """Is what is open of the other, at another stage, told by charts of the very person that one names alone, and moved
    the same way at the same time? There it is read again, by a gauge that may be too coarse to name anybody.
    """
    mine, theirs = named.parts[0], other.parts[0]
    still = [every[k].row for k in sorted(other.signals) if every[k].row["closed_at"] is None]
    theirs_alone = bool(still) and all({(SET_BY, row["tech"])} == set(mine.causes) for row in still)
    open_too = any(every[k].row["closed_at"] is None for k in named.signals) and not named.ended and not other.ended
    same_way = bool(np.sign(mine.effect) == np.sign(theirs.effect)) and mine.stage != theirs.stage
    return theirs_alone and open_too and same_way and abs(mine.started - theirs.started) <= SAME_CAUSE
