"""Limits that allow for being estimated: the mean in-control signal rate over baselines is the wished one.

A chart whose centre is the mean and whose sigma is the mean moving range / d2 of a baseline of m readings signals, in
control, more often than the same chart with the true values: by a factor of 2.4 at m = 100 for limits meant for one
signal in 7,000. The width here is chosen so that the rate, averaged over all baselines of that size, is the wished one.
Nothing is promised for one stream: `individuals_spread` and `ewma_spread` say how far streams lie apart.

For normal readings the mean and the moving ranges of a baseline are independent. The mean is normal with sd 1 /
sqrt(m); sigma / true sigma is taken as a gamma variable moved along the axis, with the exact mean, variance and third
moment of the mean moving range. The usual chi with nu near 0.605 (m - 1) degrees of freedom, hence a t-like factor, has
too light a tail to the right and puts the rate 4 % too high at m = 50; with three moments it is within 0.3 % from m =
25 up (both against 400,000 baselines).

Measured rates over the promise in control, limits from 100 readings, single readings for 1 in 7,000 and EWMA for 1 in
8,000 (tests/trials/false_signals.md); the promise is for normal readings, and single readings far out hang on the law
of the tails:

- normal 1.00 and 1.01; rounded to half a sigma 1.20 and 1.13
- t with 5 degrees of freedom 33 and 4.3; gamma(4) 22 and 3.3
- 3.8-sigma limits without the allowance: 4.5 from 50 normal readings, 2.3 from 100, 1.6 from 200

Source: Quesenberry (1993), J. Quality Technology 25, 237-247; Jones, Champ & Rigdon (2001), Technometrics 43, 156-167;
Saleh et al. (2015), J. Quality Technology 47. Moments of the mean moving range: Hoel (1946), Annals of Mathematical
Statistics 17; the mean product of three absolute normal variables: Nabeya (1952), Annals of the Institute of
Statistical Mathematics 4 (from memory, checked by quadrature).
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator, RectBivariateSpline
from scipy.linalg import eigh_tridiagonal
from scipy.optimize import brentq, elementwise
from scipy.special import gammaincinv, ndtr, ndtri

from analysis.methods.problems import UnusableData
from analysis.methods.run_length_weighted import LARGEST_WIDTH, Start, ewma_arls
from analysis.methods.segments import Floats

MEAN_NODES, SIGMA_NODES = (
    40,
    28,
)  # Gauss nodes over the two estimates; twice as many move no width by 1e-3 from m = 20 up
KNOTS = 64
SMALLEST_WIDTH = 0.02
WIDEST = 40.0  # where a width is looked for
SMALLEST_SIGMA = 1e-3  # of the true one; the gamma law of a handful of readings reaches below 0
FARTHEST = 6.0  # how far off centre, in sigmas, the table of rates reaches


@dataclass(frozen=True)
class SigmaLaw:
    """Estimated sigma / true sigma = least + scale x gamma(shape): the law of (mean moving range / d2) / sigma."""

    least: float
    scale: float
    shape: float


@lru_cache(maxsize=4096)
def sigma_law(baseline: int) -> SigmaLaw:
    """The law of the moving-range estimate of sigma from `baseline` normal readings, at least 2, by its first three
    moments.
    """
    if baseline < 2:
        raise UnusableData(f"a baseline of {baseline} readings has no moving range; wanted at least 2")
    steps = baseline - 1  # neighbouring differences have correlation -1/2, others are independent; all here over E|U|
    together = math.sqrt(3) / 2 + math.pi / 12  # E|UV|
    variance = steps * (math.pi / 2 - 1) + 2 * (steps - 1) * (together - 1)
    own = math.pi - 3 * math.pi / 2 + 2  # third cumulant of |U|
    pair = 5 * math.pi / 8 - math.pi / 2 - 2 * together + 2  # of |U|, |U|, |V|: E U U |V| = E|V|^3 / 4 + 3/4 E|V| E U^2
    three = math.sqrt(0.5) + math.asin(math.sqrt(1 / 3)) - 0.25 * math.asin(1 / 3)  # E|UVW| of three in a row (Nabeya)
    triple = three - 2 * together + 1
    third = steps * own + 6 * (steps - 1) * pair + 6 * max(steps - 2, 0) * triple
    variance, third = variance / steps**2, third / steps**3
    shape = 4 * variance**3 / third**2
    scale = math.sqrt(variance / shape)
    return SigmaLaw(1 - shape * scale, scale, shape)


@lru_cache(maxsize=4096)
def _sigma_nodes(baseline: int) -> tuple[Floats, Floats]:
    """Gauss nodes and weights for estimated sigma / true sigma: generalized Laguerre by Golub & Welsch, sound for any
    shape.
    """
    law = sigma_law(baseline)
    k = np.arange(SIGMA_NODES, dtype=np.float64)
    nodes, vectors = eigh_tridiagonal(2 * k + law.shape, np.sqrt(k[1:] * (k[1:] + law.shape - 1)))
    return np.maximum(law.least + law.scale * nodes, SMALLEST_SIGMA), vectors[0] ** 2


@lru_cache(maxsize=1)
def _mean_nodes() -> tuple[Floats, Floats]:
    """Positive Gauss-Hermite nodes and doubled weights for a standard normal estimate: rates are even in the mean's
    error.
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(MEAN_NODES)
    half = MEAN_NODES // 2
    return nodes[half:], 2 * weights[half:] / weights.sum()


@lru_cache(maxsize=16)
def _rate_table(weight: float) -> RectBivariateSpline:
    """Log of 1 / ARL of the EWMA over width and distance from centre, once per weight; mean rates from it are within
    3e-4 of themselves.
    """
    widths = SMALLEST_WIDTH + (LARGEST_WIDTH - SMALLEST_WIDTH) * np.linspace(0, 1, 61) ** 1.3
    shifts = FARTHEST * np.linspace(0, 1, 49) ** 1.5
    arls = ewma_arls(widths[:, None], shifts[None, :], weight=weight)
    return RectBivariateSpline(widths, shifts, -np.log(arls), kx=3, ky=3, s=0)


def _log_rate(width: Floats, shift: Floats, weight: float) -> Floats:
    inside = np.clip(width, SMALLEST_WIDTH, LARGEST_WIDTH)
    return np.asarray(_rate_table(weight).ev(inside, np.minimum(np.abs(shift), FARTHEST)))


def _mean_rates(widths: Floats, baselines: npt.NDArray[np.int64], weight: float) -> Floats:
    """Mean of 1 / ARL over baselines of size baselines (k,) for charts of width (k,)."""
    nodes = [_sigma_nodes(int(m)) for m in baselines]
    sigma, sigma_weight = np.stack([node for node, _ in nodes]), np.stack([weights for _, weights in nodes])
    mean, mean_weight = _mean_nodes()
    off = mean[None, :] / np.sqrt(baselines)[:, None]
    shape = (len(widths), SIGMA_NODES, len(mean))
    wide = np.broadcast_to((widths[:, None] * sigma)[:, :, None], shape)
    rates = np.exp(_log_rate(wide.ravel(), np.broadcast_to(off[:, None, :], shape).ravel(), weight)).reshape(shape)
    return np.asarray(np.einsum("ksm,ks,m->k", rates, sigma_weight, mean_weight))


def _checked_arl(arl: float) -> None:
    if not (math.isfinite(arl) and arl >= 2):
        raise UnusableData(f"the wished run length is {arl}; wanted at least 2 readings between false signals")


def ewma_rate(width: float, *, baseline: int | None, weight: float = 0.1) -> float:
    """In-control signals a reading, 1 / ARL, of an EWMA chart; as a mean over baselines of that many readings (None:
    known limits).
    """
    if baseline is None:
        return float(1 / ewma_arls(width, weight=weight))
    return float(_mean_rates(np.array([width], dtype=np.float64), np.array([baseline]), weight)[0])


@lru_cache(maxsize=4096)
def ewma_width(arl: float, *, weight: float = 0.1, baseline: int | None) -> float:
    """Width of the EWMA chart that signals, in control, once in `arl` readings as a mean over baselines.

    Parameters
    ----------
    arl : float
        1 / (false signals a reading), at least 2.
    weight : float
        Weight of the newest reading.
    baseline : int or None
        Readings behind centre (their mean) and sigma (their mean moving range / d2); None where both are known.

    Returns
    -------
    float
        Limits are centre +- width sigma sqrt(weight / (2 - weight)).
    """
    _checked_arl(arl)
    if baseline is None:
        return float(
            brentq(
                lambda width: math.log(float(ewma_arls(width, weight=weight)) / arl),
                SMALLEST_WIDTH,
                LARGEST_WIDTH,
                xtol=1e-7,
            )
        )
    return float(_widths(arl, np.array([baseline], dtype=np.int64), weight)[0])


def _widths(arl: float, baselines: npt.NDArray[np.int64], weight: float) -> Floats:
    def excess(width: Floats, place: npt.NDArray[np.float64]) -> Floats:
        return np.log(_mean_rates(width, baselines[place.astype(np.int64)], weight) * arl)

    places = np.arange(len(baselines), dtype=np.float64)
    low, high = np.full(len(baselines), SMALLEST_WIDTH), np.full(len(baselines), WIDEST)
    found = elementwise.find_root(excess, (low, high), args=(places,), tolerances={"xatol": 1e-6})
    if not bool(found.success.all()):
        raise UnusableData(
            f"no width gives one false signal in {arl} readings from a baseline of {int(baselines.min())}; wanted a "
            "longer baseline"
        )
    return np.asarray(found.x, dtype=np.float64)


def ewma_widths(arl: float, baselines: npt.ArrayLike, *, weight: float = 0.1) -> Floats:
    """`ewma_width` for many baselines at once.

    Parameters
    ----------
    arl : float
        1 / (false signals a reading), the same for every chart.
    baselines : int, shape (k,)
        Readings behind each chart's limits, at least 2 (the moving-range law is checked from 25 up).

    Returns
    -------
    float, shape (k,)
        Up to 64 different sizes are solved one by one; more are interpolated over 64 sizes evenly apart in log m,
        within 2e-4 of the solved width from 25 readings up.
    """
    _checked_arl(arl)
    sizes = np.asarray(baselines, dtype=np.int64)
    different, places = np.unique(sizes, return_inverse=True)
    if len(different) <= KNOTS:
        return _widths(arl, different, weight)[places]
    knots = np.unique(np.round(np.geomspace(different[0], different[-1], KNOTS)).astype(np.int64))
    return np.asarray(PchipInterpolator(np.log(knots), _widths(arl, knots, weight))(np.log(sizes)))


def _estimates(baseline: int) -> tuple[Floats, Floats, Floats]:
    """Quadrature over a baseline's estimates: error of the mean in sigma, sigma ratio, weight, each (k,); both signs of
    the mean.
    """
    sigma, sigma_weight = _sigma_nodes(baseline)
    mean, mean_weight = _mean_nodes()
    off = np.concatenate((-mean[::-1], mean)) / math.sqrt(baseline)
    weight = np.concatenate((mean_weight[::-1], mean_weight)) / 2
    pairs = np.outer(weight, sigma_weight)
    kept = pairs > 1e-12
    return (
        np.broadcast_to(off[:, None], pairs.shape)[kept],
        np.broadcast_to(sigma[None, :], pairs.shape)[kept],
        pairs[kept],
    )


@lru_cache(maxsize=1024)
def ewma_arl(width: float, *, weight: float = 0.1, shift: float = 0.0, baseline: int | None = None) -> float:
    """Mean run length from a start at the centre with the shift there from the first reading; with a baseline, averaged
    over it.

    In control and from a short baseline this mean is ruled by the few streams with very wide limits: `ewma_rate` is the
    number to plan with. Widths in true sigma beyond 7.5 count as 7.5.
    """
    return _averaged(width, weight, shift, baseline, start="centre")


@lru_cache(maxsize=1024)
def ewma_delay(shift: float, width: float, weight: float = 0.1, baseline: int | None = None) -> float:
    """Mean number of readings until an EWMA that has long run in control signals a shift of the mean by `shift` true
    sigmas.

    With a baseline the delay is averaged over the estimates it may give (0.2 s a call). For small shifts and short
    baselines that mean is ruled by the few streams whose limits are far too wide; without a baseline it is the delay of
    the stream whose estimates are right, for many streams at once `ewma_arls(widths, shift, weight=weight,
    start="steady")`.
    """
    return _averaged(width, weight, shift, baseline, start="steady")


def _averaged(width: float, weight: float, shift: float, baseline: int | None, *, start: Start) -> float:
    if baseline is None:
        return float(ewma_arls(width, shift, weight=weight, start=start))
    off, sigma, share = _estimates(baseline)
    return float(share @ ewma_arls(width * sigma, shift, off=off, weight=weight, start=start))


@lru_cache(maxsize=4096)
def individuals_width(arl: float, *, baseline: int | None) -> float:
    """Width of the chart of single readings that signals, in control, once in `arl` readings as a mean over baselines.

    Limits are mean +- width x (mean moving range / d2). With `baseline` None the normal quantile; else within 2 % of
    the t-like factor sqrt(1 + 1/m) t(nu, 1 - 1 / (2 arl)), nu = 0.605 (m - 1), from 50 readings up.
    """
    _checked_arl(arl)
    if baseline is None:
        return float(-ndtri(0.5 / arl))
    if individuals_rate(WIDEST, baseline=baseline) * arl > 1:
        raise UnusableData(
            f"no width gives one false signal in {arl} readings from a baseline of {baseline}; wanted a longer baseline"
        )
    return float(brentq(lambda width: individuals_rate(width, baseline=baseline) * arl - 1, 0.01, WIDEST, xtol=1e-9))


def individuals_rate(width: float, *, baseline: int | None) -> float:
    """In-control signals a reading of a chart of single readings, as a mean over baselines of that many readings (None:
    known limits).
    """
    if baseline is None:
        return float(2 * ndtr(-width))
    sigma, weight = _sigma_nodes(baseline)
    return float(
        weight @ (2 * ndtr(-width * sigma / math.sqrt(1 + 1 / baseline)))
    )  # reading - mean has variance 1 + 1/m


def ewma_spread(
    width: float, *, baseline: int, weight: float = 0.1, shares: tuple[float, ...] = (0.05, 0.25, 0.5, 0.75, 0.95)
) -> Floats:
    """Quantiles over baselines of one stream's own in-control run length, shape (len(shares),): how far streams lie
    apart.

    Widths in true sigma beyond 7.5 count as 7.5, so the longest run lengths here stop near 1e13.
    """
    off, sigma = _even_estimates(baseline)
    return np.quantile(np.exp(-_log_rate((width * sigma).ravel(), off.ravel(), weight)), shares)


def individuals_spread(
    width: float, *, baseline: int, shares: tuple[float, ...] = (0.05, 0.25, 0.5, 0.75, 0.95)
) -> Floats:
    """Quantiles over baselines of one stream's own in-control run length on a chart of single readings, shape
    (len(shares),).
    """
    off, sigma = _even_estimates(baseline)
    return np.asarray(np.quantile(1 / (ndtr(off - width * sigma) + ndtr(-off - width * sigma)), shares))


def _even_estimates(baseline: int) -> tuple[Floats, Floats]:
    """Equally likely errors of the mean (in sigma) and sigma ratios: midpoints of 200 slices of probability each, shape
    (200, 200).
    """
    law = sigma_law(baseline)
    middles = (np.arange(200) + 0.5) / 200
    off = ndtri(middles) / math.sqrt(baseline)
    sigma = np.maximum(law.least + law.scale * gammaincinv(law.shape, middles), SMALLEST_SIGMA)
    return np.broadcast_to(off[:, None], (200, 200)), np.broadcast_to(sigma[None, :], (200, 200))
