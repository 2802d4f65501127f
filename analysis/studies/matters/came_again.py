"""Signals of what comes, goes and comes again: each is looked at since its last time alone.

A chart of many readings sees that they are back, closes, and opens again. One of few is open all along, and one that
closed may look as if it had never been back, when what moved has come again since. Where a chart that takes in their
readings was back in between, and theirs in that while lie where they always lie, their last time is its last time.
"""

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from analysis.methods.segments import Floats
from analysis.studies.matters.evidence import Evidence
from analysis.studies.matters.explained import Explained, explained
from analysis.studies.matters.signalled import EARLIER, MARGIN, Signalled
from analysis.studies.matters.steps import SAME

HINT = 0.35  # of its shift, that a signal which came back must still show to be looked at with the open ones
LEAST = 5  # readings since it came back, from which on that can be asked
SMALL = 0.25  # sigma: its shift counts as this much at least
HALF = 0.5  # of its shift: a signal that shows less of it in between was back
SHOWN = 2.576  # standard errors by which it has moved for certain


def last_times(
    found: Evidence,
    signals: list[Signalled],
    lasting: Collection[int] = (),
    *,
    others: Sequence[Signalled] = (),
    closed: bool = False,
) -> list[Signalled]:
    """Signals with their last times; of those that are `lasting`, closed ones that are looked at as if they were open,
    only those count as open whose readings are not quite back. others : of the same bench, explained elsewhere. closed
    : all of them have, and each is asked about.
    """
    signals, others = ([_not_back(found, one) for one in each] for each in (signals, others))
    came = sorted((one for one in (*signals, *others) if one.times), key=lambda one: -one.low)
    told = []
    for one in signals:
        late = one.number in lasting  # one that closed: with others it came to an end before they came again
        if one.open or closed:
            there = [other for other in came if late or other.side == one.side]
            there = [other for other in there if not closed or one.back > other.low]
            each = (_with(found, one, other) for other in there)
            again = next((with_it for with_it in each if with_it is not None), None)
            if late and (again is not None or not _hints(found, one, came)):
                one = replace(one, open=False)
            elif again is not None:
                one = again
        told.append(replace(one, floor=max((one.floor, *_floors(one, came)))))
    return told


def in_turn(found: Evidence, signals: list[Signalled], until: int | None) -> list[Explained]:
    """What explains signals (`explained`): those that began before anything that came again did by themselves, over all
    that time. What is the same cause both ways is one.
    """
    asked = [one for one in signals if one.open or until is not None]
    since = min((one.first(found.day) for one in asked if one.times), default=0)
    older = [one for one in asked if not one.times and one.since < since]
    rest = [replace(one, floor=max(one.floor, min(since, one.since))) for one in signals if one not in older]
    told = explained(found, rest, until=until)
    for one in explained(found, older, until=until) if older else []:
        same = next((k for k, other in enumerate(told) if _same(one, other)), None)
        if same is None:
            told.append(one)
        else:
            told[same] = replace(told[same], signals=[*told[same].signals, *one.signals])
    return told


def _same(one: Explained, other: Explained) -> bool:
    kin = [{each.kin for each in part.named} for part in (one, other)]
    alike = bool(kin[0] & kin[1]) or not (kin[0] or kin[1])
    return alike and abs(one.best.start - other.best.start) <= SAME and one.best.effect * other.best.effect > 0


def with_air(made: list[Explained], airs: list[Explained]) -> list[Explained]:
    """What explains signals since their last times, and what of the air does over all their times: air that comes again
    is known by all of them. It explains what nothing else does, where it accounts for half of it.
    """
    left = list(made)
    for air in airs:
        mine = set(air.signals)
        joined = [one for one in left if asks_for_air(one) and 2 * len(mine & set(one.signals)) >= len(one.signals)]
        if joined:
            left = [one for one in left if one not in joined]
            told = {number for one in left for number in one.signals}
            numbers = (mine - told) | {number for one in joined for number in one.signals}
            left.append(replace(air, signals=sorted(numbers)))
    return left


def asks_for_air(part: Explained) -> bool:
    """Is it laid to the air, or has it moved for certain and is laid to nothing?"""
    moved = abs(part.best.effect) > SHOWN * part.best.error
    return part.best.factor in part.evidence.airs or (moved and not part.named)


def _with(found: Evidence, one: Signalled, other: Signalled) -> Signalled | None:
    """A signal with the last time of another as its own; None where it began since, or where its readings do not say
    that they were back in between.
    """
    over = other.times[-1][1]
    if one.since > over:
        return None
    shift, between = _shifts(found, one, over, other.low)
    takes_in = np.count_nonzero(one.touched & other.touched) >= HALF * np.count_nonzero(one.touched)
    if len(between) < (0 if takes_in else LEAST):
        return None
    if len(between) and float(between.mean()) > HALF * max(shift, SMALL):
        return None
    times = tuple(each for each in other.times if each[1] >= one.since)
    since = min(one.since, times[0][0])
    return replace(
        one,
        since=other.since,
        low=other.low,
        high=other.high,
        opened=other.opened,
        again=max(one.again, other.again),
        times=(*one.times, (since, times[0][1]), *times[1:]),
    )


def _not_back(found: Evidence, one: Signalled) -> Signalled:
    """The same without those of its times from which its readings never came back for certain: a slow drift opens a
    chart, lets it close and opens it again.
    """
    while one.times:
        first, over = one.times[-1]
        shift, between = _shifts(found, replace(one, since=first), over, one.low)
        left = float(between.mean()) if len(between) else 0.0
        if len(between) < LEAST or left <= max(HINT * max(shift, SMALL), SHOWN / float(np.sqrt(len(between)))):
            break
        times = one.times[:-1]
        floor = times[-1][1] + 1 + MARGIN if times else 0
        one = replace(one, since=first, low=first, high=max(first, min(over, one.high)), opened=over, times=times,
                      floor=floor)  # fmt: skip
    return one


def _floors(one: Signalled, came: list[Signalled]) -> list[int]:
    """Working days from which on a signal is looked for, by those that came again when it did: they were back."""
    ends = [other.times[-1][1] for other in came if abs(other.since - one.since) <= EARLIER]
    return [min(over + 1 + MARGIN, one.since) for over in ends if over < one.since]


def _shifts(found: Evidence, one: Signalled, over: int, until: int) -> tuple[float, Floats]:
    """By how much the readings of a signal lay to its side until a working day, against those before it began; and each
    of them from then to before another day.
    """
    mine, day = found.values[one.touched] * one.side, found.day[one.touched]
    before, within = mine[day < one.since], mine[(day >= one.since) & (day <= over)]
    usual = float(before.mean()) if len(before) else 0.0
    return (float(within.mean()) - usual if len(within) else 0.0), mine[(day > over) & (day < until)] - usual


def _hints(found: Evidence, one: Signalled, came: list[Signalled]) -> bool:
    """Do readings since its return, without those of what came again after it, still lie off where they were before, by
    some of its shift, as far as one standard error lets tell?
    """
    mine, day = found.values[one.touched], found.day[one.touched]
    other = np.zeros(len(day), dtype=bool)
    for each in came:
        for begun, over in (*each.times, (each.low, each.back)):
            if begun > one.back:
                other |= each.touched[one.touched] & (day >= begun) & (day <= over)
    before, within = mine[day < one.since], mine[(day >= one.since) & (day < one.back)]
    since = mine[(day >= one.back) & ~other]
    if len(since) < LEAST or not len(before):
        return not other.any()
    shift = float(within.mean() - before.mean()) * one.side if len(within) else 0.0
    left = float(since.mean() - before.mean()) * one.side
    return bool(left + len(since) ** -0.5 >= HINT * max(shift, SMALL))
