"""Many models on one chart, in the order they crossed the bench: no model waits for a baseline of its own.

Each reading is taken from its model's target. Where all models scatter alike, the deviations stand on one chart in the
unit of the readings (`deviations`); where they do not, each is divided by its model's sigma (`standardized`). `alike`
asks which. A target comes from the spec or the setup sheet, so that a model appears from its first instrument.

Source: ISO 7870-5, -8; Brown & Forsythe 1974, Robust tests for the equality of variances, J. American Statistical
Association 69.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc

from analysis.methods.problems import UnusableData
from analysis.methods.segments import ONE_STREAM, Flags, Floats, Ints, checked, lengths, sums
from analysis.methods.variables import TIE, Individuals, individuals, per_segment


@dataclass(frozen=True)
class Standardized:
    """Deviations of many streams on one scale, in sigma."""

    z: Floats  # (n,) deviations from target in sigmas of the model
    moving_range: Floats  # (n,) between neighbours; 0 at the start of a stream
    beyond: Flags  # (n,) |z| beyond `width`


@dataclass(frozen=True)
class Alike:
    """Do streams that share a short-run chart spread alike?"""

    f: float  # Brown-Forsythe statistic; 0 where nothing scatters
    p_value: float  # chance of so large a statistic where all models scatter alike
    fair: bool  # p_value at least alpha: pooling is fair
    models: int  # with three readings or more, the others say nothing


def _from_target(
    values: npt.ArrayLike, starts: npt.ArrayLike, model: npt.ArrayLike, target: npt.ArrayLike
) -> tuple[Floats, Ints, Ints]:
    readings, begins = checked(values, starts)
    which, wanted = np.asarray(model, dtype=np.int64), np.asarray(target, dtype=np.float64)
    if which.shape != readings.shape:
        raise UnusableData(f"wanted the model of each of {len(readings)} readings; got {which.size}")
    if wanted.ndim != 1 or which.min() < 0 or which.max() >= len(wanted):
        raise UnusableData(
            f"models are numbered from 0 to {wanted.size - 1}, one target each; got {which.min()} to {which.max()}"
        )
    aims = wanted[which]
    if not np.isfinite(aims).all():
        raise UnusableData(
            f"model {which[~np.isfinite(aims)][0]} has no target; take it from the spec or leave the model out"
        )
    return readings - aims, begins, which


def deviations(
    values: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    model: npt.ArrayLike,
    target: npt.ArrayLike,
    width: float = 3.0,
    baseline: Ints | int | None = None,
) -> tuple[Floats, Individuals]:
    """Readings minus their model's target, on one chart of individuals.

    Parameters
    ----------
    values : float, shape (n,)
        Readings of all models in time order, stream after stream.
    starts : int, shape (s,)
    model : int, shape (n,)
        Number of the model of each reading.
    target : float, shape (k,)
        Target of each model, in the unit of `values`.
    width, baseline
        As for `variables.individuals`.

    Returns
    -------
    deviations : float, shape (n,)
    Individuals
        Its centre is how far the bench is off target on average. Fair only where the models scatter alike.

    Raises
    ------
    UnusableData
        A model without a target, a stream of under two readings, a missing reading.

    Source: ISO 7870-8.
    """
    off, begins, _ = _from_target(values, starts, model, target)
    return off, individuals(off, begins, width=width, baseline=baseline)


def standardized(
    values: npt.ArrayLike,
    starts: npt.ArrayLike = ONE_STREAM,
    *,
    model: npt.ArrayLike,
    target: npt.ArrayLike,
    sigma: npt.ArrayLike,
    width: float = 3.0,
) -> Standardized:
    """Readings minus their model's target, in sigmas of that model: one chart with limits at +- width for all models.

    `sigma` (k,) above 0 is the model's own where it has one, else that of its like; with the rest as in `deviations`.

    Source: ISO 7870-8.
    """
    off, begins, which = _from_target(values, starts, model, target)
    scale = per_segment(sigma, np.size(target), "sigma")[which]
    if (scale <= 0).any() or not width > 0:
        raise UnusableData(
            "a standardized chart wants a sigma above 0 for each model and a width above 0: borrow the sigma of a "
            "like model"
        )
    z = off / scale
    moved = np.abs(np.diff(z, prepend=z[0]))
    moved[begins] = 0.0
    return Standardized(z, moved, np.abs(z) > width * (1 + TIE))


def alike(values: npt.ArrayLike, *, model: npt.ArrayLike, alpha: float = 0.05) -> Alike:
    """Do the models scatter alike, so that pooling them is fair?

    Parameters
    ----------
    values : float, shape (n,)
        Readings or deviations of all models, in any order.
    model : int, shape (n,)
        Number of the model of each reading; at least two models need three readings.
    alpha : float
        How often models that do scatter alike may be called unlike.

    Returns
    -------
    Alike
        By an analysis of variance of the distances from each model's median, which readings that are not normal upset
        little. Models with one or two readings are left out: two lie equally far from their median whatever they
        scatter. How often three like models are called unlike at alpha .05: .00 with 3 readings each, .03 with 15, .05
        with 60 (simulated). So few readings find little, and fair is no proof.

    Source: Brown & Forsythe 1974.
    """
    readings, _ = checked(values, ONE_STREAM)
    which = np.asarray(model, dtype=np.int64)
    if which.shape != readings.shape:
        raise UnusableData(f"wanted the model of each of {len(readings)} readings; got {which.size}")
    order = np.lexsort((readings, which))
    x, begins = readings[order], np.flatnonzero(np.diff(which[order], prepend=which[order][0] - 1))
    size = lengths(begins, len(x))
    told = size > 2
    if told.sum() < 2:
        raise UnusableData(
            "wanted at least two models with three readings each to compare how they scatter; got fewer: wait for more"
        )
    median = (x[begins + (size - 1) // 2] + x[begins + size // 2]) / 2
    keep = np.repeat(told, size)
    far, n = np.abs(x - np.repeat(median, size))[keep], size[told]
    edges = np.cumsum(n) - n
    mean = sums(far, edges) / n
    between = float((n * (mean - far.mean()) ** 2).sum()) / (len(n) - 1)
    rest = int(n.sum() - len(n))
    within = float(((far - np.repeat(mean, n)) ** 2).sum()) / rest
    if between <= TIE**2 * float(far.max()) ** 2:
        return Alike(0.0, 1.0, True, len(n))
    if within == 0:
        return Alike(float("inf"), 0.0, False, len(n))
    f = between / within
    chance = float(fdtrc(len(n) - 1, rest, f))
    return Alike(f, chance, chance >= alpha, len(n))
