"""Matters: what one cause moved, all its signals told once.

Open signals of one characteristic are explained stage by stage over all its streams (`units`, `explained`); what one
cause moved at several stages, or of several characteristics, is one matter, and so are signals that nothing explains
where characteristic, direction and start agree. Signals that closed while an open one lasted belong to its explanation
where that accounts for them; those that closed before are explained as of their closing. A matter that is laid to a
cause lasts while all readings that the cause touches, taken together, lie nearer to the shift than to the baseline,
and is closed where they say that it has ended, whatever the single charts say.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from analysis.studies.drift.opened import BACK
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.matters.explained import Explained
from analysis.studies.matters.records import Matter
from analysis.studies.matters.telling import told
from analysis.studies.matters.units import Signal, began, by_unit, day_at, every_signal, explained_unit, unit
from ingest.store.snapshot import Snapshot

SAME_CAUSE = timedelta(days=14)  # likely starts of one cause at two stages lie no further apart
LOOKED_BACK = timedelta(weeks=13)  # signals that closed since then may belong to a cause that lasts
NEARER = 0.5  # of the shift: from here on readings lie nearer to it than to the baseline
LEAST = 5
ENDED = 5  # working days without an instrument that the cause touches: a lot is through, a change taken back


def matters(snapshot: Snapshot) -> list[Matter]:
    """Every matter of the shop at this version, ever; open ones first, then by opening."""
    judged = snapshot.once(signals)
    if judged is None:
        return []
    opened, closed = snapshot.once(_all_groups)
    return _recorded(snapshot, judged, opened) + _recorded(snapshot, judged, closed)


def open_matters(snapshot: Snapshot) -> list[Matter]:
    """Matters with an open signal, or whose cause lasts, by opening. Signals of such a cause that closed before are
    looked for in `matters` only.
    """
    judged = snapshot.once(signals)
    lasting = [one for one in snapshot.once(_open_ones) if not one.ended]
    return [] if judged is None else _recorded(snapshot, judged, lasting)


def closed_matters(snapshot: Snapshot) -> list[Matter]:
    """Matters whose signals have all closed, by opening."""
    judged = snapshot.once(signals)
    return [] if judged is None else _recorded(snapshot, judged, snapshot.once(_all_groups)[1])


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


def _recorded(snapshot: Snapshot, judged: Signals, groups: list["_Group"]) -> list[Matter]:
    every = snapshot.once(every_signal)
    found = [
        told(snapshot, judged, [every[k] for k in sorted(one.signals)], one.parts, lasts=one.lasts, ended=one.ended)
        for one in _merged(groups, every)
    ]
    return sorted(found, key=lambda one: (one.opened_at, one.key))


@dataclass(eq=False)
class _Group:
    signals: set[int]
    parts: list[Explained]  # none: a weekly share, or signals of streams without a baseline
    lasts: bool = False  # its signals have closed, its cause has not come back
    ended: bool = False  # its cause has ended, though a chart of few readings has not shown it yet


def _open_ones(snapshot: Snapshot) -> list[_Group]:
    judged, every = snapshot.once(signals), snapshot.once(every_signal)
    groups: list[_Group] = []
    if judged is None:
        return groups
    still = [one for one in every if one.row["closed_at"] is None]
    recent = snapshot.as_of - LOOKED_BACK
    hinted = [one for one in every if one.row["closed_by"] == BACK and one.row["closed_at"] >= recent]
    for (characteristic, stage), part in by_unit(judged, still + hinted).items():
        first = min(began(one) for one in part)
        numbers = {one.number for one in part}
        beside = [
            one
            for one in every
            if one.number not in numbers
            and one.row["closed_at"] is not None
            and one.row["closed_at"] >= first
            and unit(judged, one) == (characteristic, stage)
        ]
        lasting = frozenset(one.number for one in part if one.row["closed_at"] is not None)
        found = explained_unit(snapshot, judged, characteristic, stage, [*part, *beside], lasting=lasting)
        if found is None:
            groups += [_Group({one.number}, []) for one in part if one.row["closed_at"] is None]
            continue
        for one in found:
            if any(every[k].row["closed_at"] is None for k in one.signals):
                groups.append(_Group(set(one.signals), [one], ended=bool(one.named) and one.best.end >= 0))
            elif one.named and _lasts(snapshot, one, [every[k] for k in one.signals]):
                groups.append(_Group(set(one.signals), [one], lasts=True))
    return groups + [_Group({one.number}, []) for one in still if unit(judged, one) is None]


def _lasts(snapshot: Snapshot, part: Explained, closed: list[Signal]) -> bool:
    """Is the cause still there, and do all readings that it touches, since the first of its signals came back, lie
    nearer to the shift, or are they too few to say?
    """
    found = part.evidence
    back = min(one.row["back_at"] or one.row["closed_at"] for one in closed)
    touched = part.column != 0
    if part.best.effect == 0 or not touched[found.day > found.day.max() - ENDED].any():
        return False
    since = touched & (found.day >= day_at(found, back, snapshot))
    weight = part.column[since]
    if len(weight) < LEAST:  # that a chart of others too has closed says too little of these
        return True
    return float(weight @ found.values[since]) / float(weight @ weight) / part.best.effect > NEARER


def _closed_ones(snapshot: Snapshot, judged: Signals, held: set[int]) -> list[_Group]:
    groups: list[_Group] = []
    closed = [one for one in snapshot.once(every_signal) if one.number not in held]
    for (characteristic, stage), part in by_unit(judged, closed).items():
        for chain in _overlapping(part):
            until = max(one.row["closed_at"] for one in chain)
            found = explained_unit(snapshot, judged, characteristic, stage, chain, until=until)
            groups += (
                [_Group({one.number}, []) for one in chain]
                if found is None
                else [_Group(set(one.signals), [one]) for one in found]
            )
    return groups + [_Group({one.number}, []) for one in closed if unit(judged, one) is None]


def _overlapping(part: list[Signal]) -> Iterable[list[Signal]]:
    chain: list[Signal] = []
    for one in sorted(part, key=lambda signal: signal.row["opened_at"]):
        if chain and one.row["opened_at"] > max(other.row["closed_at"] for other in chain):
            yield chain
            chain = []
        chain.append(one)
    if chain:
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
    if not one.parts or not other.parts:
        return False
    mine, theirs = one.parts[0], other.parts[0]
    apart = abs(_start(mine) - _start(theirs))
    if mine.named and theirs.named:
        same_bench = (
            mine.evidence.characteristic == theirs.evidence.characteristic
            and mine.evidence.stage == theirs.evidence.stage
        )
        return bool(_causes(mine) & _causes(theirs)) and (apart <= SAME_CAUSE or same_bench)
    if mine.named or theirs.named or mine.evidence.characteristic != theirs.evidence.characteristic:
        return False
    both_open = [any(every[k].row["closed_at"] is None for k in group.signals) for group in (one, other)]
    return (
        both_open[0] == both_open[1]
        and apart <= SAME_CAUSE
        and bool(np.sign(mine.best.effect) == np.sign(theirs.best.effect))
    )


def _start(part: Explained) -> timedelta:
    return part.evidence.days[part.best.start] - date(1970, 1, 1)


def _causes(part: Explained) -> set[tuple[str, str]]:
    found = set()
    for one in part.named:
        words = part.evidence.words.get(one.factor)
        found.add((one.factor, words[one.level]) if words else (one.kin, ""))
    return found
