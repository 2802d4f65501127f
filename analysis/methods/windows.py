"""What lay out for a while: begun on one day and ended on another, by sums from each day to the end.

What moved and came back would else be taken for days, lots or people that differ much, behind which later moves hide;
or a lot that was set just then would be named for it.
"""

from dataclasses import dataclass

import numpy as np

from analysis.methods.scopes import LEAST, NEVER, Gain
from analysis.methods.segments import Flags, Floats, Ints

LIKELIER = 4.6  # log: by so much more than a shift that stays, and by the price of its end


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
    starts = sums.shape[1]
    total, many = sums.sum(axis=0), counts.sum(axis=0)
    if starts < 3 or many[0] < 2 * LEAST:
        return None
    # how the readings lie over the streams is taken to be the same at all times: it says what baselines are worth
    spread = np.sqrt((counts[:, 0] ** 2).sum()) / many[0]
    within, size = total[:, None] - total[None, 1:], many[:, None] - many[None, 1:]
    later = np.arange(starts)[:, None] <= np.arange(starts - 1)[None, :]
    gain = np.where(later, Gain.of(np.maximum(size, 0.0), np.maximum(size, 0.0) * spread).at(within), NEVER)
    gain -= np.log(starts - 1)
    best = int(gain.max(axis=0).argmax())
    return None if gain[:, best].max() < lasting + LIKELIER else Window(best + 1, gain[:, best])


def ends_of(sums: Floats, counts: Floats, streams: Flags, lasting: Floats) -> list[tuple[int, int, Window]]:
    """The windows of some levels, each with its number and its choice of streams.

    sums, counts : (levels, streams, starts). streams : (levels, choices, streams). lasting : (levels, choices).
    """
    found = []
    for level, choices in enumerate(streams):  # a loop over the few levels that lie out most
        for choice, chosen in enumerate(choices):
            if chosen.any() and lasting[level, choice] > -np.inf:
                one = window_of(sums[level, chosen], counts[level, chosen], float(lasting[level, choice]))
                if one is not None:
                    found.append((level, choice, one))
    return found


def near_starts(one: Window, price: Floats, near: float) -> tuple[Ints, Floats]:
    """Starts about as likely as the likeliest, and what all starts say with their log prior (starts,)."""
    score = one.gain + price
    return np.flatnonzero(score >= score.max() - near), score
