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
        told = at_most(choices @ sums[level], choices @ counts[level])
        there = choices.any(axis=1) & (lasting[level] > -np.inf)
        for choice in np.flatnonzero(there & (told >= lasting[level] + LIKELIER)):
            chosen = choices[choice]
            one = window_of(sums[level, chosen], counts[level, chosen], float(lasting[level, choice]))
            if one is not None:
                found.append((level, int(choice), one))
    return found


def at_most(total: Floats, many: Floats) -> Floats:
    """No window of some choices of readings gains more (choices,): as if baselines were known.

    total, many : (choices, starts) over their readings from each day to the end.
    """
    if total.shape[1] < 3:
        return np.full(len(total), -np.inf)
    within = total[:, :, None] - total[:, None, 1:]
    size = many[:, :, None] - many[:, None, 1:]
    np.square(within, out=within)
    within /= np.abs(size, out=size) + 1 / SIZE_PRIOR  # the other way round it is the window between the same days
    gain = 0.5 * within.max(axis=(1, 2)) - 0.5 * np.log1p(LEAST / (1 + BASELINE * LEAST))  # of the least readings
    return np.asarray(gain - np.log(total.shape[1] - 1) + ROUNDING)


def near_starts(one: Window, price: Floats, near: float) -> tuple[Ints, Floats]:
    """Starts about as likely as the likeliest, and what all starts say with their log prior (starts,)."""
    score = one.gain + price
    return np.flatnonzero(score >= score.max() - near), score
