"""What closed: signals that were open at one time at one bench are explained together, as of the last closing.

What explains them is asked for a chain at a time, so that whoever looks at one matter need not work out all that ever
closed. The days of the readings of a chain tell between which days whatever explains it may have begun.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime

from analysis.studies.drift.opened import PERSON
from analysis.studies.drift.signals import Signals
from analysis.studies.matters.accounts import Looked, parts_of
from analysis.studies.matters.groups import Group
from analysis.studies.matters.parts import Part
from analysis.studies.matters.settled import settled
from analysis.studies.matters.share_matters import of_shares, share_groups
from analysis.studies.matters.spans import Bench, Span, bench, span_of, together
from analysis.studies.matters.units import Signal, by_unit, every_signal
from ingest.store.snapshot import Snapshot

OPEN = {"closed_at": None, "closed_by": "", "back_at": None}  # as a signal stood before a person closed it


@dataclass(eq=False)
class Chain:
    """Signals of one bench that were open at one time, one after another; or those of one deed; or a weekly share."""

    signals: list[Signal]
    here: Bench | None = None
    span: Span | None = None  # None: nothing explains them
    deed: bool = False
    made: list[Group] | None = field(default=None, repr=False)

    @property
    def over(self) -> datetime:
        """When the last of them closed."""
        last: datetime = max(one.row["closed_at"] for one in self.signals)
        return last

    def groups(self, snapshot: Snapshot, judged: Signals) -> list[Group]:
        """What explains them, worked out where nobody has asked yet."""
        if self.made is None:
            self.made = self._deed(snapshot, judged) if self.deed else self._groups(snapshot, judged)
        return self.made

    def _groups(self, snapshot: Snapshot, judged: Signals) -> list[Group]:
        found = None
        if self.here is not None and self.span is not None:
            here, until = self.here, self.over
            looked = Looked(here.characteristic, here.stage, self.signals, self.span, until=until)
            found = parts_of(snapshot, judged, here, looked)
        if found is None and of_shares(self.signals):
            return [Group({one.number for one in self.signals}, [])]
        if found is None:
            return [Group({one.number}, []) for one in self.signals]
        return [Group({self.signals[k].number for k in one.signals}, [one]) for one in found]

    def _deed(self, snapshot: Snapshot, judged: Signals) -> list[Group]:
        """What a person closed in one deed is one group, whatever else closed about then."""
        parts: list[Part] = []
        for (characteristic, stage), part in by_unit(self.signals).items():
            here, until = bench(snapshot, judged, characteristic, stage), max(one.row["closed_at"] for one in part)
            if here is not None:
                as_then = [replace(one, row=one.row | OPEN) if one.row["closed_by"] == PERSON else one for one in part]
                span = span_of(snapshot, here, part, closed=True)
                looked = Looked(characteristic, stage, as_then, span, until=until)
                parts += parts_of(snapshot, judged, here, looked) or []
        return [Group({one.number for one in self.signals}, parts, settled=True)]


def chains(snapshot: Snapshot, judged: Signals, held: set[int]) -> list[Chain]:
    """Of all that closed and is in no group yet (held: the numbers of signals that are)."""
    every = snapshot.once(every_signal)
    deeds = [[every[number] for number in sorted(deed - held)] for deed in snapshot.once(settled)]
    found = [Chain(mine, deed=True) for mine in deeds if mine]
    held = held | {number for deed in snapshot.once(settled) for number in deed}
    closed = [one for one in every if one.number not in held]
    for (characteristic, stage), part in by_unit(closed).items():
        here = bench(snapshot, judged, characteristic, stage)
        for chain in _overlapping(part):
            found.append(Chain(chain, here, None if here is None else _span(snapshot, here, chain)))
    over = [one for one in closed if one.unit is None and one.row["closed_at"] is not None]
    return found + [Chain(some) for some in share_groups(over)] + [Chain([one]) for one in over if not of_shares([one])]


def _span(snapshot: Snapshot, here: Bench, chain: list[Signal]) -> Span:
    """The span of what closed: chains are made more than once, and most of them are the same."""
    kept = snapshot.once(_spans)
    key = (here.characteristic, here.stage, *(one.number for one in chain))
    if key not in kept:
        kept[key] = span_of(snapshot, here, chain, closed=True)
    return kept[key]


def _spans(_snapshot: Snapshot) -> dict[tuple[object, ...], Span]:
    """By bench, and the numbers of the signals."""
    return {}


def over_since(snapshot: Snapshot, judged: Signals, held: set[int], since: datetime) -> list[Group]:
    """Groups of what closed, is in none yet and was over no longer ago than that."""
    every, found = snapshot.once(every_signal), list[Group]()
    for chain in chains(snapshot, judged, held):
        if chain.over >= since:
            for one in chain.groups(snapshot, judged):
                if one.settled or max(every[k].row["closed_at"] for k in one.signals) >= since:
                    found.append(one)
    return found


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
