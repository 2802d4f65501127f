"""Mean and sigma behind readings that a gauge rounded to steps too wide for their spread.

A reading x on a gauge of step q says only that the true value lay between x - q/2 and x + q/2. The likeliest normal
curve for such cells has less bias than mean and s of the rounded numbers once q is about sigma or wider.
Source: Vardeman & Lee 2005, Likelihood-based statistical estimation from quantized data, IEEE Trans. Instrum. Meas. 54.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.methods.problems import UnusableData
from analysis.methods.segments import ONE_STREAM, Flags, Floats, checked, lengths, segment_ids

LEAST_CELLS = 3  # two neighbouring values are likeliest with no spread at all, right on the edge between them


@dataclass(frozen=True)
class Rounded:
    """One number a stream, in the unit of the readings; nan where `known` is False."""

    mean: Floats  # (s,)
    sd: Floats  # (s,) likeliest sigma times sqrt(n / (n - 1)), to compare with s
    mean_error: Floats  # (s,) standard error
    sd_error: Floats  # (s,)
    known: Flags  # (s,) False: fewer than three different values, so sigma cannot be told; it is below about one step


def rounded_normal(values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, step: npt.ArrayLike) -> Rounded:
    """Likeliest mean and sigma of normal readings rounded to a step, for one stream or many.

    Parameters
    ----------
    values : float, shape (n,)
        Rounded readings, stream after stream.
    starts : int, shape (s,)
    step : float or (s,)
        The gauge's step q in the unit of `values`, above 0; several gauges in a stream: the coarsest.

    Raises
    ------
    UnusableData
        A step that is not above 0, or missing readings.
    """
    x, begins = checked(values, starts)
    q = np.broadcast_to(np.asarray(step, dtype=np.float64), begins.shape)
    if not bool((np.isfinite(q) & (q > 0)).all()):
        raise UnusableData("a gauge's step must be above 0; enter its resolution")
    cells = _cells(x, begins)
    stream, centre, count = cells.stream, cells.centre, cells.count
    n = lengths(begins, len(x)).astype(np.float64)
    sizes = np.bincount(stream, minlength=len(begins))
    known = sizes >= LEAST_CELLS
    mean = np.bincount(stream, count * centre, len(begins)) / n
    sd = np.sqrt(np.maximum(np.bincount(stream, count * (centre - mean[stream]) ** 2, len(begins)) / n, (q / 4) ** 2))
    if known.any():
        mean, sd = _likeliest(cells, n, q, mean, sd, known)
    mean_error, sd_error = _errors(cells, q, mean, sd)
    with np.errstate(divide="ignore"):
        unbiased = np.sqrt(n / np.maximum(n - 1, 1))
    told = [np.where(known, a, np.nan) for a in (mean, sd * unbiased, mean_error * unbiased, sd_error * unbiased)]
    return Rounded(told[0], told[1], told[2], told[3], known)


@dataclass(frozen=True)
class _Cells:
    """Different values of each stream, shape (c,)."""

    stream: npt.NDArray[np.int64]
    centre: Floats  # the value, in the middle of its cell
    count: Floats  # how often it came


def _cells(x: Floats, starts: npt.NDArray[np.int64]) -> _Cells:
    """Different values a stream and how often each came: what the likelihood needs, far shorter than the readings."""
    stream = segment_ids(starts, len(x))
    order = np.lexsort((x, stream))
    s, v = stream[order], x[order]
    new = np.r_[True, (np.diff(v) > 0) | (np.diff(s) > 0)]
    at = np.flatnonzero(new)
    return _Cells(s[at], v[at], np.diff(at, append=len(x)).astype(np.float64))


def _likeliest(cells: _Cells, n: Floats, q: Floats, mean: Floats, sd: Floats, known: Flags) -> tuple[Floats, Floats]:
    """Expectation-maximisation: put the mean and mean square of the truth inside its cell for each reading, and
    again.
    """
    stream, centre, count = cells.stream, cells.centre, cells.count
    s = len(n)
    for _ in range(5000):
        inside, square = _within(centre - mean[stream], q[stream] / 2, sd[stream])
        shift = np.bincount(stream, count * inside, s) / n
        wide = np.sqrt(np.maximum(np.bincount(stream, count * square, s) / n - shift**2, 1e-300))
        moved = np.where(known, np.maximum(np.abs(shift), np.abs(wide - sd)) / sd, 0.0)
        mean, sd = np.where(known, mean + shift, mean), np.where(known, wide, sd)
        if moved.max() < 1e-11:
            break
    return mean, sd


def _within(centre: Floats, half: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """Mean and mean square of a normal deviate of `sd` about 0, known to lie within `half` of `centre`."""
    a, b, share = _edges(centre, half, sd)
    pa, pb = np.exp(-(a**2) / 2) / np.sqrt(2 * np.pi), np.exp(-(b**2) / 2) / np.sqrt(2 * np.pi)
    return sd * (pa - pb) / share, sd**2 * (1 + (a * pa - b * pb) / share)


def _edges(centre: Floats, half: Floats, sd: Floats) -> tuple[Floats, Floats, Floats]:
    """Edges in sigma and the share between them, taken on the low side where the digits are."""
    low, high = (centre - half) / sd, (centre + half) / sd
    flip = centre > 0
    share = np.where(flip, special.ndtr(-low) - special.ndtr(-high), special.ndtr(high) - special.ndtr(low))
    return low, high, np.maximum(share, 1e-300)


def _errors(cells: _Cells, q: Floats, mean: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """Standard errors from the second derivatives of the log-likelihood, taken by central differences of its slopes."""
    stream, centre, count, s = cells.stream, cells.centre, cells.count, len(q)

    def slopes(m: Floats, w: Floats) -> tuple[Floats, Floats]:
        a, b, share = _edges(centre - m[stream], q[stream] / 2, w[stream])
        pa, pb = np.exp(-(a**2) / 2) / np.sqrt(2 * np.pi), np.exp(-(b**2) / 2) / np.sqrt(2 * np.pi)
        about_mean = np.bincount(stream, count * (pa - pb) / share / w[stream], s)
        about_sd = np.bincount(stream, count * (a * pa - b * pb) / share / w[stream], s)
        return about_mean.astype(np.float64), about_sd.astype(np.float64)

    h = 1e-5 * sd
    up_mean, down_mean, up_sd, down_sd = (
        slopes(mean + h, sd),
        slopes(mean - h, sd),
        slopes(mean, sd + h),
        slopes(mean, sd - h),
    )
    mm = -(up_mean[0] - down_mean[0]) / (2 * h)
    ss = -(up_sd[1] - down_sd[1]) / (2 * h)
    ms = -(up_mean[1] - down_mean[1]) / (2 * h)
    free = mm * ss - ms**2
    free = np.where(free > 0, free, np.nan)  # only where sigma cannot be told; masked by `known`
    with np.errstate(invalid="ignore"):
        return np.sqrt(ss / free), np.sqrt(mm / free)
