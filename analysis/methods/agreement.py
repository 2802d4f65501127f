"""Do people who judge by eye or ear agree: kappa for classes, intraclass correlation for numbers.

1 is full agreement, 0 what chance alone would give.
Source: Cohen 1960, Educational and Psychological Measurement 20; Fleiss 1971, Psychological Bulletin 76; Fleiss, Nee &
Landis 1979, Psychological Bulletin 86; Shrout & Fleiss 1979, Psychological Bulletin 86.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats


@dataclass(frozen=True)
class Kappa:
    """Agreement beyond chance; nan where all judgements fell into one class, so that chance alone agrees too."""

    kappa: float
    observed: float  # share of agreements seen
    by_chance: float  # share expected of chance


@dataclass(frozen=True)
class FleissKappa(Kappa):
    """With the classes one by one and a test against chance."""

    shares: Floats  # (classes,) share of all judgements
    by_class: Floats  # (classes,) nan for a class nobody or everybody chose
    z: float  # against no agreement beyond chance, variance of 1979


@dataclass(frozen=True)
class Intraclass:
    """Mean squares and the six correlations of Shrout & Fleiss: one judge's reading, and the mean of k judges."""

    between: float
    within: float
    judges: float
    residual: float
    icc11: float
    icc21: float
    icc31: float
    icc1k: float
    icc2k: float
    icc3k: float


def cohen_kappa(table: npt.ArrayLike) -> Kappa:
    """Agreement of two readers, or of one with the truth, from a square table of counts (first reader's class,
    second's).
    """
    counts = np.asarray(table, dtype=np.float64)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or counts.sum() == 0 or bool((counts < 0).any()):
        raise UnusableData(
            f"agreement of two readers needs a square table of counts; got shape {counts.shape} with {counts.sum():g} "
            "parts"
        )
    shares = counts / counts.sum()
    observed, chance = float(np.trace(shares)), float(shares.sum(axis=1) @ shares.sum(axis=0))
    return Kappa((observed - chance) / (1 - chance) if chance < 1 else float("nan"), observed, chance)


def cross_table(first: npt.ArrayLike, second: npt.ArrayLike) -> npt.NDArray[np.int64]:
    """Two readers' classes of the same parts as a square table over all classes either used, sorted."""
    a, b = np.asarray(first), np.asarray(second)
    if a.shape != b.shape or a.ndim != 1 or len(a) == 0:
        raise UnusableData(f"two readers must have judged the same parts; got {a.shape} and {b.shape}")
    names, which = np.unique(np.concatenate([a, b]), return_inverse=True)
    table = np.zeros((len(names), len(names)), dtype=np.int64)
    np.add.at(table, (which[: len(a)], which[len(a) :]), 1)
    return table


def fleiss_kappa(counts: npt.ArrayLike) -> FleissKappa:
    """Agreement of many readers: `counts` of shape (parts, classes), how many readers put the part into the class.

    Every part judged equally often, at least twice, else UnusableData.
    """
    x = np.asarray(counts, dtype=np.float64)
    if x.ndim != 2 or len(x) == 0 or bool((x < 0).any()):
        raise UnusableData(f"agreement needs counts of parts by classes; got shape {x.shape}")
    judged = x.sum(axis=1)
    readers = float(judged[0])
    if readers < 2 or bool((judged != readers).any()):
        raise UnusableData(
            f"each part must be judged equally often, twice at least; got {judged.min():g} to {judged.max():g} "
            "judgements"
        )
    shares = x.sum(axis=0) / x.sum()
    observed = float(((x**2).sum(axis=1) - readers).mean() / (readers * (readers - 1)))
    chance = float((shares**2).sum())
    q = 1 - shares
    free = float((shares * q).sum())
    if free == 0:
        return FleissKappa(float("nan"), observed, chance, shares, np.full(len(shares), np.nan), float("nan"))
    apart = (x * (readers - x)).sum(axis=0)
    room = len(x) * readers * (readers - 1) * shares * q
    by_class = 1 - np.divide(apart, room, out=np.full(len(shares), np.nan), where=room > 0)
    variance = 2 * (free**2 - float((shares * q * (q - shares)).sum())) / (len(x) * readers * (readers - 1) * free**2)
    kappa = (observed - chance) / (1 - chance)
    return FleissKappa(kappa, observed, chance, shares, by_class, kappa / np.sqrt(variance))


def intraclass(readings: npt.ArrayLike) -> Intraclass:
    """Intraclass correlations of `readings`, shape (parts, judges), two of each at least; nan where nothing varies."""
    x = np.asarray(readings, dtype=np.float64)
    if x.ndim != 2 or min(x.shape) < 2 or not bool(np.isfinite(x).all()):
        raise UnusableData(
            f"agreement in numbers needs two parts and two judges, no reading missing; got shape {x.shape}"
        )
    n, k = x.shape
    part, judge, mean = x.mean(axis=1), x.mean(axis=0), x.mean()
    bms = k * float(((part - mean) ** 2).sum()) / (n - 1)
    wms = float(((x - part[:, None]) ** 2).sum()) / (n * (k - 1))
    jms = n * float(((judge - mean) ** 2).sum()) / (k - 1)
    ems = float(((x - part[:, None] - judge[None, :] + mean) ** 2).sum()) / ((n - 1) * (k - 1))

    def share(of: float, whole: float) -> float:
        return of / whole if whole != 0 else float("nan")

    return Intraclass(
        bms,
        wms,
        jms,
        ems,
        icc11=share(bms - wms, bms + (k - 1) * wms),
        icc21=share(bms - ems, bms + (k - 1) * ems + k * (jms - ems) / n),
        icc31=share(bms - ems, bms + (k - 1) * ems),
        icc1k=share(bms - wms, bms),
        icc2k=share(bms - ems, bms + (jms - ems) / n),
        icc3k=share(bms - ems, bms),
    )
