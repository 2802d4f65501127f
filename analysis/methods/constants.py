"""The factors of control charts for any subgroup size, computed from the normal distribution instead of typed in.

Source: ISO 7870-2; ASTM E2587. Definitions of d2 and d3: Tippett 1925, On the extreme individuals and the range of
samples taken from a normal population, Biometrika 17.
"""

from functools import lru_cache
from math import exp, lgamma, sqrt

import numpy as np
from scipy.special import log_ndtr, ndtr

from analysis.methods.problems import UnusableData

_REACH = (
    12.0  # beyond 12 sigma a normal reading weighs under 1e-32, so even a billion of them leave the integrals alone
)
_GRID = np.linspace(
    -_REACH, _REACH, 4801
)  # the trapezoid rule on a smooth curve that dies out is exact to the last digits
_STEP = float(_GRID[1] - _GRID[0])
_WIDTHS = tuple(
    _REACH * (part + shift) for part, shift in zip(np.polynomial.legendre.leggauss(240), (1, 0), strict=True)
)  # on 0 to 24


def _size(n: int) -> int:
    if n != int(n) or n < 2:
        raise UnusableData(
            f"a factor needs a subgroup of at least 2 readings; got {n}: chart single readings as individuals"
        )
    return int(n)


@lru_cache(maxsize=4096)
def d2(n: int) -> float:
    """Mean range of n readings from a normal distribution of sigma 1; n at least 2, else UnusableData.

    Integral of 1 - F^n - (1 - F)^n over the line.
    """
    size = _size(n)
    return float(np.sum(-np.expm1(size * log_ndtr(_GRID)) - ndtr(-_GRID) ** size) * _STEP)


@lru_cache(maxsize=4096)
def d3(n: int) -> float:
    """Standard deviation of the range of n readings from a normal distribution of sigma 1; n at least 2, else
    UnusableData.

    Mean squared range = integral of w^2 n(n-1) f(x) f(x+w) (F(x+w) - F(x))^(n-2) over x and over w > 0.
    """
    size = _size(n)
    w, weight = _WIDTHS
    x = _GRID[::12, None]  # a step of 0.06 sigma
    inside = np.maximum(ndtr(x + w) - ndtr(x), 0.0)
    density = size * (size - 1) * np.exp(-(x**2 + (x + w) ** 2) / 2) / (2 * np.pi) * inside ** (size - 2)
    total = float((weight * w * w * density.sum(axis=0)).sum() * _STEP * 12)
    return sqrt(total - d2(size) ** 2)


@lru_cache(maxsize=4096)
def c4(n: int) -> float:
    """Mean standard deviation (divisor n - 1) of n readings from a normal distribution of sigma 1; n at least 2, else
    UnusableData.
    """
    size = _size(n)
    return sqrt(2 / (size - 1)) * exp(lgamma(size / 2) - lgamma((size - 1) / 2))


def a2(n: int) -> float:
    """Limits of the mean from the mean range, at 3 sigma."""
    return 3 / (d2(n) * sqrt(n))


def a3(n: int) -> float:
    """Limits of the mean from the mean standard deviation, at 3 sigma."""
    return 3 / (c4(n) * sqrt(n))


def b3(n: int) -> float:
    """Lower limit of s from the mean s."""
    return max(0.0, b5(n) / c4(n))


def b4(n: int) -> float:
    """Upper limit of s from the mean s."""
    return b6(n) / c4(n)


def b5(n: int) -> float:
    """Lower limit of s from sigma."""
    return max(0.0, c4(n) - 3 * sqrt(1 - c4(n) ** 2))


def b6(n: int) -> float:
    """Upper limit of s from sigma."""
    return c4(n) + 3 * sqrt(1 - c4(n) ** 2)


def big_d1(n: int) -> float:
    """D1: lower limit of the range from sigma."""
    return max(0.0, d2(n) - 3 * d3(n))


def big_d2(n: int) -> float:
    """D2: upper limit of the range from sigma."""
    return d2(n) + 3 * d3(n)


def big_d3(n: int) -> float:
    """D3: lower limit of the range from the mean range."""
    return big_d1(n) / d2(n)


def big_d4(n: int) -> float:
    """D4: upper limit of the range from the mean range."""
    return big_d2(n) / d2(n)


def e2(n: int) -> float:
    """Limits of single readings from the mean moving range of spans of n."""
    return 3 / d2(n)
