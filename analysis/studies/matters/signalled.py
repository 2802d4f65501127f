"""One signal as the evidence sees it: its readings, its last time and its times before."""

from dataclasses import dataclass

import numpy as np

from analysis.methods.segments import Flags, Ints

EARLIER = 10  # working days before the earliest likely start from which on a start is looked for
SLOW = 150  # readings of its own before its opening within which a shift began: one that needs more is under .5 sigma
MARGIN = 2  # working days by which the likeliest day on which readings were back may be too early


@dataclass(frozen=True, eq=False)
class Signalled:
    """One signal as the evidence sees it."""

    number: int  # among all signals of the shop
    touched: Flags  # (n,) its readings
    since: int  # working day of its likeliest start
    low: int  # and of the first and last likely one
    high: int
    opened: int
    side: int
    open: bool
    back: int  # working day of its likeliest return; past the last one where there is none
    again: int = -1  # of the last opening of one that was back and opened again under its first start
    times: tuple[tuple[int, int], ...] = ()  # first and last working day of each of its times before
    floor: int = 0  # the working day from which on its start is looked for at the earliest
    place: int = -1  # its position among those of the evidence; -1: all of them

    @property
    def lately(self) -> int:
        """The working day of its likeliest start; of one that is open again that of its last opening: before it came
        back its readings were those of another time.
        """
        return self.again if self.open and self.again > self.opened else self.since

    def first(self, day: Ints) -> int:
        """The working day from which on its start is looked for."""
        before = day[self.touched & (day <= self.opened)]
        start = max(self.low, int(before[-min(SLOW, len(before))])) if len(before) else self.low
        return max(start - EARLIER, self.floor)

    def away(self, day: Ints, *, asked: bool) -> Flags:
        """Its readings of its times before; of one that need not stand in an explanation of its last time too (n,)."""
        within = np.zeros(len(day), dtype=bool)
        for begun, over in self.times if asked else (*self.times, (self.since, self.back)):
            within |= (day >= begun) & (day <= over + MARGIN)
        return self.touched & within
