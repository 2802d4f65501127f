"""Matters: what one cause moved, all its signals told once.

Open signals of one characteristic are explained stage by stage over all its streams (`units`, `explained`), those that
opened within some weeks of one another over the readings around them (`spans`), and what explains them is kept. What
one cause moved at several stages, or of several characteristics, is one matter, and so are signals that nothing
explains where characteristic, direction and start agree; and what at one bench moved the same way again and again, as a
file that wears does (`groups`). Signals that closed while an open one lasted belong to its explanation where that
accounts for them (`open_ones`); those that closed before are explained as of their closing (`past`), as far as they
can belong to what is asked for (`reached`). A matter that is laid to a cause lasts while all readings that the cause
touches, taken together, lie nearer to the shift than to the baseline, and is closed where they say that it has ended,
whatever the single charts say.
"""

from datetime import datetime

from analysis.studies.drift.entries import entries_for
from analysis.studies.drift.signals import signals
from analysis.studies.matters import reached
from analysis.studies.matters.groups import Group, goes_on, merged
from analysis.studies.matters.open_ones import open_groups
from analysis.studies.matters.reached import Reached, held_of
from analysis.studies.matters.records import Matter, MovesWith
from analysis.studies.matters.telling import first_of, key_of_signal, told
from analysis.studies.matters.units import every_signal
from analysis.studies.matters.whose_lines import Held, before_it, lines_of_signals
from ingest.store.snapshot import Snapshot


def matters(snapshot: Snapshot) -> list[Matter]:
    """Every matter of the shop at this version, ever; open ones first, then by opening."""
    if snapshot.once(signals) is None:
        return []
    found = snapshot.once(reached.all_ever)
    return _recorded(snapshot, found.opened, found) + _recorded(snapshot, found.closed, found)


def moves_with(snapshot: Snapshot) -> dict[tuple[str, int], MovesWith]:
    """What the matter of each signal moves together with, by table (found | others) and row: as in `matters`, without
    all else that is told of one.
    """
    if snapshot.once(signals) is None:
        return {}
    found = snapshot.once(reached.all_ever)
    moves: dict[tuple[str, int], MovesWith] = {}
    for groups in (found.opened, found.closed):
        for one in sorted((held_of(group, found.every) for group in groups), key=_first):
            told = one.parts[0].moves_with if one.parts else MovesWith()
            moves |= dict.fromkeys(((member.table, member.row_number) for member in one.signals), told)
    return moves


def _first(one: Held) -> tuple[datetime, str]:
    """When a matter opened, and its key: as `told` has them."""
    opened_at, first = first_of(one.signals, one.parts)
    return opened_at, key_of_signal(first)


def matters_told(snapshot: Snapshot) -> list[Matter]:
    """Those of `matters` that are open, closed within the last half year or have a line in the book, in their order;
    some of those that closed before stand among them.
    """
    if snapshot.once(signals) is None:
        return []
    found = snapshot.once(reached.still_told)
    return _recorded(snapshot, found.opened, found) + _recorded(snapshot, found.closed, found)


def matters_of(snapshot: Snapshot, keys: frozenset[str]) -> list[Matter]:
    """Those of `matters` that hold a signal with one of these keys and are open or were over not long ago, in their
    order; some others may stand among them.
    """
    if not keys or snapshot.once(signals) is None:
        return []
    found = reached.of_keys(snapshot, keys)
    return _recorded(snapshot, found.opened, found) + _recorded(snapshot, found.closed, found)


def open_matters(snapshot: Snapshot) -> list[Matter]:
    """Matters with an open signal, or whose cause lasts, by opening. Signals of such a cause that closed before are
    looked for in `matters_of` only.
    """
    return _of_groups(snapshot, ended=False)


def ended_matters(snapshot: Snapshot) -> list[Matter]:
    """Matters whose cause has ended though a signal is open still, and those whose signals have all closed of late, by
    opening.
    """
    return _of_groups(snapshot, ended=True)


def closed_matters(snapshot: Snapshot) -> list[Matter]:
    """Matters whose signals have all closed, by opening."""
    if snapshot.once(signals) is None:
        return []
    every = snapshot.once(reached.all_ever)
    return _recorded(snapshot, every.closed, every)


def _of_groups(snapshot: Snapshot, *, ended: bool) -> list[Matter]:
    """Of what is open or was over of late alone."""
    if snapshot.once(signals) is None:
        return []
    some = [one for one in snapshot.once(open_groups) if not one.ended]
    if ended:
        some = [one for one in snapshot.once(open_groups) if one.ended and not any(goes_on(one, it) for it in some)]
    groups = merged(some, snapshot.once(every_signal))
    home = snapshot.once(reached.still_told) if snapshot.once(_some_before) else None
    return _recorded(snapshot, groups, home)


def _recorded(snapshot: Snapshot, groups: list[Group], home: Reached | None) -> list[Matter]:
    """home : says whose a line of the book is; None: of the matter of the signal that it hangs on."""
    judged, every = snapshot.once(signals), snapshot.once(every_signal)
    assert judged is not None
    found = []
    for group in groups:
        one = held_of(group, every)
        lines = lines_of_signals(snapshot, one.signals)
        if home is not None and not snapshot.once(entries_for).is_empty():
            lines = home.lines(one, lines)
        found.append(told(snapshot, judged, one.signals, one.parts, lines, lasts=group.lasts, ended=group.ended))
    return sorted(found, key=lambda one: (one.opened_at, one.key))


def _some_before(snapshot: Snapshot) -> bool:
    """Does a line hang on a signal of what is open, or was over not long ago, that began after it was written?"""
    every = snapshot.once(every_signal)
    held = [held_of(one, every) for one in merged(snapshot.once(open_groups), every)]
    return any(len(before_it(one, lines_of_signals(snapshot, one.signals))) for one in held)
