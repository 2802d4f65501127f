"""Many streams on one chart: the mean of an instrument's readings, chart by chart, in the order of time."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.methods.segments import Floats, Ints, Rows, dense


@dataclass(frozen=True)
class InstrumentMeans:
    """Points, chart after chart, oldest first."""

    mean: Floats  # (p,)
    chart: Ints  # (p,)
    reading: Ints  # (p,) the first of its readings, as an index of what was given


@dataclass(frozen=True)
class Points:
    """Which point each reading belongs to, chart after chart, oldest first."""

    of: npt.NDArray[np.int32]  # (n,) they are many
    chart: Ints  # (p,)
    instrument: Ints  # (p,)
    first: Ints  # (p,) the first of its readings

    def means(self, z: Floats, at: Ints | Rows | None = None) -> InstrumentMeans:
        """Means over the readings of each point.

        z : float (k,). at : int (k,), the readings that count, rising; without it all. A point of which none counts is
        left out.
        """
        of = self.of if at is None else self.of[at]
        count = np.bincount(of, minlength=len(self.chart))
        first = np.zeros(len(self.chart), dtype=np.int64)
        first[of[::-1]] = np.arange(len(of) - 1, -1, -1)  # the last that is put down stays
        mean = np.bincount(of, z, minlength=len(self.chart))
        there = np.flatnonzero(count)
        return InstrumentMeans(np.asarray(mean[there] / count[there]), self.chart[there], first[there])

    def parted(self, chart: Ints) -> "Points":
        """The points of the same readings on other charts (n,): where all readings of a point stand on one of them, the
        points are put in another order, else they are found anew.
        """
        of_point = chart[self.first]
        if not np.array_equal(of_point[self.of], chart):
            return points(chart, self.instrument[self.of])
        found = points(of_point, self.instrument)
        first = np.full(len(found.chart), len(chart), dtype=np.int64)
        np.minimum.at(first, found.of, self.first)  # several charts may be one of the others
        return Points(found.of[self.of], found.chart, found.instrument, first)


def points(chart: Ints, instrument: Ints) -> Points:
    """The points of readings of some charts.

    Parameters
    ----------
    chart : int (n,), from 0 on.
    instrument : int (n,), from 0 on, rising with time.
    """
    wide = int(instrument.max(initial=0)) + 1
    found = dense(chart.astype(np.int64) * wide + instrument)
    return Points(found.code.astype(np.int32), chart[found.first], instrument[found.first], found.first)


def instrument_means(z: Floats, chart: Ints, instrument: Ints) -> InstrumentMeans:
    """Means over the readings of each instrument on each chart.

    Parameters
    ----------
    z : float (n,), readings on a common scale (say sigmas off their own baseline).
    chart : int (n,), from 0 on.
    instrument : int (n,), from 0 on, rising with time.
    """
    return points(chart, instrument).means(z)
