"""Charts of counts: shares of pieces with a fault, faults per piece, and the time between rare faults.

Which chart: pieces that pass or fail -> `p` (share) or `np_` (count); faults counted, several may be on one piece ->
`u` (per piece) or `c` (equal pieces). Expected counts under about five make the usual limits false: exact=True. With
sizes in the hundreds shares wander more than chance allows: `p_prime`, `u_prime` from 25 points on; with fewer, limits
that look ahead (`p_ahead`, `u_ahead`). Faults so rare that most counts are 0: the time between them, in `rare_events`.

Every result is in the order of the points, streams as everywhere (`starts`); a limit is for its own point, since sizes
differ. `baseline` is how many first points of each stream the centre comes from, all by default.

Source: NIST/SEMATECH e-Handbook, section 6.3.3; ISO 7870-2; Laney 2002, Improved control charts for attributes, Quality
Engineering 14, 531-537; Thatcher 1964, Relationships between Bayesian and confidence limits for predictions, J. Royal
Statistical Society B 26.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr
from scipy.stats import binom, poisson

from analysis.methods.constants import d2
from analysis.methods.counts_ahead import binomial_ahead, poisson_ahead
from analysis.methods.problems import UnusableData
from analysis.methods.segments import ONE_STREAM, Flags, Floats, Ints, checked, firsts, lengths, places, sums
from analysis.methods.variables import tie

LANEY_POINTS = 25  # baseline points from which the spread of p' and u' is worth estimating


@dataclass(frozen=True)
class Attributes:
    """A chart of counts or shares: a row a point, limits at each."""

    value: Floats  # (n,) the plotted share, rate or count
    centre: Floats  # (n,)
    lower: Floats  # (n,)
    upper: Floats  # (n,)
    beyond: Flags  # (n,) a point on its limit is not beyond it


@dataclass(frozen=True)
class Prime:
    """A p' or u' chart: limits widened by the spread between the points."""

    chart: Attributes
    sigma_z: Floats  # (s,) how many times wider than chance alone the points scatter


@dataclass(frozen=True)
class _Counts:
    counts: Floats  # (n,)
    sizes: Floats  # (n,)
    starts: Ints  # (s,)
    length: Ints  # (s,)
    base: Ints  # (s,) points in the baseline
    total: Floats  # (s,) count in the baseline
    exposure: Floats  # (s,) size of the baseline

    @property
    def centre(self) -> Floats:
        return np.asarray(np.repeat(self.total / self.exposure, self.length))


def _counted(
    counts: npt.ArrayLike, sizes: npt.ArrayLike, starts: npt.ArrayLike, baseline: Ints | int | None, *, shares: bool
) -> _Counts:
    number, begins = checked(counts, starts)
    size = np.broadcast_to(np.asarray(sizes, dtype=np.float64), number.shape)
    if not np.isfinite(size).all() or (size <= 0).any():
        raise UnusableData("every point needs a size above 0: drop days on which nothing was looked at")
    if (number < 0).any() or (number != np.floor(number)).any():
        raise UnusableData(
            f"counts are whole numbers from 0; got {number[(number < 0) | (number != np.floor(number))][0]:g}"
        )
    if shares and ((number > size).any() or (size != np.floor(size)).any()):
        raise UnusableData(
            "a share wants whole sizes and no more faulty pieces than pieces; count faults per piece as u instead"
        )
    length = lengths(begins, len(number))
    base = (
        length
        if baseline is None
        else np.minimum(np.broadcast_to(np.asarray(baseline, dtype=np.int64), begins.shape), length)
    )
    if (base < 1).any():
        raise UnusableData("a baseline holds at least 1 point")
    at, edges = firsts(begins, len(number), base)
    return _Counts(number, size, begins, length, base, sums(number[at], edges), sums(size[at], edges))


def _chart(value: Floats, centre: Floats, lower: Floats, upper: Floats, sigma: Floats) -> Attributes:
    beyond = (value > upper + tie(upper, sigma)) | (value < lower - tie(lower, sigma))
    return Attributes(value, centre, lower, upper, np.asarray(beyond, dtype=np.bool_))


def _tail(width: float) -> float:
    if not width > 0:
        raise UnusableData(f"a limit lies above 0 sigma from the centre; got width {width:g}")
    return float(ndtr(-width))


def _share_limits(of: _Counts, width: float, exact: bool) -> tuple[Floats, Floats, Floats]:
    """Lower and upper limit and sigma of the share of each point."""
    tail, p = _tail(width), of.centre
    sigma = np.sqrt(p * (1 - p) / of.sizes)
    if exact:
        return np.maximum(binom.ppf(tail, of.sizes, p), 0) / of.sizes, binom.isf(tail, of.sizes, p) / of.sizes, sigma
    return np.maximum(p - width * sigma, 0), np.minimum(p + width * sigma, 1), sigma


def _rate_limits(of: _Counts, width: float, exact: bool) -> tuple[Floats, Floats, Floats]:
    tail, rate = _tail(width), of.centre
    sigma = np.sqrt(rate / of.sizes)
    if exact:
        mean = rate * of.sizes
        return np.maximum(poisson.ppf(tail, mean), 0) / of.sizes, poisson.isf(tail, mean) / of.sizes, sigma
    return np.maximum(rate - width * sigma, 0), rate + width * sigma, sigma


def p(
    counts: npt.ArrayLike,
    sizes: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    width: float = 3.0,
    exact: bool = False,
    baseline: Ints | int | None = None,
) -> Attributes:
    """Share of faulty pieces in samples of equal or unequal size.

    Parameters
    ----------
    counts : whole numbers, shape (n,)
        Faulty pieces in each sample, oldest first, stream after stream.
    sizes : whole numbers, shape (n,) or one
        Pieces in each sample, above 0.
    starts : int, shape (s,)
    width : float
        Limits in sigmas. With `exact`, each side's chance of a false flag is at most that of a normal point at `width`.
    exact : bool
        Limits from the binomial distribution: `upper` is the largest and `lower` the smallest share that is no flag.
    baseline : int or (s,), optional

    Raises
    ------
    UnusableData
        Counts that are no whole numbers or exceed their size, a size of 0, missing points.

    Source: NIST/SEMATECH e-Handbook, section 6.3.3.2.
    """
    of = _counted(counts, sizes, starts, baseline, shares=True)
    return _chart(of.counts / of.sizes, of.centre, *_share_limits(of, width, exact))


def np_(
    counts: npt.ArrayLike,
    sizes: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    width: float = 3.0,
    exact: bool = False,
    baseline: Ints | int | None = None,
) -> Attributes:
    """Number of faulty pieces; the `p` chart times the size of each sample."""
    of = _counted(counts, sizes, starts, baseline, shares=True)
    lower, upper, sigma = (line * of.sizes for line in _share_limits(of, width, exact))
    return _chart(of.counts, of.centre * of.sizes, lower, upper, sigma)


def u(
    counts: npt.ArrayLike,
    sizes: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    width: float = 3.0,
    exact: bool = False,
    baseline: Ints | int | None = None,
) -> Attributes:
    """Faults per piece (or per any size above 0) in samples of equal or unequal size; parameters and errors as in `p`.

    `exact` takes limits from the Poisson distribution. Source: NIST/SEMATECH e-Handbook, section 6.3.3.1.
    """
    of = _counted(counts, sizes, starts, baseline, shares=False)
    return _chart(of.counts / of.sizes, of.centre, *_rate_limits(of, width, exact))


def c(
    counts: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    width: float = 3.0,
    exact: bool = False,
    baseline: Ints | int | None = None,
) -> Attributes:
    """Faults in pieces of equal size: the `u` chart with size 1."""
    return u(counts, 1, starts, width=width, exact=exact, baseline=baseline)


def _prime(of: _Counts, sigma: Floats, width: float, top: float) -> Prime:
    _tail(width)
    if (of.base < LANEY_POINTS).any():
        few = int((of.base < LANEY_POINTS).argmax())
        raise UnusableData(
            f"stream {few} has {of.base[few]} baseline points; wanted {LANEY_POINTS} to estimate how far points "
            "scatter: use limits that look ahead"
        )
    value, centre = of.counts / of.sizes, of.centre
    z = (value - centre) / np.where(sigma > 0, sigma, 1.0)
    at, edges = firsts(of.starts, len(z), of.base)
    moved = np.abs(np.diff(z[at], prepend=0.0))
    moved[edges] = 0.0
    sigma_z = sums(moved, edges) / (of.base - 1) / d2(2)
    wide = np.repeat(sigma_z, of.length) * sigma
    return Prime(
        _chart(value, centre, np.maximum(centre - width * wide, 0), np.minimum(centre + width * wide, top), wide),
        sigma_z,
    )


def p_prime(
    counts: npt.ArrayLike,
    sizes: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    width: float = 3.0,
    baseline: Ints | int | None = None,
) -> Prime:
    """Share of faulty pieces with limits as wide as the points really scatter: p +- width sigma_p sigma_z.

    sigma_z = mean moving range of z / d2(2), z = (share - centre) / sigma_p. Parameters and errors as in `p`; at least
    25 baseline points, else UnusableData.

    Source: Laney 2002 (there with d2 rounded to 1.128).
    """
    of = _counted(counts, sizes, starts, baseline, shares=True)
    return _prime(of, np.sqrt(of.centre * (1 - of.centre) / of.sizes), width, 1.0)


def u_prime(
    counts: npt.ArrayLike,
    sizes: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    width: float = 3.0,
    baseline: Ints | int | None = None,
) -> Prime:
    """Faults per piece with limits as wide as the points really scatter; as `p_prime`, with sigma_u."""
    of = _counted(counts, sizes, starts, baseline, shares=False)
    return _prime(of, np.sqrt(of.centre / of.sizes), width, np.inf)


def p_ahead(
    counts: npt.ArrayLike,
    sizes: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    baseline: Ints | int,
    false_rate: float = 0.003,
) -> Attributes:
    """Shares judged by limits that allow for a short baseline: `binomial_ahead` for each point after the baseline.

    Points of the baseline carry the limits too, as a picture; they made them and are never beyond.
    """
    return _ahead(_counted(counts, sizes, starts, baseline, shares=True), false_rate, shares=True)


def u_ahead(
    counts: npt.ArrayLike,
    sizes: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    baseline: Ints | int,
    false_rate: float = 0.003,
) -> Attributes:
    """Faults per piece judged by limits that allow for a short baseline: `poisson_ahead`, as `p_ahead`."""
    return _ahead(_counted(counts, sizes, starts, baseline, shares=False), false_rate, shares=False)


def _ahead(of: _Counts, false_rate: float, *, shares: bool) -> Attributes:
    look = binomial_ahead if shares else poisson_ahead
    lower, upper = look(
        np.repeat(of.total, of.length), np.repeat(of.exposure, of.length), of.sizes, false_rate=false_rate
    )
    later = places(of.starts, len(of.counts)) >= np.repeat(of.base, of.length)
    beyond = later & ((of.counts > upper) | (of.counts < lower))
    return Attributes(of.counts / of.sizes, of.centre, lower / of.sizes, upper / of.sizes, beyond)
