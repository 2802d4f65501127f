"""Groups that each have an estimate of one thing (shops with a mean each): how far apart they truly lie, and where each
of them lies once what all of them say is used too.

Each estimate is normal about its group's true value with a known standard error; the true values are normal about a
common mean with a standard deviation `between`. Nothing is said beforehand of mean or `between` (both flat); the mean
is integrated out in closed form, `between` on a grid. Two groups say next to nothing of `between`: three are wanted.

Whether groups differ at all is asked by the weighted sum of squares of errors that are widened by as much as Student's
t of their degrees of freedom lies beyond the normal law at the chance in question; nobody is told apart where it does
not say so. One error known from a few degrees of freedom, and small by luck, would else outweigh all others: among
hundreds of families such luck is sure to be there, and Welch's test calls it a difference ten times too often. Which of
them do: those that have to be set aside, the farthest from all the others first, until the test finds the rest alike.

Source: Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., sections 5.4 and 5.5, with the eight schools of Rubin
1981, J. Educational Statistics 6; errors widened at the level asked: Banerjee 1961, Sankhya A 23, for a sum of means;
for squares of many groups it is held by simulation; several comparisons: Holm 1979, Scandinavian J. Statistics 6
(formulas from memory; held by tests against the printed case, by laws and by simulation:
tests/trials/several_shops.md).
"""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from analysis.methods.problems import UnusableData
from analysis.methods.segments import ONE_STREAM, Flags, Floats, Ints, checked, lengths, segment_ids

LEAST = 3  # groups
OF_GROUPS = ("value", "low", "high", "off")  # how the fields of Pooled begin that hold a number a group
GRID = 120  # values of `between`; twice as many move no end of an interval by a hundredth of a standard error
WIDE = 400.0  # the grid ends at so many times the errors or the spread of the estimates
TURNS = 16  # by which a chance is found; fourteen are seen
LEAST_CHANCE = 1e-100  # Student's t is not computed far beyond
STEPS = 60  # by which the end of an interval is found; five or six are seen
NEAR = 1e-9  # of the spread: an end that moves by less is found
BLOCK = 20_000  # groups that are pooled at once: 20 MB an array of the grid


@dataclass(frozen=True)
class Pooled:
    """What all groups of each family say together; unit of the estimates, 95 % intervals."""

    mean: Floats  # (s,) of the true values (median)
    mean_low: Floats
    mean_high: Floats
    between: Floats  # (s,) standard deviation of the true values: its median
    between_low: Floats  # 0 where the readings leave no difference likely
    between_high: Floats
    value: Floats  # (n,) of each group (median), drawn towards the mean by as much as its error asks for
    low: Floats
    high: Floats
    off: Floats  # (n,) from the common mean
    off_low: Floats
    off_high: Floats
    chance: Floats  # (s,) that estimates of equal groups lie so far apart


def pooled(
    estimates: npt.ArrayLike,
    errors: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    freedom: npt.ArrayLike = np.inf,
) -> Pooled:
    """Pool the groups of each family.

    Parameters
    ----------
    estimates : float, shape (n,)
        Family after family, a group each.
    errors : float, shape (n,)
        Standard error of each; above 0.
    starts : int, shape (s,)
        Where each family begins; the default is one family.
    freedom : float, shape (n,) or one
        Degrees of freedom behind each error; a normal error is widened to what Student's t asks for.

    Raises
    ------
    UnusableData
        A family of under three groups; an error that is no number above 0.
    """
    y, begins, error, free = _told(estimates, errors, starts, freedom)
    size, family = lengths(begins, len(y)), segment_ids(begins, len(y))
    if (size < LEAST).any():
        raise UnusableData(f"{int(size.min())} groups cannot be pooled; wanted at least {LEAST}")
    if not (np.isfinite(error).all() and (error > 0).all() and (free > 0).all()):
        raise UnusableData("a group without a standard error above 0 cannot be pooled")
    s = error * np.where(np.isinf(free), 1.0, stats.t.ppf(0.975, np.maximum(free, 1.0)) / stats.norm.ppf(0.975))
    grid = _Grid(y, s, begins, family)
    shrink = s[:, None] ** 2 / (s[:, None] ** 2 + grid.between[family] ** 2)  # (n, g) what the error has of it
    own = (1 - shrink) * s[:, None] ** 2  # variance of a true value, mean and between known
    middle, spread = grid.mean[family], grid.variance[family]
    weight = grid.weight[family]
    ends = {
        "mean": _ends(grid.mean, np.sqrt(grid.variance), grid.weight),
        "value": _ends(shrink * middle + (1 - shrink) * y[:, None], np.sqrt(shrink**2 * spread + own), weight),
        "off": _ends((1 - shrink) * (y[:, None] - middle), np.sqrt((1 - shrink) ** 2 * spread + own), weight),
    }
    cumulated = np.cumsum(grid.weight, axis=1)
    low, half, high = (
        np.take_along_axis(grid.between, np.argmax(cumulated >= level, axis=1)[:, None], axis=1)[:, 0]
        for level in (0.025, 0.5, 0.975)
    )
    return Pooled(*ends["mean"], half, low, high, *ends["value"], *ends["off"], equal(y, error, begins, freedom=free))


def pooled_rows(
    estimates: npt.ArrayLike, errors: npt.ArrayLike, starts: npt.ArrayLike, *, freedom: npt.ArrayLike = np.inf
) -> dict[str, Floats]:
    """What `pooled` says, by the names of its fields but `chance`, a number a group (n,): what is of a family at each
    of its groups; nan in families of under LEAST groups, which are left out.
    """
    y, begins, error, free = _told(estimates, errors, starts, freedom)
    size = lengths(begins, len(y))
    many, of_each = np.repeat(size >= LEAST, size), size[size >= LEAST]
    out = {one.name: np.full(len(y), np.nan) for one in fields(Pooled) if one.name != "chance"}
    if many.any():
        at = np.flatnonzero(many)
        ends = np.cumsum(of_each)
        block = (ends - 1) // BLOCK  # families of one block are pooled together: memory does not grow with families
        for first, last in zip(*_runs(block), strict=True):
            here, sizes = at[ends[first] - of_each[first] : ends[last - 1]], of_each[first:last]
            found = pooled(y[here], error[here], np.cumsum(sizes) - sizes, freedom=free[here])
            for name, column in out.items():
                told = getattr(found, name)
                column[here] = told if name.startswith(OF_GROUPS) else np.repeat(told, sizes)
    return out


def _runs(values: Ints) -> tuple[Ints, Ints]:
    """Where each run of equal values begins and ends."""
    begins = np.flatnonzero(np.diff(values, prepend=values[0] - 1))
    return begins, np.append(begins[1:], len(values))


def _told(
    estimates: npt.ArrayLike, errors: npt.ArrayLike, starts: npt.ArrayLike, freedom: npt.ArrayLike
) -> tuple[Floats, Ints, Floats, Floats]:
    """Estimates, where families begin, and an error and degrees of freedom for each."""
    y, begins = checked(estimates, starts)
    error, free = (np.broadcast_to(np.asarray(each, dtype=np.float64), y.shape) for each in (errors, freedom))
    return y, begins, error, free


class _Grid:
    """`between` of each family on a grid, how likely each value is, and the mean's law where it holds: (s, g)."""

    def __init__(self, y: Floats, s: Floats, begins: npt.NDArray[np.int64], family: npt.NDArray[np.int64]) -> None:
        count = np.add.reduceat(np.ones_like(y), begins)
        scale = np.sqrt(count / np.add.reduceat(s**-2.0, begins))  # the harmonic mean of the variances
        reach = np.maximum.reduceat(y, begins) - np.minimum.reduceat(y, begins)
        top = WIDE * np.maximum(scale, reach)
        u = (np.arange(GRID) + 0.5) / GRID
        top_u = top / (top + scale)
        part = u[None, :] * top_u[:, None]
        self.between = scale[:, None] * part / (1 - part)
        prior = np.log(scale[:, None]) - 2 * np.log1p(-part)  # flat in `between`: its step along the grid
        total = s[:, None] ** 2 + self.between[family] ** 2
        precision = np.add.reduceat(1 / total, begins, axis=0)
        self.mean = np.add.reduceat(y[:, None] / total, begins, axis=0) / precision
        self.variance = 1 / precision
        squares = np.add.reduceat((y[:, None] - self.mean[family]) ** 2 / total, begins, axis=0)
        likely = prior - 0.5 * (squares + np.log(precision) + np.add.reduceat(np.log(total), begins, axis=0))
        weight = np.exp(likely - likely.max(axis=1, keepdims=True))
        self.weight = weight / weight.sum(axis=1, keepdims=True)


def _ends(means: Floats, sds: Floats, weight: Floats) -> tuple[Floats, Floats, Floats]:
    """Median and both ends of the 95 % interval of mixtures of normal laws, a row each: by Newton's steps from where a
    normal law of that mean and spread would have them, each kept between what is known to lie below and above.
    """
    sds = np.maximum(sds, 1e-300)
    centre = (weight * means).sum(axis=1)
    spread = np.sqrt((weight * (sds**2 + (means - centre[:, None]) ** 2)).sum(axis=1))
    found = []
    for level in (0.5, 0.025, 0.975):
        low, high = (means - 10 * sds).min(axis=1), (means + 10 * sds).max(axis=1)
        end = np.clip(centre + spread * stats.norm.ppf(level), low, high)
        at = np.arange(len(end))  # of rows still looked for
        for _ in range(STEPS):
            t = np.clip((end[at, None] - means[at]) / sds[at], -40.0, 40.0)  # beyond it a law has nothing
            over = (weight[at] * special.ndtr(t)).sum(axis=1) - level
            dense = (weight[at] * np.exp(-0.5 * t**2) / sds[at]).sum(axis=1) / np.sqrt(2 * np.pi)
            low[at], high[at] = np.where(over < 0, end[at], low[at]), np.where(over < 0, high[at], end[at])
            with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
                step = end[at] - over / dense
            inside = (low[at] < step) & (step < high[at])
            step = np.where(inside, step, (low[at] + high[at]) / 2)
            moved = np.abs(step - end[at]) > NEAR * spread[at]
            end[at] = step
            at = at[moved]
            if len(at) == 0:
                break
        found.append(end)
    return found[0], found[1], found[2]


def equal(
    estimates: npt.ArrayLike,
    errors: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    freedom: npt.ArrayLike = np.inf,
) -> Floats:
    """How often equal groups lie so far apart, at most, for families of two groups and more, shape (s,); what is given
    is as for `pooled`. It holds from .01 down; ten groups and more of under six degrees of freedom each come under .05
    half as often again. No chance is told below LEAST_CHANCE.
    """
    y, begins, error, free = _told(estimates, errors, starts, freedom)
    high = _reached(y, error, begins, np.inf, np.inf)  # as if errors were known
    low, at = np.zeros_like(high), high
    before = over = np.full_like(high, np.nan)
    for turn in range(TURNS):  # as many for all: a family's chance does not hang on others
        found = _reached(y, error, begins, free, at)
        low, high = np.maximum(low, np.minimum(at, found)), np.minimum(high, np.maximum(at, found))
        with np.errstate(divide="ignore", invalid="ignore"):
            step = at - (at - found) * (at - before) / (at - found - over)
        before, over = at, at - found
        at = np.where((low <= step) & (step <= high) & (turn % 2 == 0), step, (low + high) / 2)
    return np.asarray(2 * special.ndtr(-at))


def _reached(y: Floats, error: Floats, begins: Ints, free: npt.ArrayLike, at: npt.ArrayLike) -> Floats:
    """The normal deviate whose two-sided chance is that of so large a weighted sum of squares, where errors are widened
    as the deviate `at` (of all or of each family) asks for, shape (s,).
    """
    size = lengths(begins, len(y))
    family = segment_ids(begins, len(y))
    weight = error**-2.0
    few = np.isfinite(np.broadcast_to(free, y.shape))
    if few.any():
        z = np.maximum(np.broadcast_to(at, begins.shape)[family[few]], 1e-6)
        t = -special.stdtrit(np.broadcast_to(free, y.shape)[few], special.ndtr(-z))
        weight[few] *= (z / np.clip(t, z, 1e100)) ** 2
    mean = np.add.reduceat(weight * y, begins) / np.add.reduceat(weight, begins)
    squares = np.add.reduceat(weight * (y - mean[family]) ** 2, begins)
    return np.asarray(-special.ndtri(np.maximum(special.chdtrc(size - 1, squares), LEAST_CHANCE) / 2))


def standing_out(
    estimates: npt.ArrayLike,
    errors: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    freedom: npt.ArrayLike = np.inf,
    level: npt.ArrayLike = 0.05,
) -> Flags:
    """The groups of each family that are set aside, farthest first, until those left are alike at `level` (of one or of
    each family); of two left that differ, both. Shape (n,).
    """
    y, begins, error, free = _told(estimates, errors, starts, freedom)
    family = segment_ids(begins, len(y))
    asked = np.broadcast_to(np.asarray(level, dtype=np.float64), begins.shape)
    out = np.zeros(len(y), dtype=bool)
    at = np.arange(len(y))  # of families still looked at, those not set aside
    while len(at):
        begin = np.flatnonzero(np.diff(family[at], prepend=-1) != 0)
        size = lengths(begin, len(at))
        kept = np.repeat(size > 1, size)
        at = at[kept]
        if len(at) == 0:
            break
        begin = np.flatnonzero(np.diff(family[at], prepend=-1) != 0)
        size, which = lengths(begin, len(at)), family[at]
        wanted = -special.ndtri(asked[which[begin]] / 2)
        differ = _reached(y[at], error[at], begin, free[at], wanted) > wanted  # as `equal` below the level
        weight = error[at] ** -2.0
        total = np.repeat(np.add.reduceat(weight, begin), size) - weight
        mean = (np.repeat(np.add.reduceat(weight * y[at], begin), size) - weight * y[at]) / total
        far = np.abs(y[at] - mean) / np.sqrt(error[at] ** 2 + 1 / total)
        farthest = far == np.repeat(np.maximum.reduceat(far, begin), size)
        gone = np.repeat(differ, size) & (farthest | np.repeat(size == 2, size))
        out[at[gone]] = True
        at = at[np.repeat(differ, size) & ~gone]
    return out


def among_many(chances: npt.ArrayLike) -> Floats:
    """Chances of many comparisons, each as large as it is among them all (Holm): of comparisons of which none holds,
    one is under .05 in at most 5 % of cases.
    """
    p = np.asarray(chances, dtype=np.float64)
    order = np.argsort(p, kind="stable")
    out = np.empty_like(p)
    out[order] = np.minimum(np.maximum.accumulate(p[order] * (len(p) - np.arange(len(p)))), 1.0)
    return out
