"""What an explanation hangs on, as one key: the same key, the same answer to the last digit.

In it go the code that works it out, the shop's own words, the dated changes and the air up to the end of the span, when
each signal opened, began and closed, and of every reading in the span of that bench all that the evidence may ask: its
value and limits, who, what and when, and what was done to its instrument in its first passes. Row numbers do not: they
move with whatever else is loaded.
"""

import os
from collections.abc import Iterable
from dataclasses import astuple
from datetime import date, datetime, timedelta
from hashlib import blake2b
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from analysis.studies.drift.setters import deviations
from analysis.studies.drift.signals import Signals
from analysis.studies.matters.air import LAGS, STALE, rooms
from analysis.studies.matters.before_it import benches_before
from analysis.studies.matters.dated_changes import dated_changes
from analysis.studies.matters.set_with import set_with
from analysis.studies.matters.sheets_kept import sheets
from analysis.studies.matters.spans import Bench, Span, number
from analysis.studies.matters.units import Signal, side_of
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot, code_of
from ingest.terms import tables

Digits = npt.NDArray[np.uint64]
OF_READING = ("day", "set_on", "setup", "set_by", "lot", "supplier", "gauge", "position")
OF_VISIT = ("stage", "tech", "string_set", "rh", "temperature")
ODD, MORE = (
    np.uint64(0x9E3779B97F4A7C15),
    np.uint64(0xBF58476D1CE4E5B9),
)  # what keeps the bits of a sum apart (splitmix)
NONE = np.uint64(0x94D049BB133111EB)  # in place of what is not known


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
        times = [day(row[name]) for name in ("opened_at", "opened_last", "began_at", "began_low", "began_high")]
        times += [day(row[name]) for name in ("closed_at", "back_at")]
        names = [row.get(name) or "" for name in ("model", "tech", "gauge", "position")]
        told.update(repr((at, one.table, counts, times, side_of(row), names)).encode())
    told.update(_changes(snapshot, span))
    for part in _air(snapshot, span):
        told.update(part)
    for place in (here, *benches_before(snapshot, judged, here.characteristic, here.stage)):
        told.update(_readings(snapshot, judged, place)[place.within(span)].tobytes())
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


def _kept(_snapshot: Snapshot) -> dict[tuple[str, str], Digits]:
    """Of each bench, by characteristic and stage."""
    return {}


def _readings(snapshot: Snapshot, judged: Signals, here: Bench) -> Digits:
    """A number for all that is known of each reading of the bench (n,)."""
    kept = snapshot.once(_kept)
    key = (here.characteristic, here.stage)
    if key not in kept:
        held, era = judged.streams, judged.streams.last_era
        mine = held.readings.stream[here.at]
        least = snapshot.shop.judging.least_readings
        first_judged = held.eras.starts[era] + np.minimum(held.eras.judged_from[era], least)
        parts = [snapshot.once(_rows)[held.readings.row[here.at]]]
        numbers = (held.values[here.at], held.eras.centre[era][mine], deviations(held)[1][era][mine])
        parts += [each.astype(np.float64).view(np.uint64) for each in numbers]
        parts.append((here.at >= first_judged[mine]).astype(np.uint64))
        item = snapshot.shop.by_characteristic.get(here.characteristic)
        if item is not None and item.set_stages and here.stage not in item.set_stages:
            told = held.readings.at(here.at, "serial", "taken_at")
            parts.append(_digits(set_with(snapshot, here.characteristic, item.set_stages, told)))
        kept[key] = _mixed(parts)
    return kept[key]


def _rows(snapshot: Snapshot) -> Digits:
    """For each of the story's readings a number for what it says itself, and for its instrument (r,)."""
    told = snapshot.once(story).readings
    visit = told["visit"].fill_null(-1).to_numpy()
    of_visit = (snapshot.once(_instruments), _digits(snapshot.once(sheets)))
    found = _mixed(np.append(each, NONE)[visit] for each in of_visit)
    return _mixed([found, *(_digits(told[name]) for name in (*OF_READING, "taken_at"))])


def _instruments(snapshot: Snapshot) -> Digits:
    """For each visit a number of its instrument: its serial, and its first passes in their order (v,)."""
    visits = snapshot.once(story).visits
    which = visits["serial"].rle_id().to_numpy().astype(np.int64)
    starts = np.flatnonzero(np.diff(which, prepend=-1))
    names = [_of_word(each) for each in visits["serial"].gather(starts)]
    first = np.flatnonzero(visits["first_pass"].to_numpy())
    place = np.arange(len(first)) - np.searchsorted(which[first], which[first])
    parts = [_digits(visits[name].gather(first)) for name in OF_VISIT]
    each = np.zeros(len(which), dtype=np.uint64)
    each[first] = _stirred(_mixed([*parts, place.astype(np.uint64)]))
    whole = np.add.reduceat(each, starts) if len(starts) else each
    return np.asarray(_mixed([np.array(names, dtype=np.uint64), whole])[which])


def _digits(column: pl.Series) -> Digits:
    """A number for what each row says, whatever number stands for it in memory."""
    if column.dtype in (pl.String(), pl.Categorical()):
        words = tables.coded(column)
        code = words.to_physical().fill_null(2**32 - 1).to_numpy().astype(np.uint32).view(np.int32)  # -1: null
        place = np.full(int(code.max(initial=-1)) + 2, -1)  # of each word where some row says it
        place[code] = np.arange(len(code))
        place[-1] = -1
        some = np.flatnonzero(place >= 0)
        table = np.full(len(place), NONE)
        table[some] = [_of_word(word) for word in words.gather(place[some]).cast(pl.String)]
        return np.asarray(table[code])
    plain = column.cast(pl.Float64) if column.dtype.is_float() else column.to_physical().cast(pl.Int64)
    if not column.null_count():
        return np.asarray(plain.to_numpy().view(np.uint64))
    return np.where(column.is_not_null().to_numpy(), plain.fill_null(0).to_numpy().view(np.uint64), NONE)


def _of_word(word: str) -> int:
    return int.from_bytes(blake2b(word.encode(), digest_size=8).digest(), "little")


def _mixed(parts: Iterable[Digits]) -> Digits:
    """One number for several, in their order."""
    found = np.zeros(1, dtype=np.uint64)
    for part in parts:
        found = _stirred(found * ODD + part)
    return found


def _stirred(found: Digits) -> Digits:
    found = (found ^ (found >> np.uint64(30))) * MORE
    return np.asarray(found ^ (found >> np.uint64(27)))
