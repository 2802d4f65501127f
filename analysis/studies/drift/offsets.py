"""What pooled charts take off each reading: the baseline mean in its stream of whoever set it or the gauge it was read
by. Of a setter or gauge that the baseline hardly knows it is the mean of its own first later readings.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis.methods.segments import Flags, Floats, Ints, Rows, lengths, places_in

SETTER, GAUGE, CHARACTERISTIC = "setter", "gauge", "characteristic"
IN_BASELINE = 10  # readings of a setter or gauge in a stream's baseline from which on it has a mean of its own there
FIRST = 25  # else: its first readings after the baseline give it
AT_ONCE = 1 << 20  # readings, of which there are many


@dataclass(frozen=True)
class Judged:
    """Readings of the streams of all techs after their full baselines, and those that the baselines are made of."""

    at: Rows  # (j,) rows of Streams.readings
    row: Rows  # (j,) the same as rows of the story
    era: Rows  # (j,)
    z: Floats  # (j,) in the stream's sigmas off its baseline mean
    base_at: Ints  # (b,) the same of baselines; a reading may stand in the baselines of two eras
    base_row: Rows  # (b,)
    base_era: Ints  # (b,)
    base_z: Floats  # (b,)

    def only(self, kept: Flags) -> "Judged":
        """The same with some of the judged readings (j,)."""
        return replace(self, at=self.at[kept], row=self.row[kept], era=self.era[kept], z=self.z[kept])


@dataclass(frozen=True)
class Offsets:
    """The baseline mean in the stream of whoever a kind of chart asks for, in the stream's sigmas off its own mean."""

    mean: Floats  # (j,) of judged readings
    known: Flags  # (j,) readings that are judged by it
    base_mean: Floats  # (b,) of readings of baselines
    base_known: Flags  # (b,)
    base_count: Ints  # (b,) readings behind it
    newcomers: Ints  # (k,) judged readings (j,) that means of those come from whom the baseline hardly knows


def offsets(judged: Judged, over: str, code: npt.NDArray[np.int32]) -> Offsets:
    """Means of each setter, gauge or stream (`over`) in each stream; code (r,): who or what each of the story's
    readings is of, -1 not known.
    """
    chart, base_chart = code[judged.row], code[judged.base_row].astype(np.int64)
    known, base_known = chart >= 0, base_chart >= 0
    kinds = int(code.max(initial=0)) + 1
    if over == CHARACTERISTIC:  # the stream's own mean: nothing to take off, nobody to wait for
        _, which, count = np.unique(judged.base_era, return_inverse=True, return_counts=True)
        none = np.zeros(0, dtype=np.int64)
        return Offsets(np.zeros(len(judged.at)), known, np.zeros(len(judged.base_at)), base_known, count[which], none)
    base_key = judged.base_era * kinds + base_chart
    keys, which = np.unique(base_key, return_inverse=True)
    count = np.bincount(which, base_known, minlength=len(keys)).astype(np.int64)
    base_mean = np.bincount(which, judged.base_z, minlength=len(keys)) / np.maximum(np.bincount(which), 1)
    enough = count >= IN_BASELINE
    has, mean = np.empty(len(known), dtype=np.bool_), np.empty(len(known))
    for first in range(0, len(known), AT_ONCE):
        part = slice(first, first + AT_ONCE)
        place = places_in(keys, np.maximum(_keys(judged, chart, kinds, part), 0))
        has[part] = known[part] & (place >= 0) & np.append(enough, False)[place]
        mean[part] = np.where(has[part], np.append(base_mean, 0.0)[place], 0.0)
    others = np.flatnonzero(known & ~has)
    newcomers, own, early = _newcomers(judged, _keys(judged, chart, kinds, others), others)
    mean[newcomers] = own
    has[newcomers] = True
    return Offsets(mean, has, base_mean[which], base_known & enough[which], count[which], early)


def _keys(judged: Judged, chart: Rows, kinds: int, which: slice | Ints) -> Ints:
    """Who or what in which era, as one number, of some judged readings."""
    return judged.era[which].astype(np.int64) * kinds + chart[which]


def _newcomers(judged: Judged, key: Ints, at: Ints) -> tuple[Ints, Floats, Ints]:
    """Judged readings after the first 25 of those who were not in the baseline, the mean of those 25, and these; at
    (k,) : readings of such, key (k,) whose each is.
    """
    if len(at) == 0:
        return at, np.zeros(0), at
    order = np.argsort(key, kind="stable")
    at, key = at[order], key[order]
    starts = np.flatnonzero(np.diff(key, prepend=key[0] - 1))
    size = lengths(starts, len(at))
    place = np.arange(len(at)) - np.repeat(starts, size)
    owner = np.repeat(np.arange(len(starts)), size)
    early = place < FIRST
    mean = np.bincount(owner[early], judged.z[at][early], minlength=len(starts)) / np.minimum(size, FIRST)
    return at[~early], mean[owner[~early]], at[early]
