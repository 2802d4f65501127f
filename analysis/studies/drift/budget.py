"""The false-signal budget: how rarely each reading may raise a false signal, week by week.

The shop allows B false signals a week over all charts that can open. Every reading on every chart gets the same share,
phi: B = sum over charts of readings a week x phi. The volume is that of the last 13 full weeks. phi moves only at a
week's start: when the volume has moved by a quarter since it was last set, or when limits were put on file the week
before. It is a recursion over weeks from the first log, so a store made again gives the same.

Measured over 200 simulated shops of 150 streams, 12 weeks after their baselines (tests/trials/budget.md), openings over
the budget of 0.5, 1 and 3 a week: normal readings 0.92, 0.96, 0.95; rounded to half a sigma 1.01, 0.98, 0.93; lag-1
correlation 0.3 1.05, 1.02, 0.94; setters of unequal spread 1.04, 1.06, 1.02; t with 5 degrees of freedom 1.5, 1.3, 1.1;
gamma(4) 1.4, 1.2, 1.1. With every kind of chart at once: tests/trials/whole_shop.md.
"""

from dataclasses import dataclass

import numpy as np

from analysis.methods.segments import Flags, Floats, Ints, Rows

FULL_WEEKS = 13
MOVED_BY = 0.25
LARGEST_RATE = 0.02  # a very small shop: no chart is asked to signal falsely more often than once in fifty readings


@dataclass(frozen=True)
class Budget:
    """The rate of false signals that each reading may have, week by week."""

    first_week: int  # number of the first week with readings
    rates: Floats  # (w,) phi of each week, false signals a reading
    volumes: Floats  # (w,) readings a week that phi of that week was set for

    def at(self, weeks: Ints | Rows) -> Ints:
        """Place in `rates` of each week number; weeks after the last count as the last."""
        return np.clip(weeks - self.first_week, 0, len(self.rates) - 1)


@dataclass(frozen=True)
class Part:
    """Readings on some charts, numbered by part."""

    chart: Ints | Rows  # (n,)
    week: Ints | Rows  # (n,) number of its week
    ready: Ints | Rows  # (c,) the first week at whose start each chart could open
    count: Ints | None = None  # (n,) so many of them; None: one each


def budget(allowed: float, chart: Ints, week: Ints, ready: Ints, *, relimited: Ints) -> Budget:
    """phi of each week.

    Parameters
    ----------
    allowed : false signals a week, above 0.
    chart, week : int (n,), the chart and the week number of each reading on each chart.
    ready : int (c,), the first week at whose start each chart could open (its baseline was complete); larger than any
    week: never.
    relimited : int (k,), weeks in which limits were put on file.
    """
    return over_parts(allowed, [Part(chart, week, ready)], relimited=relimited)


def over_parts(allowed: float, parts: list[Part], *, relimited: Ints) -> Budget:
    """`budget` of charts in several parts."""
    first, last = min(int(part.week.min()) for part in parts), max(int(part.week.max()) for part in parts)
    weeks = last - first + 1
    every = np.zeros((weeks + 1) * weeks, dtype=np.int64)
    for part in parts:
        since = np.clip(part.ready - first, 0, weeks).astype(np.int64)  # weeks = never
        cell: Ints = (since * weeks - first)[part.chart]
        cell += part.week
        every += np.bincount(cell, part.count, minlength=len(every)).astype(np.int64)
    counts = every.reshape(weeks + 1, weeks).astype(np.float64)
    # readings in week u of charts that were ready by week w
    by_ready = np.cumsum(counts, axis=0)[:weeks]
    summed = np.concatenate((np.zeros((weeks, 1)), np.cumsum(by_ready, axis=1)), axis=1)
    place = np.arange(weeks)
    full = np.minimum(place, FULL_WEEKS)
    volumes = (summed[place, place] - summed[place, place - full]) / np.maximum(full, 1)
    everything = counts.sum(axis=0)
    volumes[0] = everything[0]  # no full week yet: what the first week itself brings
    volumes = np.where(volumes > 0, volumes, everything[0])
    again = np.zeros(weeks, dtype=bool)
    again[np.clip(relimited - first + 1, 0, weeks - 1)] = len(relimited) > 0
    used = by_steps(np.asarray(volumes, dtype=np.float64), again)
    return Budget(first, np.minimum(allowed / used, LARGEST_RATE), used)


def by_steps(volumes: Floats, again: Flags | None = None) -> Floats:
    """What each week goes by (w,): the volume known at a week's start (w,) from which on it had moved by a quarter, or
    was asked for anew (`again`, (w,)).
    """
    used = np.empty(len(volumes))
    current = volumes[0]
    for at, volume in enumerate(volumes):
        if abs(volume / current - 1) >= MOVED_BY or (again is not None and again[at]):
            current = volume
        used[at] = current
    return used


def so_far(weeks: Ints | Rows) -> float:
    """Readings a week so far, as the last week goes by it: the mean of the full weeks before each week, which moves at
    a week's start and only when it has moved by a quarter. So it stays what it is from one log to the next, and with it
    all that hangs on it.

    weeks : int (n,), the number of the week of each reading, at least one.
    """
    counts = np.bincount(weeks - int(weeks.min())).astype(np.float64)
    means = np.cumsum(counts)[:-1] / np.arange(1, len(counts))
    return float(by_steps(np.append(counts[0], means))[-1])
