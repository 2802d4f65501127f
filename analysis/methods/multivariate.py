"""Several characteristics of one instrument on one chart: Hotelling's T2, and which of them drive a signal.

Use it where characteristics move together (action at both sides of a neck): a point may be odd as a pair though neither
reading is odd alone. T2 sees the baseline's own points in phase I (limits by the beta distribution, which their being
part of the estimate asks for) and later ones in phase II (F).

Source: Tracy, Young & Mason 1992, Multivariate control charts for individual observations, J. Quality Technology 24,
88-95; Mason, Tracy & Young 1995, Decomposition of T2 for multivariate control chart interpretation, J. Quality
Technology 27; ISO 7870-7; grouped: Alt 1985, Multivariate quality control (limits from memory, checked by a printed
case).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv, fdtri

from analysis.methods.problems import UnusableData
from analysis.methods.segments import ONE_STREAM, Flags, Floats, Ints, checked, lengths, segment_ids
from analysis.methods.variables import TIE

FAINT = 1e-12  # a direction with less than this share of the scatter is no direction of its own


@dataclass(frozen=True)
class Model:
    """What steady points look like, for each of s streams."""

    n: Ints  # (s,) points (or subgroups) it came from
    mean: Floats  # (s, p)
    covariance: Floats  # (s, p, p) of one reading
    inverse: Floats  # (s, p, p)
    size: int  # readings in a subgroup, 1 for single ones


@dataclass(frozen=True)
class T2:
    """Hotelling's T2 of each row, its limit, and where it is beyond."""

    t2: Floats  # (n,)
    limit: Floats  # (s,)
    beyond: Flags  # (n,)


@dataclass(frozen=True)
class Drivers:
    """Terms of one point's T2, variable by variable."""

    alone: Floats  # (n, p) the variable by itself: (deviation / sigma)^2
    given_others: Floats  # (n, p) what it adds to all others: large where it breaks their usual relation
    alone_limit: Floats  # (s,)
    given_others_limit: Floats  # (s,)
    odd_alone: Flags  # (n, p)
    odd_given_others: Flags  # (n, p)


def _points(values: npt.ArrayLike, starts: npt.ArrayLike) -> tuple[Floats, Ints]:
    x = np.ascontiguousarray(values, dtype=np.float64)
    if x.ndim != 2 or x.shape[1] < 1:
        raise UnusableData(f"wanted one row per point and one column per characteristic; got shape {x.shape}")
    if len(x) == 0:
        raise UnusableData("there is no point; wanted at least one: choose a longer period or load more logs")
    missing = ~np.isfinite(x).all(axis=1)
    if missing.any():
        raise UnusableData(
            f"{int(missing.sum())} of {len(x)} points lack a reading, first at {int(missing.argmax())}; drop them first"
        )
    return x, checked(x[:, 0], starts)[1]


def _model(n: Ints, mean: Floats, covariance: Floats, size: int) -> Model:
    scale = np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
    if (scale <= 0).any():
        stream, variable = np.argwhere(scale <= 0)[0]
        raise UnusableData(f"characteristic {variable} of stream {stream} never moves; leave it out")
    correlation = covariance / (scale[:, :, None] * scale[:, None, :])
    least = np.linalg.eigvalsh(correlation)[:, 0]
    if (least < FAINT).any():
        raise UnusableData(
            f"in stream {int((least < FAINT).argmax())} one characteristic follows from the others; leave one out"
        )
    return Model(n, mean, covariance, np.linalg.inv(correlation) / (scale[:, :, None] * scale[:, None, :]), size)


def individual_model(values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM) -> Model:
    """Mean and covariance (divisor n - 1) of single points.

    Parameters
    ----------
    values : float, shape (n, p)
        One row per instrument, one column per characteristic, each in its own unit, oldest first, none missing.
    starts : int, shape (s,)
        Where each stream begins; each needs at least p + 2 points.

    Raises
    ------
    UnusableData
        Too few points, a characteristic that never moves or that follows from the others, a missing reading.
    """
    x, begins = _points(values, starts)
    n, p = lengths(begins, len(x)), x.shape[1]
    if (n < p + 2).any():
        few = int((n < p + 2).argmax())
        raise UnusableData(
            f"stream {few} has {n[few]} points; wanted at least {p + 2} for {p} characteristics: wait for more or "
            "chart them singly"
        )
    mean = x[begins] + np.add.reduceat(x - np.repeat(x[begins], n, axis=0), begins) / n[:, None]
    off = x - np.repeat(mean, n, axis=0)
    products = np.add.reduceat(off[:, :, None] * off[:, None, :], begins)
    return _model(n, mean, products / (n - 1)[:, None, None], 1)


def grouped_model(
    means: npt.ArrayLike, covariances: npt.ArrayLike, *, size: int, starts: npt.ArrayLike = ONE_STREAM
) -> Model:
    """Grand mean and pooled covariance of subgroups of one size.

    `means` (g, p) and `covariances` (g, p, p; divisor size - 1) of each subgroup; `starts` counts subgroups; a stream
    needs g (size - 1) above p.
    """
    x, begins = _points(means, starts)
    s = np.asarray(covariances, dtype=np.float64)
    g, p = lengths(begins, len(x)), x.shape[1]
    if (
        s.shape != (len(x), p, p)
        or not np.isfinite(s).all()
        or size < 2
        or (g < 2).any()
        or (g * (size - 1) < p + 1).any()
    ):
        raise UnusableData(
            "grouped T2 wants a p x p covariance per subgroup, subgroups of 2 or more readings and at least two of "
            "them per stream"
        )
    return _model(g, np.add.reduceat(x, begins) / g[:, None], np.add.reduceat(s, begins) / g[:, None, None], size)


def _distance(x: Floats, begins: Ints, model: Model) -> Floats:
    if len(begins) != len(model.n) or x.shape[1] != model.mean.shape[1]:
        raise UnusableData(
            f"the model holds {len(model.n)} streams of {model.mean.shape[1]} characteristics; got {len(begins)} of "
            f"{x.shape[1]}"
        )
    stream = segment_ids(begins, len(x))
    off = x - model.mean[stream]
    return np.asarray(model.size * np.einsum("ni,nij,nj->n", off, model.inverse[stream], off))


def _judged(t2: Floats, limit: Floats, begins: Ints) -> T2:
    return T2(t2, limit, t2 > np.repeat(limit * (1 + TIE), lengths(begins, len(t2))))


def _rate(false_rate: float) -> float:
    if not 0 < false_rate < 1:
        raise UnusableData(f"a false rate lies between 0 and 1; got {false_rate:g}")
    return 1 - false_rate


def phase_one(
    values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, model: Model, false_rate: float = 0.0027
) -> T2:
    """T2 of the points (or subgroup means) that the model was made from: is the baseline itself steady?

    Parameters
    ----------
    values : float, shape (n, p)
        The points, or the means of the subgroups, that `model` came from.
    model : Model
    false_rate : float
        Share of steady points beyond the limit.

    Returns
    -------
    T2
        Limits: single points (n - 1)^2 / n Beta(p / 2, (n - p - 1) / 2); m subgroups of size k
        p (m - 1)(k - 1) / (m k - m - p + 1) F(p, m k - m - p + 1).

    Source: Tracy, Young & Mason 1992; grouped: Alt 1985.
    """
    keep = _rate(false_rate)
    x, begins = _points(values, starts)
    n, p, k = model.n.astype(np.float64), x.shape[1], model.size
    if k == 1:
        limit = (n - 1) ** 2 / n * betaincinv(p / 2, (n - p - 1) / 2, keep)
    else:
        rest = n * k - n - p + 1
        limit = p * (n - 1) * (k - 1) / rest * fdtri(p, rest, keep)
    return _judged(_distance(x, begins, model), limit, begins)


def phase_two(
    values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, model: Model, false_rate: float = 0.0027
) -> T2:
    """T2 of later points against a model they had no part in; parameters as in `phase_one`.

    Limits: single points p (n + 1)(n - 1) / (n (n - p)) F(p, n - p); m subgroups of size k
    p (m + 1)(k - 1) / (m k - m - p + 1) F(p, m k - m - p + 1). They allow for the estimated mean and covariance.
    """
    keep = _rate(false_rate)
    x, begins = _points(values, starts)
    n, p, k = model.n.astype(np.float64), x.shape[1], model.size
    if k == 1:
        limit = p * (n + 1) * (n - 1) / (n * (n - p)) * fdtri(p, n - p, keep)
    else:
        rest = n * k - n - p + 1
        limit = p * (n + 1) * (k - 1) / rest * fdtri(p, rest, keep)
    return _judged(_distance(x, begins, model), limit, begins)


def drivers(
    values: npt.ArrayLike, starts: npt.ArrayLike = ONE_STREAM, *, model: Model, false_rate: float = 0.0027
) -> Drivers:
    """Which characteristics drive the T2 of later single points: each alone, and each given all the others.

    Parameters
    ----------
    values : float, shape (n, p)
        The points to explain, usually those beyond the limit.
    model : Model
        Of single points.
    false_rate : float
        Chance of a term beyond its limit at a steady point.

    Returns
    -------
    Drivers
        Both kinds are terms of the decomposition of T2: T2 = (term of one variable given the others) + T2 of the
        others. Limits (n + 1) / n F(1, n - 1) alone, and given p - 1 others (n + 1)(n - 1) / (n (n - p)) F(1, n - p).

    Source: Mason, Tracy & Young 1995.
    """
    keep = _rate(false_rate)
    x, begins = _points(values, starts)
    if model.size != 1:
        raise UnusableData("T2 is taken apart for single points; make the model with individual_model")
    _distance(x, begins, model)
    stream = segment_ids(begins, len(x))
    off = x - model.mean[stream]
    alone = off**2 / np.diagonal(model.covariance, axis1=1, axis2=2)[stream]
    weighed = np.einsum("nij,nj->ni", model.inverse[stream], off)
    given = weighed**2 / np.diagonal(model.inverse, axis1=1, axis2=2)[stream]
    n, p = model.n.astype(np.float64), x.shape[1]
    alone_limit = (n + 1) / n * fdtri(1, n - 1, keep)
    given_limit = (n + 1) * (n - 1) / (n * (n - p)) * fdtri(1, n - p, keep)
    return Drivers(
        alone,
        given,
        alone_limit,
        given_limit,
        np.asarray(alone > alone_limit[stream][:, None] * (1 + TIE), dtype=np.bool_),
        np.asarray(given > given_limit[stream][:, None] * (1 + TIE), dtype=np.bool_),
    )
