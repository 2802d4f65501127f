"""Eight patterns that are rare in steady readings, each under its own plain name.

In sigmas from the centre, and "in a row" within one segment:

- beyond: 1 beyond `width`
- one side: 9 in a row on one side of the centre
- climb: 6 in a row (5 steps) steadily rising or falling
- sawtooth: 14 in a row alternating up and down
- two of three: 2 of 3 in a row beyond 2 sigma on the same side
- four of five: 4 of 5 in a row beyond 1 sigma on the same side
- hugging: 15 in a row within 1 sigma
- avoiding: 8 in a row beyond 1 sigma on either side

A rule fires at the reading that completes it, which is itself in the zone. Before a segment's first reading there is
nothing in any zone, so two readings beyond 2 sigma suffice for the second to fire.

Source: Nelson 1984, The Shewhart control chart: tests for special causes, J. Quality Technology 16; Western Electric
1956, Statistical Quality Control Handbook.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.methods.problems import UnusableData
from analysis.methods.segments import ONE_STREAM, Flags, Floats, Ints, blocks, checked, lengths
from analysis.methods.variables import per_segment, tie

BEYOND, ONE_SIDE, CLIMB, SAWTOOTH = "beyond", "one side", "climb", "sawtooth"
TWO_OF_THREE, FOUR_OF_FIVE, HUGGING, AVOIDING = "two of three", "four of five", "hugging", "avoiding"
ALL = (BEYOND, ONE_SIDE, CLIMB, SAWTOOTH, TWO_OF_THREE, FOUR_OF_FIVE, HUGGING, AVOIDING)
MEMBERS = {BEYOND: 1, ONE_SIDE: 9, CLIMB: 6, SAWTOOTH: 14, TWO_OF_THREE: 3, FOUR_OF_FIVE: 5, HUGGING: 15, AVOIDING: 8}


@dataclass(frozen=True)
class RunRules:
    """Where each of the eight rules fires, and the first member of each run."""

    fired: dict[str, Flags]  # rule -> (n,)
    values: Floats  # (n,)
    starts: Ints  # (s,)
    centre: Floats  # (s,)
    sigma: Floats  # (s,)

    def from_at(self, rule: str, at: npt.ArrayLike) -> Ints:
        """Index in `values` of the first member of the pattern that `rule` completed at each of the readings `at`."""
        fired_at = np.asarray(at, dtype=np.int64)
        if not self.fired[rule][fired_at].all():
            raise UnusableData(
                f"{rule} did not fire at every one of the readings asked for; ask at np.flatnonzero(fired[{rule!r}])"
            )
        first = fired_at - (MEMBERS[rule] - 1)
        if rule not in (TWO_OF_THREE, FOUR_OF_FIVE):
            return first
        segment = np.searchsorted(self.starts, fired_at, side="right") - 1
        inside = first >= self.starts[segment]
        line, sigma, lines = self.centre[segment], self.sigma[segment], 2 if rule == TWO_OF_THREE else 1
        side = np.sign(self.values[fired_at] - line)
        edge = line + side * lines * sigma
        member = inside & (side * (self.values[np.where(inside, first, fired_at)] - edge) > tie(edge, sigma))
        return np.where(member, first, first + 1)  # at most one of a pattern lies outside the zone


def run_rules(
    values: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    centre: npt.ArrayLike,
    sigma: npt.ArrayLike,
    width: npt.ArrayLike = 3.0,
    rules: Iterable[str] = ALL,
) -> RunRules:
    """Where each rule fires, over whole segments.

    Parameters
    ----------
    values : float, shape (n,)
        Readings, segment after segment, oldest first, none missing.
    starts : int, shape (s,)
        Where each segment begins; no pattern reaches over a start. Cut a segment where its limits change.
    centre, sigma : float or (s,)
        Centre line and sigma of each segment, sigma at least 0.
    width : float or (s,)
        Where `beyond` begins, in sigmas; it moves no other rule.
    rules : names out of ALL

    Returns
    -------
    RunRules
        `fired` (n,) by rule, and `from_at` for the first member of a pattern.
        A reading within 1e-9 max(|line|, sigma) of a line lies on it: on an outer line it is not beyond, on the centre
        it is on neither side; `hugging` counts the line in, `avoiding` out. Neighbours that differ by no more than that
        share of max(|centre|, sigma) are equal and break `climb` and `sawtooth`.
        In a segment with sigma 0 there are no zones: only `climb` and `sawtooth` can fire.

    Raises
    ------
    UnusableData
        A missing reading, an unknown rule, a negative sigma or a width of 0 or less.
    """
    readings, begins = checked(values, starts)
    names = list(dict.fromkeys(rules))
    if not set(names) <= set(ALL):
        raise UnusableData(f"no such rule: {', '.join(sorted(set(names) - set(ALL)))}; the rules are {', '.join(ALL)}")
    s, n = len(begins), len(readings)
    middle, spread, wide = (
        per_segment(centre, s, "centre"),
        per_segment(sigma, s, "sigma"),
        per_segment(width, s, "width"),
    )
    if (spread < 0).any() or (wide <= 0).any():
        raise UnusableData("run rules want a sigma of at least 0 and a width above 0 for each segment")
    fired = {name: np.empty(n, dtype=np.bool_) for name in names}
    size = lengths(begins, n)
    for which, where in blocks(begins, n):
        block = _Block(
            readings[where], begins[which] - where.start, size[which], middle[which], spread[which], wide[which]
        )
        for name in names:
            fired[name][where] = block.fires(name)
    return RunRules(fired, readings, begins, middle, spread)


class _Block:
    """Some whole segments at a time, with the zones worked out as they are asked for."""

    def __init__(
        self, readings: Floats, begins: Ints, size: Ints, centre: Floats, sigma: Floats, width: Floats
    ) -> None:
        self.readings, self.begins, self.size = readings, begins, size
        self.centre, self.sigma, self.width = centre, sigma, width
        self.zones: dict[float, tuple[Flags, Flags]] = {}

    def zone(self, lines: Floats | float) -> tuple[Flags, Flags]:
        """Above and below so many sigmas, ties on neither side."""
        if isinstance(lines, float) and lines in self.zones:
            return self.zones[lines]
        high, low = self.centre + lines * self.sigma, self.centre - lines * self.sigma
        some = self.sigma > 0
        high = np.where(some, high + tie(high, self.sigma), np.inf)
        low = np.where(some, low - tie(low, self.sigma), -np.inf)
        sides = self.readings > np.repeat(high, self.size), self.readings < np.repeat(low, self.size)
        if isinstance(lines, float):
            self.zones[lines] = sides
        return sides

    def steps(self) -> tuple[Flags, Flags]:
        """Steps up and down to each reading from the one before; a segment's first has none."""
        moved = np.diff(self.readings, prepend=self.readings[0])
        least = np.repeat(tie(self.centre, self.sigma), self.size)
        up, down = moved > least, moved < -least
        up[self.begins] = down[self.begins] = False
        return up, down

    def before(self, flags: Flags, back: int) -> Flags:
        """What held `back` readings earlier in the same segment, else False."""
        earlier = np.zeros_like(flags)
        earlier[back:] = flags[:-back] if back < len(flags) else False
        return self.clear(earlier, back)

    def clear(self, flags: Flags, first: int) -> Flags:
        """The same flags, False at the first so many readings of each segment."""
        heads = (
            self.begins[:, None] + np.arange(first)
        ).ravel()  # past a short segment's end lies the head of the next
        flags[heads[heads < len(flags)]] = False
        return flags

    def row(self, flags: Flags, members: int) -> Flags:
        """Where `members` flags in a row end, all in one segment: runs of 1, 2, 4 ... laid over one another."""
        held, length = flags.copy(), 1
        while length < members:
            by = min(length, members - length)
            held[by:] &= held[:-by].copy()
            length += by
        return self.clear(held, members - 1)

    def fires(self, rule: str) -> Flags:
        if rule == BEYOND:
            above, below = self.zone(self.width)
            return above | below
        members = MEMBERS[rule]
        if rule == ONE_SIDE:
            above, below = self.zone(0.0)
            return self.row(above, members) | self.row(below, members)
        if rule == CLIMB:
            up, down = self.steps()
            return self.row(up, members - 1) | self.row(down, members - 1)
        if rule == SAWTOOTH:
            up, down = self.steps()
            turns = (up & self.before(down, 1)) | (down & self.before(up, 1))
            return self.row(turns, members - 2)
        if rule == TWO_OF_THREE:
            above, below = self.zone(2.0)
            return self.two_of_three(above) | self.two_of_three(below)
        above, below = self.zone(1.0)
        if rule == FOUR_OF_FIVE:
            return self.four_of_five(above) | self.four_of_five(below)
        outer = above | below
        if rule == AVOIDING:
            return self.row(outer, members)
        return self.row(~outer & np.repeat(self.sigma > 0, self.size), members)

    def two_of_three(self, flags: Flags) -> Flags:
        return flags & (self.before(flags, 1) | self.before(flags, 2))

    def four_of_five(self, flags: Flags) -> Flags:
        one, two, three, four = (self.before(flags, back) for back in (1, 2, 3, 4))
        return flags & ((one & two & (three | four)) | (three & four & (one | two)))
