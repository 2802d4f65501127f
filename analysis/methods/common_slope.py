"""What all lots of all sources follow alike: a slope on something that lots were read under (say the air), held against
lots that differ of themselves, against bad lots, and against one source that changed just then.

First a line through lots' means that few bad lots do not turn (least absolute distances); what is left tells which lots
stand apart (`against_others`); without these the slope is fitted with lots as a random part (`random_lots`). Its
interval is the wider of that of lots and that of weeks, for what else came with a week came with all lots read in it.
It is shown where the interval leaves 0 out, and without the source that tells most of it the others say so too: with
one source alone nobody can tell what it changed from what it was read under.

Source: least absolute distances by weights, Schlossmacher 1973, J. American Statistical Association 68; sums over
weeks, Liang & Zeger 1986, Biometrika 73 (from memory; how often a slope is shown where none is, and how often its
interval holds, is shown by simulation, tests/analysis/methods/test_common_slope.py).
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.methods.against_others import set_apart
from analysis.methods.problems import UnusableData
from analysis.methods.random_lots import ByLot, by_lot, kept_share, means
from analysis.methods.segments import Flags, Floats, Ints, dense

LEVEL = 0.99  # of the interval that leaves 0 out where a slope is shown
BESIDE = 0.9  # and of that of the other sources alone
APART = 0.01  # chance that a lot of a source is left out where none differs
ROUNDS, NEAR = 100, 1e-3  # of weights; how close a distance may come to 0, in spreads of the lots
LEAST_LOTS, LEAST_WEEKS = 5, 6
ALIKE = 1e-12  # of the largest part of what columns tell: less is nothing new
STILL = 1e-9  # in the unit of x: what varies less does not vary


@dataclass(frozen=True)
class Read:
    """Readings of pieces and what each was read under, all (n,); numbers from 0, none left out."""

    y: Floats
    x: Floats
    source: Ints
    condition: Ints  # of the piece itself (say its model), a level each
    lot: Ints  # of one source
    week: Ints


@dataclass(frozen=True)
class CommonSlope:
    """The unit of y for one of x."""

    slope: float
    low: float  # 95 %
    high: float
    shown: bool
    error: float  # standard


NOT_TOLD = CommonSlope(0.0, -np.inf, np.inf, False, np.inf)


def columns_of(read: Read) -> Floats:
    """A column a source and a condition (n, sources + conditions): levels added up, so one of them says nothing new."""
    return np.column_stack([_marks(read.source), _marks(read.condition)])


def common_slope(read: Read) -> CommonSlope:
    """The slope of y on x within source and condition, and whether it is shown; NOT_TOLD where lots, weeks or what x
    varies are too few to say.
    """
    lots = int(read.lot.max(initial=-1)) + 1
    if lots < LEAST_LOTS or len(np.unique(read.week)) < LEAST_WEEKS or float(np.ptp(read.x)) < STILL:
        return NOT_TOLD
    stay = ~_out(read)[read.lot]
    kept = _some(read, stay)
    try:
        slope, error, free, tells = _fitted(kept)
        if not np.isfinite(error) or error <= 0:
            return NOT_TOLD
        shown = abs(slope) > float(stats.t.isf((1 - LEVEL) / 2, free)) * error
        shown = shown and _beside(kept, int(np.argmax(tells)), slope)
    except UnusableData:
        return NOT_TOLD
    half = float(stats.t.isf(0.025, free)) * error
    return CommonSlope(slope, slope - half, slope + half, bool(shown), error)


def _beside(read: Read, most: int, slope: float) -> bool:
    """Do the other sources, without the one that tells most, say so too?"""
    others = read.source != most
    if not others.any():
        return False
    try:
        beside, error, free, _ = _fitted(_some(read, others))
    except UnusableData:
        return False
    half = float(stats.t.isf((1 - BESIDE) / 2, free)) * error
    return bool(np.isfinite(half) and np.sign(beside) == np.sign(slope) and abs(beside) > half)


def _out(read: Read) -> Flags:
    """Lots that stand apart from their source's others once what all follow is taken off (lots,)."""
    left = read.y - _line(read) * read.x
    cell = dense(read.lot * (int(read.condition.max()) + 1) + read.condition)
    n = np.bincount(cell.code)
    mean = np.bincount(cell.code, left) / n
    spread = np.sqrt(np.maximum(np.bincount(cell.code, (left - mean[cell.code]) ** 2) / np.maximum(n - 1, 1), 0.0))
    some = n > 1
    lot, first = read.lot[cell.first][some], cell.first[some]
    within = dense(read.source[first] * (int(read.condition.max()) + 1) + read.condition[first]).code
    out = np.zeros(int(read.lot.max()) + 1, dtype=bool)
    if some.any():
        names = dense(lot)
        apart = set_apart(names.code, within, n[some], mean[some], spread[some], level=APART).apart
        out[lot[names.first]] = apart
    return out


def _line(read: Read) -> float:
    """The slope through means of lots by week that few of them do not turn."""
    cell = dense((read.lot * (int(read.condition.max()) + 1) + read.condition) * (int(read.week.max()) + 1) + read.week)
    n = np.bincount(cell.code).astype(np.float64)
    y, x = (np.bincount(cell.code, part) / n for part in (read.y, read.x))
    at = _some(read, cell.first)
    columns = np.column_stack([x - x.mean(), columns_of(at)])
    size = np.minimum(n, np.median(n))  # a lot is one witness, however many of its pieces were read
    weight = size.copy()
    before = np.zeros(columns.shape[1])
    for _ in range(ROUNDS):
        weighed = columns * weight[:, None]
        effect = np.linalg.lstsq(weighed.T @ columns, weighed.T @ y, rcond=ALIKE)[0]
        off = np.abs(y - columns @ effect)
        weight = size / np.maximum(off, NEAR * max(float(np.median(off)), 1e-12))
        if np.abs(effect - before).max() < 1e-10 * max(float(np.abs(effect).max()), 1e-12):
            break
        before = effect
    return float(effect[0])


def _fitted(read: Read) -> tuple[float, float, float, Floats]:
    """The slope, its standard error, degrees of freedom, and how much each source tells of it (sources,)."""
    scale = float(read.x.std())
    if scale < STILL:
        raise UnusableData("what lots were read under does not vary")
    x = (read.x - read.x.mean()) / scale
    rest = columns_of(read)
    columns = np.column_stack([x, rest])
    fit = by_lot(read.y, columns, read.lot)
    kept = kept_share(fit.within**2, fit.between**2, read.lot)[read.lot][:, None]
    less = np.column_stack([read.y, columns])
    less -= kept * means(less, read.lot)[read.lot]
    own = less[:, 1] - less[:, 2:] @ np.linalg.lstsq(less[:, 2:], less[:, 1], rcond=None)[0]
    size = float(own @ own)
    if size < STILL * len(own):
        raise UnusableData("what lots were read under does not vary within a source")
    push = np.bincount(read.week, own * (less[:, 0] - less[:, 1:] @ fit.effect))
    weeks = len(np.unique(read.week))
    by_week = float(np.sqrt((push**2).sum() * weeks / (weeks - 1))) / size if weeks > 1 else np.inf
    error, free = _of_lots(fit)
    tells = np.bincount(read.source, own**2).astype(np.float64)
    return float(fit.effect[0]) / scale, max(error, by_week) / scale, min(free, max(weeks - 2.0, 1.0)), tells


def _of_lots(fit: ByLot) -> tuple[float, float]:
    """Standard error of the first effect by lots, and its degrees of freedom (Satterthwaite)."""
    square, alone = float(fit.covariance[0, 0]), float(min(fit.alone[0, 0], fit.covariance[0, 0]))
    spread = (square - alone) ** 2 / fit.lots_left + alone**2 / fit.pieces_left
    return float(np.sqrt(square)), float(np.clip(square**2 / spread if spread > 0 else 1e6, 1.0, 1e6))


def _some(read: Read, which: Flags | Ints) -> Read:
    """Of some readings, numbers made dense again."""
    numbers = (dense(part[which]).code for part in (read.source, read.condition, read.lot))
    source, condition, lot = numbers
    return Read(read.y[which], read.x[which], source, condition, lot, read.week[which])


def _marks(code: Ints) -> Floats:
    return np.asarray(code[:, None] == np.arange(int(code.max(initial=-1)) + 1)[None, :], dtype=np.float64)
