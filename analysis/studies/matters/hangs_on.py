"""What an explanation hangs on, as one key: the same key, the same answer to the last digit.

In it go the code that works it out, the shop's own words, the dated changes and the air up to the end of the span, when
each signal opened, began and closed, and of every reading in the span of that bench all that the evidence may ask: its
value and limits, who, what and when, and what was done to its instrument in its first passes. Row numbers do not: they
move with whatever else is loaded.
"""

import os
from collections.abc import Callable
from dataclasses import astuple, dataclass
from datetime import date, datetime, timedelta
from hashlib import blake2b
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints, spans
from analysis.studies.drift.setters import deviations
from analysis.studies.drift.signals import Signals
from analysis.studies.matters.air import LAGS, STALE, rooms
from analysis.studies.matters.before_it import benches_before
from analysis.studies.matters.dated_changes import dated_changes
from analysis.studies.matters.numbered import NONE, Digits, Said, digits, mixed, of_word, stirred
from analysis.studies.matters.set_with import set_with
from analysis.studies.matters.sheet_kinds import kinds
from analysis.studies.matters.sheets_kept import sheets
from analysis.studies.matters.spans import Bench, Span, number
from analysis.studies.matters.units import Signal, side_of
from analysis.studies.story.columns import Columns
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot, code_of

OF_READING = ("day", "set_on", "setup", "set_by", "lot", "supplier", "gauge", "unit", "position")
OF_SHEET = ("sheet", "kind")
OF_VISIT = ("stage", "tech", "string_set", "rh", "temperature")


def key_of(snapshot: Snapshot, judged: Signals, here: Bench, span: Span, asked: list[tuple[Signal, bool]]) -> str:
    """The key of what explains some signals of a bench over a span; with each signal whether it counts as open."""
    zone = snapshot.shop.zone

    def day(when: Any) -> str:
        return when.astimezone(zone).date().isoformat() if isinstance(when, datetime) else ""

    told = blake2b(digest_size=20)
    told.update(repr((_code(), snapshot.once(_shop), here.characteristic, here.stage, astuple(span))).encode())
    numbers = sorted(one.number for one, _ in asked)
    for one, counts in asked:
        row, at = one.row, numbers.index(one.number)
        late = one.lately
        times = [day(row[name]) for name in ("opened_at", "opened_last", "closed_at", "back_at")]
        times += [day(when) for when in (late.opened, late.began, late.low, late.high, *chain(*late.before))]
        names = [row.get(name) or "" for name in ("model", "tech", "gauge", "position")]
        told.update(repr((at, one.table, counts, times, side_of(row), names)).encode())
    told.update(_changes(snapshot, span))
    for part in _air(snapshot, span):
        told.update(part)
    for place in (here, *benches_before(snapshot, judged, here.characteristic, here.stage)):
        told.update(_readings(snapshot, judged, place, place.within(span)).tobytes())
    return told.hexdigest()


def _code() -> str:
    """The code that works an answer out, and what it is built on."""
    code = code_of(Path(__file__).parents[2], built_on=("numpy", "scipy", "polars"))
    return repr((code, os.environ.get("OPENBLAS_NUM_THREADS")))


def _shop(snapshot: Snapshot) -> str:
    return blake2b(repr(snapshot.shop).encode(), digest_size=16).hexdigest()


def _changes(snapshot: Snapshot, span: Span) -> bytes:
    """Dated changes up to the end of the span: one from later on touches no reading in it."""
    last = snapshot.as_of.astimezone(snapshot.shop.zone).date()
    known = snapshot.once(_dated)
    return repr([row for day, row in known if day <= min(last, span.last or last)]).encode()


def _dated(snapshot: Snapshot) -> list[tuple[date, tuple[object, ...]]]:
    """Dated changes by their first day."""
    known = snapshot.once(dated_changes)
    return list(zip(known["from_date"], known.rows(), strict=True))


def _air(snapshot: Snapshot, span: Span) -> list[bytes]:
    """The air of the span, and so long before as it may be looked back."""
    found = []
    for name, room in sorted(snapshot.once(rooms).items()):
        if room is None:
            found.append(name.encode())
            continue
        far = timedelta(hours=max(LAGS), microseconds=max(STALE, 2 * room.gap), days=1)
        first, end = _moment(span.first, -far), _moment(span.last, timedelta(days=2))
        part = slice(
            0 if first is None else int(np.searchsorted(room.at, first)),
            len(room.at) if end is None else int(np.searchsorted(room.at, end)),
        )
        found += [f"{name} {room.gap}".encode(), room.at[part].tobytes(), room.value[part].tobytes()]
    return found


def _moment(day: date | None, more: timedelta) -> int | None:
    """Microseconds since 1970 of midnight and so much more."""
    return None if day is None else (timedelta(days=number(day)) + more) // timedelta(microseconds=1)


@dataclass(eq=False)
class _Numbers:
    """A number for each row, as far as any was asked for."""

    each: Digits
    known: Flags

    @classmethod
    def none(cls, rows: int) -> "_Numbers":
        """Of none yet."""
        return cls(np.zeros(rows, dtype=np.uint64), np.zeros(rows, dtype=bool))

    def of(self, wanted: Flags, work_out: Callable[[Ints], Digits]) -> Digits:
        """Those of some rows; what is not known yet is worked out."""
        new = np.flatnonzero(wanted & ~self.known)
        if len(new):
            self.each[new] = work_out(new)
            self.known[new] = True
        return self.each[wanted]


def _kept(_snapshot: Snapshot) -> dict[tuple[str, str], _Numbers]:
    """Of each bench, by characteristic and stage."""
    return {}


def _readings(snapshot: Snapshot, judged: Signals, here: Bench, wanted: Flags) -> Digits:
    """A number for all that is known of some readings of the bench (n,)."""
    kept = snapshot.once(_kept).setdefault((here.characteristic, here.stage), _Numbers.none(len(here.at)))
    return kept.of(wanted, lambda new: _of_readings(snapshot, judged, here, here.at[new]))


def _of_readings(snapshot: Snapshot, judged: Signals, here: Bench, at: Ints) -> Digits:
    held, era = judged.streams, judged.streams.last_era
    mine = held.readings.stream[at]
    least = snapshot.shop.judging.least_readings
    first_judged = held.eras.starts[era] + np.minimum(held.eras.judged_from[era], least)
    of_readings, of_visits = snapshot.once(_said)
    row = held.readings.row[at]
    visit = held.readings.source["visit"].gather(row).cast(pl.Int64).fill_null(-1).to_numpy()
    parts = [snapshot.once(_instruments).of(visit)]
    parts += [of_visits.of(name, visit) for name in OF_SHEET]
    parts += [of_readings.of(name, row) for name in (*OF_READING, "taken_at")]
    numbers = (held.values[at], held.eras.centre[era][mine], deviations(held)[1][era][mine])
    parts += [each.astype(np.float64).view(np.uint64) for each in numbers]
    parts.append((at >= first_judged[mine]).astype(np.uint64))
    item = snapshot.shop.by_characteristic.get(here.characteristic)
    if item is not None and item.set_stages and here.stage not in item.set_stages:
        read = held.readings.source.at(row, "serial", "taken_at")
        parts.append(digits(set_with(snapshot, here.characteristic, item.set_stages, read)))
    return mixed(parts)


def _said(snapshot: Snapshot) -> tuple[Said, Said]:
    """What readings and visits of the story say."""
    told = snapshot.once(story)
    beside = {"sheet": sheets, "kind": kinds}
    by_visit = {name: lambda work=work: snapshot.once(work) for name, work in beside.items()}
    return Said(told.readings.__getitem__), Said(
        lambda name: by_visit[name]() if name in by_visit else told.visits[name]
    )


def let_go(snapshot: Snapshot) -> None:
    """Let go of the columns behind keys; the numbers of readings stay."""
    for said in snapshot.once(_said):
        said.held.clear()


@dataclass(eq=False)
class _Instruments:
    """A number for each instrument: its serial, and its first passes in their order."""

    said: Said
    serials: pl.Series  # (i,)
    first_pass: Flags  # (v,)
    which: Ints  # (v,) the instrument of each visit
    starts: Ints  # (i,) its first one
    numbers: _Numbers  # (i,)

    @classmethod
    def all_of(cls, visits: Columns, said: Said) -> "_Instruments":
        """Of all visits and what they say; instruments follow one another."""
        which = visits["serial"].rle_id().to_numpy().astype(np.int64)
        starts = np.flatnonzero(np.diff(which, prepend=-1))
        serials = visits["serial"].gather(starts)
        return cls(said, serials, visits["first_pass"].to_numpy(), which, starts, _Numbers.none(len(starts)))

    def of(self, visit: Ints) -> Digits:
        """Of the instrument of each of some visits; -1: none (n,)."""
        known = visit >= 0
        found = np.full(len(visit), NONE)
        mine = self.which[visit[known]]
        wanted = np.zeros(len(self.starts), dtype=bool)
        wanted[mine] = True
        self.numbers.of(wanted, self._work_out)
        found[known] = self.numbers.each[mine]
        return found

    def _work_out(self, new: Ints) -> Digits:
        ends = np.append(self.starts[1:], len(self.which))[new]
        rows = spans(self.starts[new], ends)
        first = rows[self.first_pass[rows]]
        mine = np.searchsorted(new, self.which[first])  # rising
        place = np.arange(len(first)) - np.searchsorted(mine, mine)
        each = stirred(mixed([*(self.said.of(name, first) for name in OF_VISIT), place.astype(np.uint64)]))
        whole = np.zeros(len(new) + 1, dtype=np.uint64)
        np.add.at(whole, mine, each)
        names = [of_word(word) for word in self.serials.gather(new).cast(pl.String)]
        return mixed([np.array(names, dtype=np.uint64), whole[:-1]])


def _instruments(snapshot: Snapshot) -> _Instruments:
    return _Instruments.all_of(snapshot.once(story).visits, snapshot.once(_said)[1])
