"""When a step or a slope in the mean of a series began, and all starts that the readings leave likely.

Readings before the change have one mean and those after it another (a step) or one that climbs evenly (a drift); sigma
is the same throughout and known: the stream's own. For each possible start the log-likelihood is that of the best
means, up to a constant; the likeliest start has the largest, and the set holds every start whose log-likelihood lies
within 3.0 of it. The set need not be one run of readings: `low` and `high` are its first and last member,
`members=True` gives it whole.

Measured where an EWMA with limits from 100 readings signals (tests/trials/change_point.md): a step of 0.5 sigma is
covered in 84 %, 0.75 in 88 %, 1 in 91 %, 1.5 in 94 %, 2 in 96 %. Why the stream's sigma and not one estimated beside
the means: both cover alike (0.5 % more at most with an estimate), and the stream's is the sigma that the chart shows,
the gauge's step included where it is coarse.

Source: Pignatiello & Samuel (2001), J. Quality Technology 33, 82-95; Perry & Pignatiello (2006), Quality and
Reliability Engineering International 22 (drift); Worsley (1986), Biometrika 73, 91-104 (confidence set by likelihood).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from analysis.methods.change_scans import NO_START, drift_scan, level_scan, ramp, standardized, step_scan
from analysis.methods.problems import UnusableData
from analysis.methods.segments import ONE_STREAM, Flags, Floats, Ints, blocks, checked, lengths

WITHIN = 3.0  # of the largest log-likelihood
BLOCK = 1 << 16  # readings worked on at once: they stay in the processor's cache
ROUNDING = 1e-9  # relative: starts as likely as the best but for the last bits are as likely

Scan = Callable[[Floats, Ints, Ints, Floats], tuple[Floats, Floats]]


@dataclass(frozen=True)
class Step:
    """A step of the mean in each segment; `at`, `low`, `high` are places in `values` of the first reading after it, -1
    where none can be.
    """

    at: Ints  # (s,) the likeliest start
    low: Ints  # (s,) first member of the set
    high: Ints  # (s,) last member of the set
    mean_before: Floats  # (s,) unit of values
    mean_after: Floats  # (s,) unit of values
    size: Floats  # (s,) mean_after - mean_before
    statistic: Floats  # (s,) how much likelier (log) the best start is than no change
    chance: Floats  # (s,) how often readings without a change reach it
    found: Flags  # (s,) chance <= alpha; False: nothing says that the mean changed
    likely: Flags | None  # (n,) the set itself, where asked for


@dataclass(frozen=True)
class Drift:
    """A slope of the mean in each segment; `at`, `low`, `high` are places in `values` of the first reading off the
    level, -1 where none can be.
    """

    at: Ints  # (s,)
    low: Ints  # (s,)
    high: Ints  # (s,)
    level: Floats  # (s,) mean before the slope, unit of values
    slope: Floats  # (s,) unit of values a reading
    statistic: Floats  # (s,) log-likelihood above no change
    chance: Floats  # (s,)
    found: Flags  # (s,)
    likely: Flags | None  # (n,)


@dataclass(frozen=True)
class _Best:
    at: Ints
    low: Ints
    high: Ints
    centre: Floats  # mean of the segment, or the known mean before
    score: Floats  # best sum, in sigma, as the scan gives it
    statistic: Floats
    sigma: Floats
    first: Ints  # the places between which a start was looked for
    last: Ints
    likely: Flags | None


def step(
    values: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    sigma: npt.ArrayLike | None = None,
    before: npt.ArrayLike | None = None,
    begin: npt.ArrayLike | None = None,
    end: npt.ArrayLike | None = None,
    alpha: float = 0.05,
    members: bool = False,
) -> Step:
    """The likeliest start of a step in the mean of each segment, and the set of likely ones.

    Parameters
    ----------
    values : float, shape (n,)
        Readings, segment after segment, oldest first: from the first reading of the baseline (or after the last signal)
        on.
    starts : int, shape (s,)
        Where each segment begins in `values`.
    sigma : float, shape (s,) or one number, or None
        The readings' sigma, above 0 (0 for a segment of equal readings); None: mean moving range / d2 of the segment.
    before : float, shape (s,) or one number, or None
        The mean before the step where it is known; None: estimated from the readings before each start.
    begin, end : int, shape (s,), or None
        First and last place in `values` that may be the start (a signal at place p: end = p); None: any but the first
        reading.
    alpha : float
        `found` where readings without a change would look like this at most so often.
    members : bool
        Give the set itself too.

    Raises
    ------
    UnusableData
        A missing reading, a negative sigma, begin after end.
    """
    array, segments = checked(values, starts)
    known = _per_segment(before, segments, "mean before")
    scan = level_scan if before is not None else step_scan
    best = _search(array, segments, scan, sigma=sigma, before=known, begin=begin, end=end, members=members)
    n = lengths(segments, len(array))
    k = np.maximum(best.at - segments, 0)
    after = np.maximum(n - k, 1)
    mean_before = best.centre - (0.0 if before is not None else best.score / np.maximum(k, 1) * best.sigma)
    mean_after = best.centre + best.score / after * best.sigma
    chance = _step_chance(best, n, segments, known_level=before is not None)
    return Step(
        best.at,
        best.low,
        best.high,
        mean_before,
        mean_after,
        mean_after - mean_before,
        best.statistic,
        chance,
        chance <= alpha,
        best.likely,
    )


def drift(
    values: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    sigma: npt.ArrayLike | None = None,
    begin: npt.ArrayLike | None = None,
    end: npt.ArrayLike | None = None,
    alpha: float = 0.05,
    members: bool = False,
) -> Drift:
    """The likeliest start of an even slope after a level in each segment; parameters and errors as for `step`.

    The j-th reading from the start on has mean level + j slope. A start at the segment's first reading is an even slope
    throughout.
    """
    array, segments = checked(values, starts)
    best = _search(array, segments, drift_scan, sigma=sigma, before=None, begin=begin, end=end, members=members)
    n = lengths(segments, len(array))
    after = np.maximum(n - np.maximum(best.at - segments, 0), 1).astype(np.float64)
    weight, spread = ramp(after, n)
    slope = best.score / np.where(spread > 0, spread, 1.0) * best.sigma
    chance = _drift_chance(best, n, segments)
    return Drift(
        best.at,
        best.low,
        best.high,
        best.centre - slope * weight / n,
        slope,
        best.statistic,
        chance,
        chance <= alpha,
        best.likely,
    )


def _per_segment(given: npt.ArrayLike | None, segments: Ints, name: str) -> Floats | None:
    if given is None:
        return None
    array = np.broadcast_to(np.asarray(given, dtype=np.float64), segments.shape)
    if not np.isfinite(array).all():
        missing = int((~np.isfinite(array)).sum())
        raise UnusableData(
            f"the {name} of {missing} of {len(segments)} segments is missing; leave it out to have it estimated"
        )
    return array


def _search(
    values: Floats,
    starts: Ints,
    scan: Scan,
    *,
    sigma: npt.ArrayLike | None,
    before: Floats | None,
    begin: npt.ArrayLike | None,
    end: npt.ArrayLike | None,
    members: bool,
) -> _Best:
    n = lengths(starts, len(values))
    known = _per_segment(sigma, starts, "sigma")
    if known is not None and bool((known < 0).any()):
        raise UnusableData(f"sigma is {float(known.min())}; wanted at least 0")
    earliest = starts + (1 if scan is step_scan else 0)
    latest = starts + n - 1
    first = earliest if begin is None else np.maximum(earliest, np.asarray(begin, dtype=np.int64))
    last = latest if end is None else np.minimum(latest, np.asarray(end, dtype=np.int64))
    if bool((begin is not None or end is not None) and ((first > last) & (n > 1)).any()):
        raise UnusableData(
            "in some segment no reading lies between begin and end; wanted begin at or before end, both within the "
            "segment"
        )
    narrowed = begin is not None or end is not None
    parts: dict[str, list[npt.NDArray[np.generic]]] = {
        name: [] for name in ("at", "low", "high", "centre", "score", "statistic", "sigma")
    }
    likely = np.zeros(len(values), dtype=np.bool_) if members else None
    for chosen, where in blocks(starts, len(values), BLOCK):
        offset = where.start
        x, local, size = values[where], starts[chosen] - offset, n[chosen]
        centre, spread, scaled = standardized(
            x, local, size, None if known is None else known[chosen], None if before is None else before[chosen]
        )
        score, likelihood = scan(scaled, local, size, spread)
        if narrowed:
            index = np.arange(offset, where.stop)
            likelihood[(index < np.repeat(first[chosen], size)) | (index > np.repeat(last[chosen], size))] = NO_START
        best = np.maximum.reduceat(likelihood, local)
        nearly = best - ROUNDING * np.abs(best)
        within = np.flatnonzero(
            likelihood >= np.repeat(np.where(best >= 0, np.maximum(nearly - WITHIN, 0.0), NO_START), size)
        )
        ends = np.searchsorted(within, local + size) - 1
        owner = np.searchsorted(local, within, side="right") - 1
        top = within[likelihood[within] >= nearly[owner]]
        at = top[np.searchsorted(top, local)]
        usable = (best >= 0) & (spread > 0)
        if likely is not None:
            inside = within[usable[owner] & (likelihood[within] >= 0)]
            likely[offset + inside] = True
        low = within[np.searchsorted(within, local)]
        places = {"at": at, "low": low, "high": within[ends]}
        for name, place in places.items():
            parts[name].append(np.where(usable, offset + place, -1))
        numbers = {
            "centre": centre,
            "score": np.where(usable, score[at], 0.0),
            "statistic": np.where(usable, best, 0.0),
            "sigma": spread,
        }
        for name, number in numbers.items():
            parts[name].append(number)
    whole = {name: np.concatenate(pieces) for name, pieces in parts.items()}
    return _Best(**whole, first=first, last=last, likely=likely)


def _step_chance(best: _Best, n: Ints, starts: Ints, *, known_level: bool) -> Floats:
    """Chance that readings without a change reach the statistic: boundary crossing of the scanned mean in discrete
    time.

    Source: Siegmund (1985), Sequential Analysis, chapter 11 (the overshoot correction nu by its usual closed form).
    """
    b = np.sqrt(2 * np.maximum(best.statistic, 0.0))
    nodes, weights = np.polynomial.legendre.leggauss(40)
    n_before, n_after = np.maximum(best.first - starts, 1.0), np.maximum(n - (best.last - starts), 1.0)
    if known_level:
        low, high = np.log(n_after), np.log(np.maximum(n - (best.first - starts), n_after))
    else:
        low, high = np.log(n_before / np.maximum(n - n_before, 1.0)), np.log(np.maximum(n - n_after, 1.0) / n_after)
    half = np.maximum(high - low, 0.0)[:, None] / 2
    u = low[:, None] + half * (nodes + 1)
    pace = (
        np.exp(-u / 2) if known_level else 2 * np.cosh(u / 2) / np.sqrt(n)[:, None]
    )  # local sd of the scanned mean's moves
    crossings = (half * weights * overshoot(b[:, None] * pace)).sum(axis=1)
    density = np.exp(-b * b / 2) / math.sqrt(2 * math.pi)
    return np.asarray(np.minimum(1.0, 2 * ndtr(-b) + b * density * crossings))


def overshoot(x: Floats) -> Floats:
    """By how much a normal walk with steps of size x, in sigma, runs past its limit: the factor nu on the chance to
    reach it (Siegmund 1985, in the closed form of Siegmund & Yakir 2007, The Statistics of Gene Mapping).
    """
    safe = np.maximum(x, 1e-8)
    return np.asarray(
        (2 / safe)
        * (ndtr(safe / 2) - 0.5)
        / ((safe / 2) * ndtr(safe / 2) + np.exp(-safe * safe / 8) / math.sqrt(2 * math.pi))
    )


def _drift_chance(best: _Best, n: Ints, starts: Ints) -> Floats:
    """The same for a slope: length of the curve of unit ramps on the sphere (Hotelling's tube formula, an upper
    bound).
    """
    share = np.linspace(0, 1, 65)
    most, least = n - (best.first - starts), np.maximum(n - (best.last - starts), 1)
    after = np.exp(np.log(most)[:, None] * (1 - share) + np.log(least)[:, None] * share)
    size = n[:, None].astype(np.float64)
    total, spread = ramp(after, size)
    longer, shorter = after[:, :-1], after[:, 1:]
    lag = longer - shorter
    cross = (
        shorter * (shorter + 1) * (2 * shorter + 1) / 6
        + lag * shorter * (shorter + 1) / 2
        - total[:, :-1] * total[:, 1:] / size
    )
    together = cross / np.sqrt(np.maximum(spread[:, :-1] * spread[:, 1:], 1e-300))
    length = np.arccos(np.clip(together, -1, 1)).sum(axis=1)
    b = np.sqrt(2 * np.maximum(best.statistic, 0.0))
    return np.asarray(np.minimum(1.0, 2 * ndtr(-b) + length / math.pi * np.exp(-b * b / 2)))
