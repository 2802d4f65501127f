"""Matters: what one cause moved, all its signals told once.

Open signals of one characteristic are explained stage by stage over all its streams (`units`, `explained`), those that
opened within some weeks of one another over the readings around them (`spans`), and what explains them is kept. What
one cause moved at several stages, or of several characteristics, is one matter, and so are signals that nothing
explains where characteristic, direction and start agree; and what at one bench moved the same way again and again, as a
file that wears does. Signals that closed while an open one lasted belong to its explanation where that accounts for
them; those that closed before are explained as of their closing. A matter that is laid to a cause lasts while all
readings that the cause touches, taken together, lie nearer to the shift than to the baseline, and is closed where they
say that it has ended, whatever the single charts say.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from analysis.studies.drift.entries import entries_for
from analysis.studies.drift.opened import BACK, PERSON
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.matters.accounts import Looked, parts_of
from analysis.studies.matters.one_move import SAME_CAUSE, one_move
from analysis.studies.matters.parts import Part
from analysis.studies.matters.records import Matter
from analysis.studies.matters.settled import settled
from analysis.studies.matters.spans import Bench, bench, opens_within, span_of, together
from analysis.studies.matters.telling import told
from analysis.studies.matters.units import Signal, by_unit, every_signal
from analysis.studies.matters.whose_lines import Held, before_it, lines_of_signals, moved
from ingest.store.snapshot import Snapshot

LOOKED_BACK = timedelta(weeks=13)  # signals that closed since then may belong to a cause that lasts
OPEN = {"closed_at": None, "closed_by": "", "back_at": None}  # as a signal stood before a person closed it
JUST_OVER = timedelta(weeks=2)  # what closed since then is told to be back, and an action on it is still in sight


def matters(snapshot: Snapshot) -> list[Matter]:
    """Every matter of the shop at this version, ever; open ones first, then by opening."""
    judged = snapshot.once(signals)
    if judged is None:
        return []
    opened, closed = snapshot.once(_all_groups)
    return _recorded(snapshot, judged, opened, whole=True) + _recorded(snapshot, judged, closed, whole=True)


def open_matters(snapshot: Snapshot) -> list[Matter]:
    """Matters with an open signal, or whose cause lasts, by opening. Signals of such a cause that closed before are
    looked for in `matters` only.
    """
    judged = snapshot.once(signals)
    lasting = [one for one in snapshot.once(_open_ones) if not one.ended]
    return [] if judged is None else _recorded(snapshot, judged, lasting)


def ended_matters(snapshot: Snapshot) -> list[Matter]:
    """Matters whose cause has ended though a signal is open still, and those whose signals have all closed of late, by
    opening.
    """
    judged = snapshot.once(signals)
    return (
        [] if judged is None else _recorded(snapshot, judged, [one for one in snapshot.once(_open_ones) if one.ended])
    )


def closed_matters(snapshot: Snapshot) -> list[Matter]:
    """Matters whose signals have all closed, by opening."""
    judged = snapshot.once(signals)
    return [] if judged is None else _recorded(snapshot, judged, snapshot.once(_all_groups)[1], whole=True)


def _all_groups(snapshot: Snapshot) -> tuple[list["_Group"], list["_Group"]]:
    """Those that are open, with what closed of the same cause; and those that closed."""
    judged, every = snapshot.once(signals), snapshot.once(every_signal)
    if judged is None:
        return [], []
    still = [replace(one, signals=set(one.signals), parts=list(one.parts)) for one in snapshot.once(_open_ones)]
    held = {number for group in still for number in group.signals}
    opened, closed = [one for one in still if not one.ended], [one for one in still if one.ended]
    for one in _closed_ones(snapshot, judged, held):
        home = next((other for other in opened if one.parts and one.parts[0].named and _alike(one, other, every)), None)
        if home is None:
            closed.append(one)
        else:
            home.signals |= one.signals
    return opened, closed


def _recorded(snapshot: Snapshot, judged: Signals, groups: list["_Group"], *, whole: bool = False) -> list[Matter]:
    """whole : closed ones have been worked out by now."""
    every = snapshot.once(every_signal)
    merged = _merged(groups, every)
    held = [_held(one, every) for one in merged]
    found = [
        told(snapshot, judged, one.signals, one.parts, lines, lasts=group.lasts, ended=group.ended)
        for group, one, lines in zip(merged, held, _lines(snapshot, held, whole=whole), strict=True)
    ]
    return sorted(found, key=lambda one: (one.opened_at, one.key))


def _held(one: "_Group", every: list[Signal]) -> Held:
    telling = sorted(one.parts, key=lambda part: (not part.named, -part.telling))
    return Held([every[k] for k in sorted(one.signals)], telling)


def _lines(snapshot: Snapshot, held: list[Held], *, whole: bool) -> list[pl.DataFrame]:
    """The lines of the book about each: of its signals, but for those written about another, which has them."""
    mine = [lines_of_signals(snapshot, one.signals) for one in held]
    tied = snapshot.once(entries_for)
    if not len(tied) or not (whole or snapshot.once(_some_before)):
        return mine
    every, home = snapshot.once(_homes)
    numbers = [{one.number for one in other.signals} for other in every]
    found = []
    for one, lines in zip(held, mine, strict=True):
        own = {each.number for each in one.signals}
        given = [line for line, k in home.items() if own & numbers[k]]
        away = [line for line, k in home.items() if not own & numbers[k]]
        kept = lines.filter(~pl.col("sequence").is_in(away))
        more = tied.filter(pl.col("sequence").is_in(given) & ~pl.col("sequence").is_in(kept["sequence"].implode()))
        found.append(pl.concat([kept, more]).sort("sequence"))
    return found


def _some_before(snapshot: Snapshot) -> bool:
    """Does a line hang on a signal of what is open, or was over not long ago, that began after it was written?"""
    every = snapshot.once(every_signal)
    held = [_held(one, every) for one in _merged(snapshot.once(_open_ones), every)]
    return any(len(before_it(one, lines_of_signals(snapshot, one.signals))) for one in held)


def _homes(snapshot: Snapshot) -> tuple[list[Held], dict[int, int]]:
    """All matters ever, and which of them has a line that hangs on a signal of another."""
    every = snapshot.once(every_signal)
    held = [_held(one, every) for groups in snapshot.once(_all_groups) for one in _merged(groups, every)]
    return held, moved(snapshot, held)


@dataclass(eq=False)
class _Group:
    signals: set[int]
    parts: list[Part]  # none: a weekly share, or signals of streams without a baseline
    lasts: bool = False  # its signals have closed, its cause has not come back
    ended: bool = False  # its cause has ended, though a chart of few readings has not shown it yet
    settled: bool = False  # a person closed it


def _open_ones(snapshot: Snapshot) -> list[_Group]:
    judged, every = snapshot.once(signals), snapshot.once(every_signal)
    groups: list[_Group] = []
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
            groups += [_Group({one.number}, []) for one in part if one.row["closed_at"] is None]
            continue
        for looked in _looked_at(snapshot, here, part, closed.get((characteristic, stage), [])):
            groups += _still(looked, parts_of(snapshot, judged, here, looked), snapshot.as_of - JUST_OVER)
    _write(snapshot)
    held = {number for group in groups for number in group.signals}
    late = snapshot.as_of - JUST_OVER
    over = _closed_ones(snapshot, judged, held, since=late)
    groups += [replace(one, ended=True) for one in over if one.parts or _fewer_again(one, every, late)]
    return _with_theirs(groups) + [_Group({one.number}, []) for one in still if one.unit is None]


def _fewer_again(group: _Group, every: list[Signal], since: datetime) -> bool:
    """Is it a weekly share that came back of itself since then?"""
    mine = [every[number] for number in group.signals]
    return all(one.unit is None and one.row["closed_by"] == BACK and one.row["closed_at"] >= since for one in mine)


def _with_theirs(groups: list[_Group]) -> list[_Group]:
    """The same, where what ended at a bench has become a part of what is open there of the same cause: while that goes
    on it is not back, whichever of its charts are.
    """
    opened, kept = [one for one in groups if not one.ended and one.parts], list[_Group]()
    for one in groups:
        home = next((other for other in opened if one.ended and _same_cause(one, other)), None)
        if home is None:
            kept.append(one)
        else:
            home.signals |= one.signals
    return kept


def _is_open(one: _Group, every: list[Signal]) -> bool:
    return any(every[k].row["closed_at"] is None for k in one.signals)


def _same_cause(one: _Group, other: _Group) -> bool:
    """Is one cause named for both at one bench?"""
    return _at_one(one, other) and bool(set(one.parts[0].causes) & set(other.parts[0].causes))


def _at_one(one: _Group, other: _Group) -> bool:
    """Are both of one bench, and was neither closed by a person?"""
    if not one.parts or not other.parts or one.settled or other.settled:
        return False
    mine, theirs = one.parts[0], other.parts[0]
    return (mine.characteristic, mine.stage) == (theirs.characteristic, theirs.stage)


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


def _still(looked: Looked, found: list[Part] | None, since: datetime) -> list[_Group]:
    """Groups of what is open, or lasts, or was over not long ago."""
    open_ones = {one.number for one in looked.signals if one.row["closed_at"] is None}
    if found is None:
        return [_Group({number}, []) for number in sorted(open_ones)]
    groups = []
    for one in found:
        numbers = {looked.signals[k].number for k in one.signals}
        if numbers & open_ones:
            groups.append(_Group(numbers, [one], ended=one.ended_at is not None))
        elif one.lasts:
            groups.append(_Group(numbers, [one], lasts=True))
        elif max(looked.signals[k].row["closed_at"] for k in one.signals) >= since:
            groups.append(_Group(numbers, [one], ended=True))
    return groups


def _closed_ones(snapshot: Snapshot, judged: Signals, held: set[int], *, since: datetime | None = None) -> list[_Group]:
    """Groups of what closed and is in none yet; since : where the last of them closed before, they are left out."""
    groups = _settled_ones(snapshot, judged, held, since=since)
    held = held | {number for deed in snapshot.once(settled) for number in deed}
    closed = [one for one in snapshot.once(every_signal) if one.number not in held]
    for (characteristic, stage), part in by_unit(closed).items():
        here = bench(snapshot, judged, characteristic, stage)
        for chain in _overlapping(part):
            found, until = None, max(one.row["closed_at"] for one in chain)
            if since is not None and until < since:
                continue
            if here is not None:
                span = span_of(snapshot, here, chain, closed=True)
                found = parts_of(snapshot, judged, here, Looked(characteristic, stage, chain, span, until=until))
            told = [([k], []) for k in range(len(chain))] if found is None else [(one.signals, [one]) for one in found]
            for places, parts in told:
                mine = [chain[k] for k in places]
                if since is None or max(one.row["closed_at"] for one in mine) >= since:
                    groups.append(_Group({one.number for one in mine}, parts))
    _write(snapshot)
    return groups + [_Group({one.number}, []) for one in closed if one.unit is None]


def _settled_ones(snapshot: Snapshot, judged: Signals, held: set[int], *, since: datetime | None) -> list[_Group]:
    """What a person closed in one deed is one group, whatever else closed about then."""
    every, groups = snapshot.once(every_signal), list[_Group]()
    for deed in snapshot.once(settled):
        mine = [every[number] for number in sorted(deed - held)]
        if not mine or (since is not None and max(one.row["closed_at"] for one in mine) < since):
            continue
        parts: list[Part] = []
        for (characteristic, stage), part in by_unit(mine).items():
            here, until = bench(snapshot, judged, characteristic, stage), max(one.row["closed_at"] for one in part)
            if here is not None:
                as_then = [replace(one, row=one.row | OPEN) if one.row["closed_by"] == PERSON else one for one in part]
                span = span_of(snapshot, here, part, closed=True)
                looked = Looked(characteristic, stage, as_then, span, until=until)
                parts += parts_of(snapshot, judged, here, looked) or []
        groups.append(_Group({one.number for one in mine}, parts, settled=True))
    return groups


def _write(snapshot: Snapshot) -> None:
    if snapshot.worked_out is not None:
        snapshot.worked_out.write()


def _overlapping(part: list[Signal]) -> Iterator[list[Signal]]:
    """Signals that were open at one time, one after another, as far as they are looked at together."""
    for group in together(part):
        chain: list[Signal] = []
        for one in group:
            if chain and one.lately.opened > max(other.row["closed_at"] for other in chain):
                yield chain
                chain = []
            chain.append(one)
        yield chain


def _merged(groups: list[_Group], every: list[Signal]) -> list[_Group]:
    """One cause at several stages or of several characteristics is one matter; so is what nothing explains, where
    characteristic, direction and start agree.
    """
    merged: list[_Group] = []
    for one in sorted(groups, key=lambda group: min(group.signals)):
        home = next((other for other in merged if _alike(one, other, every)), None)
        if home is None:
            merged.append(replace(one, signals=set(one.signals), parts=list(one.parts)))
        else:
            home.signals |= one.signals
            home.parts += one.parts
            home.lasts |= one.lasts
            home.ended |= one.ended
    return merged


def _alike(one: _Group, other: _Group, every: list[Signal]) -> bool:
    if one.signals & other.signals:
        return True
    if not one.parts or not other.parts or one.settled or other.settled:
        return False
    mine, theirs = one.parts[0], other.parts[0]
    if mine.named and theirs.named:
        near = abs(mine.started - theirs.started) <= SAME_CAUSE
        return _same_cause(one, other) or (bool(set(mine.causes) & set(theirs.causes)) and near)
    if mine.named or theirs.named or mine.characteristic != theirs.characteristic:
        return False
    both_open = [_is_open(group, every) for group in (one, other)]
    same_way = bool(np.sign(mine.effect) == np.sign(theirs.effect))
    return both_open[0] == both_open[1] and same_way and one_move(mine, theirs, still=all(both_open))
