"""What is open at each bench, or was over not long ago: signals that are explained together, by what explains them.

Open signals of one characteristic are explained stage by stage over all its streams, those that opened within some
weeks of one another over the readings around them. Signals that closed while an open one lasted belong to its
explanation where that accounts for them.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta

from analysis.studies.drift.opened import BACK
from analysis.studies.drift.signals import signals
from analysis.studies.drift.watching import SHARE
from analysis.studies.matters.accounts import Looked, let_go, parts_of
from analysis.studies.matters.groups import JUST_OVER, Group, same_cause
from analysis.studies.matters.of_the_air import drifts_already, follows_less, with_less
from analysis.studies.matters.parts import Part
from analysis.studies.matters.past import over_since
from analysis.studies.matters.settled import settled
from analysis.studies.matters.share_matters import still_open
from analysis.studies.matters.share_of import is_share
from analysis.studies.matters.spans import Bench, bench, opens_within, span_of, together
from analysis.studies.matters.units import Signal, by_unit, every_signal
from ingest.store.snapshot import Snapshot

LOOKED_BACK = timedelta(weeks=13)  # signals that closed since then may belong to a cause that lasts


def open_groups(snapshot: Snapshot) -> list[Group]:
    """Groups of signals that are open, or whose cause lasts, or that were over no more than two weeks ago."""
    judged, every = snapshot.once(signals), snapshot.once(every_signal)
    groups: list[Group] = []
    if judged is None:
        return groups
    still = [one for one in every if one.row["closed_at"] is None]
    recent = snapshot.as_of - LOOKED_BACK
    apart = {number for deed in snapshot.once(settled) for number in deed}  # a person's word parts them
    hinted = [one for one in every if one.row["closed_by"] == BACK and one.row["closed_at"] >= recent]
    hinted = [one for one in hinted if one.number not in apart]
    closed = by_unit([one for one in every if one.row["closed_at"] is not None and one.number not in apart])
    for (characteristic, stage), part in by_unit(still + hinted).items():
        here = bench(snapshot, judged, characteristic, stage)
        if here is None:
            groups += [Group({one.number}, []) for one in part if one.row["closed_at"] is None]
            continue
        for looked in _looked_at(snapshot, here, part, closed.get((characteristic, stage), [])):
            groups += _still(looked, parts_of(snapshot, judged, here, looked), snapshot.as_of - JUST_OVER)
        let_go(snapshot)
    if snapshot.worked_out is not None:
        snapshot.worked_out.write()
    groups += still_open(judged.weekly, every, apart, snapshot.as_of - JUST_OVER)
    held = {number for group in groups for number in group.signals}
    late = snapshot.as_of - JUST_OVER
    over = over_since(snapshot, judged, held, late)
    groups += [replace(one, ended=True) for one in over if one.parts or _fewer_again(one, every, late)]
    rest = [Group({one.number}, []) for one in still if one.unit is None and one.row["chart"] != SHARE]
    return _with_the_air(_with_shares(_with_theirs(groups), every), every) + rest


def _fewer_again(group: Group, every: list[Signal], since: datetime) -> bool:
    """Is it a weekly share that came back of itself since then?"""
    mine = [every[number] for number in group.signals]
    return all(one.unit is None and one.row["closed_by"] == BACK and one.row["closed_at"] >= since for one in mine)


def _with_theirs(groups: list[Group]) -> list[Group]:
    """The same, where what ended at a bench has become a part of what is open there of the same cause: while that goes
    on it is not back, whichever of its charts are.
    """
    opened, kept = [one for one in groups if not one.ended and one.parts], list[Group]()
    for one in groups:
        home = next((other for other in opened if one.ended and same_cause(one, other)), None)
        if home is None:
            kept.append(one)
        else:
            home.signals |= one.signals
    return kept


def _with_shares(groups: list[Group], every: list[Signal]) -> list[Group]:
    """The same, where what nothing explains has become a part of what is open and named, as far as it is its share:
    what one of several moved, all charts over them hold in part.
    """
    named = [one for one in groups if one.named and not one.ended]
    kept = list[Group]()
    for one in groups:
        mine = [every[number].row for number in sorted(one.signals)]
        home = next((other for other in named if is_share(one.parts, other.parts, mine)), None)
        if home is None:
            kept.append(one)
        else:
            home.signals |= one.signals
    return kept


def _with_the_air(groups: list[Group], every: list[Signal]) -> list[Group]:
    """The same, where what the same readings make is one matter, though it is laid to the air once and once to nothing
    (`of_the_air`); of what follows the air by less, the smaller size is told too.
    """
    still = [one for one in groups if not one.ended]
    kept = list[Group]()
    for one in groups:
        mine = [every[number] for number in one.signals]
        opened = [each.lately.began for each in mine if each.row["closed_at"] is None]
        drift = [other for other in still if not one.ended and drifts_already(one.parts, opened, other.parts)]
        air = [other for other in still if not one.ended and follows_less(one.parts, other.parts)]
        home = next((other for other in drift + air if other is not one), None)
        if home is None:
            kept.append(one)
            continue
        home.signals |= one.signals
        if home in air:
            home.parts[0] = with_less(home.parts[0], one.parts[0])
    return kept


def _looked_at(snapshot: Snapshot, here: Bench, part: list[Signal], closed: list[Signal]) -> Iterator[Looked]:
    """What is looked at together at one bench, the oldest first: open signals, those that came back of late, and what
    closed since they began. What closed stands in one of them only.
    """
    groups = []
    for group in together(part):
        some = sorted(group, key=lambda one: (one.row["closed_at"] is not None, one.number))
        span = span_of(snapshot, here, some, closed=False)
        if span.last is not None:  # of a time that has passed nothing is asked but of what is open
            some = [one for one in some if one.row["closed_at"] is None]
            span = span_of(snapshot, here, some, closed=False) if some else span
        if some:
            groups.append((some, span))
    given = {one.number for some, _ in groups for one in some}
    still = [one for one in part if one.row["closed_at"] is None and one.lately.before]
    for some, span in groups:
        first = min(one.lately.low for one in some)
        beside = [
            one
            for one in closed
            if one.number not in given and one.row["closed_at"] >= first and opens_within(snapshot, span, one)
        ]
        given |= {one.number for one in beside}
        lasting = frozenset(one.number for one in some if one.row["closed_at"] is not None)
        away = tuple(one for one in still if lasting and one not in some)
        yield Looked(here.characteristic, here.stage, [*some, *beside], span, lasting=lasting, others=away)


def _still(looked: Looked, found: list[Part] | None, since: datetime) -> list[Group]:
    """Groups of what is open, or lasts, or was over not long ago."""
    open_ones = {one.number for one in looked.signals if one.row["closed_at"] is None}
    if found is None:
        return [Group({number}, []) for number in sorted(open_ones)]
    groups = []
    for one in found:
        numbers = {looked.signals[k].number for k in one.signals}
        if numbers & open_ones:
            groups.append(Group(numbers, [one], ended=one.ended_at is not None))
        elif one.lasts:
            groups.append(Group(numbers, [one], lasts=True))
        elif max(looked.signals[k].row["closed_at"] for k in one.signals) >= since:
            groups.append(Group(numbers, [one], ended=True))
    return groups
