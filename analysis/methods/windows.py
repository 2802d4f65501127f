"""What lay out for a while: begun on one day and ended on another, by sums from each day to the end.

What moved and came back would else be taken for days, lots or people that differ much, behind which later moves hide;
or a lot that was set just then would be named for it.
"""

from dataclasses import dataclass

import numpy as np

from analysis.methods.scopes import BASELINE, LEAST, NEVER, SIZE_PRIOR, Gain
from analysis.methods.segments import Flags, Floats, Ints

LIKELIER = 4.6  # log: by so much more than a shift that stays, and by the price of its end
ROUNDING = 1e-6  # of a gain
FINE = 80  # days on which something may have begun, up to which all pairs of them are looked at


@dataclass(frozen=True, eq=False)
class Window:
    """The likeliest end of one choice of readings, and what each start says with it."""

    end: int  # the first day without it, counted as the starts are
    gain: Floats  # (starts,) NEVER from the end on, the price of an end taken off


def window_of(sums: Floats, counts: Floats, lasting: float) -> Window | None:
    """The likeliest while in which readings lay out; None where one that stays is hardly less likely.

    sums, counts : (streams, starts) over the readings of each stream from each day to the end. lasting : the best gain
    of a shift that stays.
    """
    total, many = sums.sum(axis=0), counts.sum(axis=0)
    if len(total) < 3 or many[0] < 2 * LEAST:
        return None
    # how the readings lie over the streams is taken to be the same at all times: it says what baselines are worth
    spread = np.sqrt((counts[:, 0] ** 2).sum()) / many[0]
    days = np.arange(len(total))
    starts, ends = grid(len(total)), grid(len(total))[1:]
    gain = _gain(total, many, spread, starts, ends)
    if len(starts) < len(total):  # then day by day where it is best of all
        start, end = starts[gain.max(axis=1).argmax()], ends[gain.max(axis=0).argmax()]
        near = -(-len(total) // FINE)
        starts, ends = (days[max(at - near, first) : at + near + 1] for at, first in ((start, 0), (end, 1)))
        gain = _gain(total, many, spread, starts, ends)
    best = int(gain.max(axis=0).argmax())
    if gain[:, best].max() < lasting + LIKELIER:
        return None
    whole = _gain(total, many, spread, days, ends[best : best + 1])[:, 0] if len(starts) < len(total) else gain[:, best]
    return Window(int(ends[best]), whole)


def grid(days: int) -> Ints:
    """Days on which something may have begun or ended, of so many: all of them, or FINE that lie as far apart."""
    return np.arange(0, days, -(-days // FINE))


def _gain(total: Floats, many: Floats, spread: float, starts: Ints, ends: Ints) -> Floats:
    """What each start says with each end (starts, ends), the price of an end taken off; NEVER where it ends first."""
    within, size = total[starts, None] - total[None, ends], many[starts, None] - many[None, ends]
    gain = Gain.of(np.maximum(size, 0.0), np.maximum(size, 0.0) * spread).at(within)
    return np.asarray(np.where(starts[:, None] < ends[None, :], gain, NEVER) - np.log(len(total) - 1))


def ends_of(sums: Floats, counts: Floats, streams: Flags, lasting: Floats) -> list[tuple[int, int, Window]]:
    """The windows of some levels, each with its number and its choice of streams.

    sums, counts : (levels, streams, starts). streams : (levels, choices, streams). lasting : (levels, choices).
    """
    found = []
    for level, choices in enumerate(streams):  # a loop over the few levels that lie out most
        told = at_most(choices @ sums[level], choices @ counts[level])
        there = choices.any(axis=1) & (lasting[level] > -np.inf)
        for choice in np.flatnonzero(there & (told >= lasting[level] + LIKELIER)):
            chosen = choices[choice]
            one = window_of(sums[level, chosen], counts[level, chosen], float(lasting[level, choice]))
            if one is not None:
                found.append((level, int(choice), one))
    return found


def at_most(total: Floats, many: Floats) -> Floats:
    """No window of some choices of readings gains more (choices,), of many days none between those that are looked at
    first: as if baselines were known.

    total, many : (choices, starts) over their readings from each day to the end.
    """
    days = total.shape[1]
    if days < 3:
        return np.full(len(total), -np.inf)
    if days > FINE:
        total, many = total[:, grid(days)], many[:, grid(days)]
    within = total[:, :, None] - total[:, None, 1:]
    size = many[:, :, None] - many[:, None, 1:]
    np.square(within, out=within)
    within /= np.abs(size, out=size) + 1 / SIZE_PRIOR  # the other way round it is the window between the same days
    gain = 0.5 * within.max(axis=(1, 2)) - 0.5 * np.log1p(LEAST / (1 + BASELINE * LEAST))  # of the least readings
    return np.asarray(gain - np.log(days - 1) + ROUNDING)
