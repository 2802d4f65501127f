"""What an explanation hangs on, as one key: the same key, the same answer to the last digit.

In it go the code that works it out, the shop's own words, the dated changes and the air up to the end of the span, when
each signal opened, began and closed, and of every reading in the span of that bench all that the evidence may ask: its
value and limits, who, what and when, and what was done to its instrument in its first passes. Row numbers do not: they
move with whatever else is loaded.
"""

import os
from dataclasses import astuple, dataclass
from datetime import date, datetime, timedelta
from hashlib import blake2b
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np

from analysis.methods.segments import Ints, dense
from analysis.studies.drift.signals import Signals
from analysis.studies.matters.air import LAGS, STALE, rooms
from analysis.studies.matters.before_it import benches_before
from analysis.studies.matters.dated_changes import dated_changes
from analysis.studies.matters.set_with import set_with
from analysis.studies.matters.sheet_kinds import kinds
from analysis.studies.matters.sheets_kept import sheets
from analysis.studies.matters.spans import Bench, Span, number
from analysis.studies.matters.units import Signal, side_of
from analysis.studies.story.marks import MARK, MARKS
from analysis.studies.story.numbered import NONE, Digits, digits, mixed
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot, code_of
from ingest.terms.tables import one_key


def key_of(snapshot: Snapshot, judged: Signals, here: Bench, span: Span, asked: list[tuple[Signal, bool]]) -> str:
    """The key of what explains some signals of a bench over a span; with each signal whether it counts as open."""
    zone = snapshot.shop.zone

    def day(when: Any) -> str:
        return when.astimezone(zone).date().isoformat() if isinstance(when, datetime) else ""

    told = blake2b(digest_size=20)
    told.update(repr((snapshot.once(_shop), here.characteristic, here.stage, astuple(span))).encode())
    numbers = sorted(one.number for one, _ in asked)
    for one, counts in asked:
        row, at = one.row, numbers.index(one.number)
        late = one.lately
        times = [day(row[name]) for name in ("opened_at", "opened_last", "closed_at", "back_at")]
        times += [day(when) for when in (late.opened, late.began, late.low, late.high, *chain(*late.before))]
        names = [row.get(name) or "" for name in ("model", "tech", "gauge", "position")]
        told.update(repr((at, one.table, counts, times, side_of(row), names)).encode())
    told.update(_of_times(snapshot, span))
    for place in (here, *benches_before(snapshot, judged, here.characteristic, here.stage)):
        read = _readings(snapshot, judged, place, span)
        told.update(f"{place.stage} {len(read)}".encode() + read.tobytes())
    return told.hexdigest()


def _shop(snapshot: Snapshot) -> str:
    """The code that works an answer out, and what it is built on; and the shop's own words."""
    code = code_of(Path(__file__).parents[2], built_on=("numpy", "scipy", "polars"))
    shop = blake2b(repr(snapshot.shop).encode(), digest_size=16).hexdigest()
    return repr((code, os.environ.get("OPENBLAS_NUM_THREADS"), shop))


def _of_times(snapshot: Snapshot, span: Span) -> bytes:
    """A number for the dated changes and the air of a span: many are of the same times."""
    kept, times = snapshot.once(_known), (span.first, span.last)
    if times not in kept:
        told = blake2b(_changes(snapshot, span), digest_size=20)
        for part in _air(snapshot, span):
            told.update(part)
        kept[times] = told.digest()
    return kept[times]


def _known(_snapshot: Snapshot) -> dict[tuple[date | None, date | None], bytes]:
    """By first and last day."""
    return {}


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


@dataclass(frozen=True, eq=False)
class _Numbers:
    """A number for each reading of a bench, and sums by which those of a span are told without a look at each."""

    each: Digits  # (n,)
    so_far: Digits  # (n + 1,) of each reading together with the one before it, those of all before

    @classmethod
    def of(cls, each: Digits) -> "_Numbers":
        """Of numbers of readings, stream after stream."""
        pairs = mixed([each[:-1], each[1:]])
        return cls(each, np.concatenate([np.zeros(2, dtype=np.uint64), np.cumsum(pairs)]))

    def told(self, first: Ints, end: Ints) -> Digits:
        """One for each piece of a stream, its readings in their order (k,)."""
        return mixed([self.each[first], self.so_far[end] - self.so_far[first + 1]])


def _readings(snapshot: Snapshot, judged: Signals, here: Bench, span: Span) -> Digits:
    """A number for all that is known of the readings of each stream of a bench in a span (k,)."""
    kept, key = snapshot.once(_kept), (here.characteristic, here.stage)
    if key not in kept:
        kept[key] = _Numbers.of(_of_readings(snapshot, judged, here))
    return kept[key].told(*here.pieces(span))


def _kept(_snapshot: Snapshot) -> dict[tuple[str, str], _Numbers]:
    """Of each bench, by characteristic and stage."""
    return {}


def _of_readings(snapshot: Snapshot, judged: Signals, here: Bench) -> Digits:
    """A number for all that is known of each reading of a bench (n,)."""
    held, era, at = judged.streams, judged.streams.last_era, here.at
    least = snapshot.shop.judging.least_readings
    first_judged = held.eras.starts[era] + np.minimum(held.eras.judged_from[era], least)
    of_stream = [each[era].view(np.uint64) for each in (held.eras.centre, judged.sigma)]
    by_stream = np.concatenate([mixed([*of_stream, np.full(1, after, dtype=np.uint64)]) for after in (0, 1)])
    mine, row = held.readings.stream[at], held.readings.row[at]
    parts = [
        snapshot.once(story).rest[MARKS][MARK].to_numpy()[row].view(np.uint64),
        held.values[at].view(np.uint64),
        by_stream[mine + len(era) * (at >= first_judged[mine])],
    ]
    of_sheets = snapshot.once(_of_sheets)
    if of_sheets is not None:
        parts.append(np.take(of_sheets, held.readings.source.numbers("visit").numbers[row], mode="clip"))  # or none
    item = snapshot.shop.by_characteristic.get(here.characteristic)
    if item is not None and item.set_stages and here.stage not in item.set_stages:
        read = held.readings.source.at(row, "serial", "taken_at")
        parts.append(digits(set_with(snapshot, here.characteristic, item.set_stages, read)))
    return mixed(parts)


def _of_sheets(snapshot: Snapshot) -> Digits | None:
    """A number for the sheet of each visit, and its kind, the last for none (v + 1,); None where no sheet tells
    anything.
    """
    told = [snapshot.once(work) for work in (sheets, kinds)]
    if all((each == "").all() for each in told):
        return None
    codes = [each.to_physical().to_numpy().astype(np.int64) for each in told]
    alike = dense(one_key(*codes))  # a few of many visits
    return np.append(mixed(digits(each.gather(alike.first)) for each in told)[alike.code], NONE)
