"""What of all that ever closed must be known to tell some matters: as if everything had been worked out, at the cost of
what can still belong to them.

Whoever asks about what is open, or was over not long ago, need not know what explains a signal of years ago. What
closed can belong to a matter only by one that belongs to it already: its start lies within two weeks of that one's, or
it is of the same bench and neither began more than two weeks after the other was over (`groups`). So matters are
followed from time to time: of each that belongs is asked who might, by the days of its readings, and only these are
explained. Lines of the book lead further: one may have been written about a matter that was there at that time, and is
told with it (`whose_lines`).
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property

import polars as pl

from analysis.studies.drift.entries import entries_for
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.drift.streams import STREAM
from analysis.studies.matters.groups import JUST_OVER, Group, alike, joined, merged, over, timed
from analysis.studies.matters.one_move import SAME_CAUSE
from analysis.studies.matters.open_ones import open_groups
from analysis.studies.matters.past import Chain, chains
from analysis.studies.matters.telling import key_of_signal
from analysis.studies.matters.units import Signal, every_signal
from analysis.studies.matters.whose_lines import Held, about, before_it, lines_of_signals, moved
from ingest.store.snapshot import Snapshot

KEPT = timedelta(weeks=26)  # a closed matter nobody wrote about is told so long


@dataclass(eq=False)
class Reached:
    """Matters as groups (`groups.merged`), each whole, and the lines of the book that each has of another."""

    snapshot: Snapshot
    every: list[Signal]
    opened: list[Group]
    closed: list[Group]

    @cached_property
    def held(self) -> list[Held]:
        """All of them as far as they must be known to say whose a line is."""
        return [held_of(one, self.every) for one in (*self.opened, *self.closed)]

    @cached_property
    def moved(self) -> dict[int, int]:
        """Of lines that were written about another the number of that one among `held`, by the line's."""
        return moved(self.snapshot, self.held)

    def lines(self, one: Held, mine: pl.DataFrame) -> pl.DataFrame:
        """The lines about a matter, or a part of one: of its signals, but for those written about another."""
        own = {each.number for each in one.signals}
        has = {line: bool(own & {each.number for each in self.held[k].signals}) for line, k in self.moved.items()}
        kept = mine.filter(~pl.col("sequence").is_in([line for line, given in has.items() if not given]))
        given = pl.col("sequence").is_in([line for line, given in has.items() if given])
        more = self.snapshot.once(entries_for).filter(given & ~pl.col("sequence").is_in(kept["sequence"].implode()))
        return pl.concat([kept, more]).sort("sequence")


def held_of(group: Group, every: list[Signal]) -> Held:
    """A matter's signals by opening, and its parts, the most telling first."""
    telling = sorted(group.parts, key=lambda part: (not part.named, -part.telling))
    return Held([every[k] for k in sorted(group.signals)], telling)


def all_ever(snapshot: Snapshot) -> Reached:
    """Every matter of the shop."""
    judged = snapshot.once(signals)
    assert judged is not None
    found = _Found(snapshot, judged)
    found.begin(snapshot.once(open_groups))
    found.take(snapshot.once(_past))
    return found.reached()


def still_told(snapshot: Snapshot) -> Reached:
    """What is open, what closed within the last half year, and whatever a line of the book hangs on."""
    written = {number for number, _ in snapshot.once(_written)}
    since = snapshot.as_of - KEPT
    return _some(snapshot, lambda chain: chain.over >= since or _any_of(chain, written))


def of_keys(snapshot: Snapshot, keys: frozenset[str]) -> Reached:
    """What is open, or was over not long ago, and holds a signal with one of these keys (`telling.key_of_signal`), with
    what closed of the same cause before.
    """
    every, still = snapshot.once(every_signal), snapshot.once(open_groups)
    asked: list[Group] = []
    for ended in (False, True):  # as they are told by themselves
        for one in merged([each for each in still if each.ended == ended], every):
            if any(key_of_signal(every[k]) in keys for k in one.signals):
                asked += [each for each in still if each.signals <= one.signals]
    return _some(snapshot, lambda _chain: False, asked)


def _past(snapshot: Snapshot) -> list[Chain]:
    judged = snapshot.once(signals)
    assert judged is not None
    return chains(snapshot, judged, {number for group in snapshot.once(open_groups) for number in group.signals})


def _written(snapshot: Snapshot) -> list[tuple[int, datetime]]:
    """Signals that a line of the book hangs on, and the last moment that it is about."""
    lines = snapshot.once(entries_for).filter(~pl.col("gone")).with_columns(about=about())
    if lines.is_empty():
        return []
    of_row: dict[int, list[datetime]] = {}
    of_key: dict[tuple[object, ...], list[datetime]] = {}
    for line in lines.iter_rows(named=True):
        of_row.setdefault(line["signal"], []).append(line["about"])
        of_key.setdefault((*(line[name] for name in (*STREAM, "chart", "now_opened_at")),), []).append(line["about"])
    found = []
    for one in snapshot.once(every_signal):
        key = tuple(one.row[name] for name in (*STREAM, "chart", "opened_at"))
        mine = of_row.get(one.row_number, []) if one.table == "found" else of_key.get(key, [])
        found += [(one.number, when) for when in mine]
    return found


def _any_of(chain: Chain, numbers: set[int]) -> bool:
    return any(one.number in numbers for one in chain.signals)


def _some(snapshot: Snapshot, wanted: Callable[[Chain], bool], asked: list[Group] | None = None) -> Reached:
    """The chains wanted, what is open, and all that these lead to. asked : these alone of what is open; of the lines of
    the book too those about these are looked for alone.
    """
    judged = snapshot.once(signals)
    assert judged is not None
    found, past = _Found(snapshot, judged), snapshot.once(_past)
    found.begin(snapshot.once(open_groups) if asked is None else asked)
    found.take(chain for chain in past if wanted(chain))
    while True:
        found.follow(past)
        reached = found.reached()
        if snapshot.once(entries_for).is_empty():
            return reached
        times = [when for one in reached.held for when in _before(snapshot, one)]
        more = [chain for chain in past if any(_about_then(chain, when) for when in times)]
        open_too = snapshot.once(open_groups) if times else []
        if asked is not None:
            given = _givers(snapshot, reached, asked)
            more += [chain for chain in past if _any_of(chain, given)]
            open_too = open_too or [group for group in snapshot.once(open_groups) if group.signals & given]
        if not found.begin(open_too) and all(id(chain) in found.taken for chain in more):
            return reached
        found.take(more)


def _before(snapshot: Snapshot, one: Held) -> Iterable[datetime]:
    """The times that lines are about which were written about another, before it began."""
    if one.began is None:
        return []
    return before_it(one, lines_of_signals(snapshot, one.signals)).select(about=about())["about"]


def _about_then(chain: Chain, when: datetime) -> bool:
    """May it be, or belong to, what was there at that time?"""
    if chain.deed:
        return chain.over >= when
    return chain.over >= when - JUST_OVER and _first(chain) <= when.date() + timedelta(days=1)


def _givers(snapshot: Snapshot, reached: Reached, asked: list[Group]) -> set[int]:
    """Signals with a line that may have been written about one of the matters of some groups."""
    still = {number for group in asked for number in group.signals}
    began = [
        one.parts[0].measured.began_low
        for one in reached.held
        if one.parts and any(each.number in still for each in one.signals)
    ]
    return {number for number, when in snapshot.once(_written) if began and when >= min(began)}


def _first(chain: Chain) -> date:
    """The first day on which anything that explains it may have begun; without any it is none."""
    if chain.span is None:
        return date.max
    return chain.span.first or date.min


class _Found:
    """Groups as they are found to belong."""

    def __init__(self, snapshot: Snapshot, judged: Signals) -> None:
        self.snapshot, self.judged, self.every = snapshot, judged, snapshot.once(every_signal)
        self.still: list[Group] = []  # of what is open, or was over not long ago
        self.closed: list[Group] = []
        self.taken: set[int] = set()  # chains of which every group was asked for
        self._known: set[int] = set()
        self._asked: list[Group] = []  # of which is to be asked who belongs to them

    def begin(self, some: Iterable[Group]) -> bool:
        """Some of what is open; was any of it not known yet?"""
        new = [one for one in some if id(one) not in self._known]
        for one in new:
            self._add(one, self.still)
        return bool(new)

    def take(self, some: Iterable[Chain]) -> None:
        """All groups of some chains."""
        for chain in some:
            if id(chain) not in self.taken:
                self.taken.add(id(chain))
                for one in chain.groups(self.snapshot, self.judged):
                    self._add(one, self.closed)
        self._write()

    def follow(self, past: list[Chain]) -> None:
        """Whatever may be one matter with what is known, and with that in turn."""
        while self._asked:
            group = self._asked.pop()
            self.begin(one for one in self.snapshot.once(open_groups) if self._alike(one, group))
            for chain in past:
                if self._may_touch(chain, group):
                    for one in chain.groups(self.snapshot, self.judged):
                        if self._alike(one, group):
                            self._add(one, self.closed)
        self._write()

    def reached(self) -> Reached:
        """Matters of all that was found."""
        still = [one for one in self.snapshot.once(open_groups) if id(one) in self._known]  # in their order
        opened, left = joined([one for one in still if not one.ended], self.closed, self.every)
        closed = [one for one in still if one.ended] + left
        return Reached(self.snapshot, self.every, merged(opened, self.every), merged(closed, self.every))

    def _alike(self, one: Group, group: Group) -> bool:
        return id(one) not in self._known and alike(timed(one, self.every), group, self.every)

    def _add(self, one: Group, place: list[Group]) -> None:
        if id(one) not in self._known:
            self._known.add(id(one))
            place.append(one)
            self._asked.append(timed(one, self.every))

    def _may_touch(self, chain: Chain, group: Group) -> bool:
        """May anything that explains a chain be one matter with a group, by the days between which it may begin?"""
        if chain.span is None or chain.here is None or not group.parts or group.settled:
            return False
        mine, first, last = group.parts[0], _first(chain), chain.span.last or date.max
        same_word = mine.named or mine.characteristic == chain.here.characteristic
        if same_word and mine.started + SAME_CAUSE >= first and mine.started - SAME_CAUSE <= last:
            return True
        if not mine.named or (mine.characteristic, mine.stage) != (chain.here.characteristic, chain.here.stage):
            return False
        end = over(group, self.every)
        late = end is not None and first > (end + JUST_OVER).date() + timedelta(days=1)
        return not late and chain.over >= mine.measured.began_at - JUST_OVER

    def _write(self) -> None:
        if self.snapshot.worked_out is not None:
            self.snapshot.worked_out.write()
