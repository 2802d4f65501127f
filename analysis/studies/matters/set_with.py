"""With which gauge a reading that is taken later was set: one that reads too high sets too low, and what is read of it
at its own bench looks as ever.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.segments import Ints
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

AT = tables.TAKEN_AT
PLACES = 2**32  # more than there are readings


def set_with(snapshot: Snapshot, characteristic: str, set_at: tuple[str, ...], read: pl.DataFrame) -> pl.Series:
    """For each reading (serial, taken_at) the gauge named in the last visit before it at which its characteristic was
    set, categories; '' where none is. Where two were read of one instrument at one moment, that of the later row.
    """
    kept = snapshot.once(_kept)
    if (characteristic, set_at) not in kept:
        kept[characteristic, set_at] = _set(snapshot, characteristic, set_at)
    known = kept[characteristic, set_at]
    if not len(known.gauge):
        return pl.Series("set_with", [""], dtype=pl.Categorical).new_from_index(0, len(read))
    serial = _codes(read["serial"])
    asked = serial * PLACES + np.searchsorted(known.times, _times(read[AT]))
    at = np.searchsorted(known.key, asked) - 1
    found = (at >= 0) & (known.key[at] // PLACES == serial)
    return known.gauge.gather(pl.Series(np.where(found, at, len(known.gauge) - 1))).rename("set_with")


@dataclass(frozen=True, eq=False)
class _Set:
    """Readings at which a characteristic was set with a gauge that is named, by instrument and time."""

    times: Ints  # (t,) microseconds, each once, rising
    key: Ints  # (n,) the number of the instrument, then the place of its time, rising
    gauge: pl.Series  # (n + 1,) categories, and '' at last


def _kept(_snapshot: Snapshot) -> dict[tuple[str, tuple[str, ...]], _Set]:
    """By characteristic and the stages at which it is set."""
    return {}


def _set(snapshot: Snapshot, characteristic: str, set_at: tuple[str, ...]) -> _Set:
    told = snapshot.once(story).readings
    which = told.numbers("characteristic").say([characteristic]) & told.numbers("stage").say(set_at)
    rows = np.flatnonzero(which & told.numbers("gauge").told())
    if not len(rows):
        return _Set(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), pl.Series([], dtype=pl.Categorical))
    some = told.at(rows, "serial", AT, "gauge")
    some = some.filter((pl.col("serial") != "") & pl.col(AT).is_not_null())
    times, place = np.unique(_times(some[AT]), return_inverse=True)
    key = _codes(some["serial"]) * PLACES + place
    order = np.argsort(key, kind="stable")
    gauge = tables.coded(some["gauge"].gather(order))
    return _Set(times, key[order], pl.concat([gauge, pl.Series([""], dtype=pl.Categorical)]))


def _codes(serial: pl.Series) -> Ints:
    """A number for each instrument, the same wherever it is read; -1: none."""
    return tables.coded(serial).to_physical().cast(pl.Int64).fill_null(-1).to_numpy()


def _times(column: pl.Series) -> Ints:
    """Microseconds; null: before all."""
    return column.dt.epoch("us").fill_null(np.iinfo(np.int64).min).to_numpy()
