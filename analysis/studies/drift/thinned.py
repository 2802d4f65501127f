"""Streams without the readings that nobody has to look at again: those of baselines and of what is new are left."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.methods.segments import Flags, Ints, lengths, places, spans
from analysis.studies.drift.readings import Readings
from analysis.studies.drift.streams import Streams
from analysis.studies.story.columns import Columns

ASKED = (
    "characteristic", "position", "setup", "stage", "set_by", "gauge", "taken_at", "day", "visit", "serial", "line",
)  # fmt: skip
"""Columns of the story's readings that charts ask for."""


@dataclass(frozen=True)
class Thinned:
    """Some readings of all streams, as streams of their own: numbers of streams and eras are what they were."""

    streams: Streams
    at: Ints  # (k,) the row in Streams.readings of each reading that is left, rising


def thinned(held: Streams, kept: Flags) -> Thinned:
    """Streams with some of their readings (n,), among them those of `baselines`."""
    at = np.flatnonzero(kept)
    place = np.cumsum(kept) - 1
    row = held.readings.row[at]
    told = np.zeros(len(held.readings.source), dtype=np.bool_)
    told[row] = True
    rows = np.flatnonzero(told)
    number = np.cumsum(told) - 1
    twin = held.readings.twin[at]
    twin = np.where(kept[twin], place[twin], np.arange(len(at))).astype(np.int32)
    readings = Readings(
        Columns.of(held.readings.source.at(rows, *ASKED)),
        number.astype(np.int32)[row],
        held.readings.stream[at],
        twin,
        held.readings.techs,
    )
    eras = replace(held.eras, starts=place[held.eras.starts], window=place[held.eras.window])
    some = replace(held, readings=readings, values=held.values[at], starts=place[held.starts], eras=eras)
    return Thinned(some, at)


def baselines(held: Streams) -> Flags:
    """The readings that limits hang on, and the first that is judged by them, of each era (n,)."""
    eras, n = held.eras, len(held.values)
    kept = places(held.starts, n) < np.repeat(held.own.n, lengths(held.starts, n))
    size = lengths(eras.starts, n)
    kept[spans(eras.starts, eras.starts + np.minimum(eras.judged_from + 1, size))] = True
    ends = (held.ends + 1)[eras.stream]
    kept[spans(eras.window, np.maximum(np.minimum(eras.window + eras.baseline, ends), eras.window + 1))] = True
    return kept
