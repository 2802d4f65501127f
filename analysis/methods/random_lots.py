"""Least squares through readings that came in lots which differ of themselves, and contrasts of what is fitted.

What comes with a lot is a random part of all its pieces. Least squares on values less a share of their lot's mean (the
random part taken out). Intervals of sources of lots (`by_lot`) are by t with the degrees of freedom of lots beyond what
the columns ask; those of a curve (`halves`) with Satterthwaite's, between these and those of pieces.

Source: Fuller & Battese 1973, J. American Statistical Association 68 (the share of the mean); Swamy & Arora 1972,
Econometrica 40 (the two variances); Satterthwaite 1946, Biometrics Bulletin 2 (from memory; coverage is shown by
simulation, tests/analysis/methods/test_random_lots.py).
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints

NEAR = 1e-9  # of the largest singular value, below which columns say the same twice
SEEN = 1e-6  # how near what the columns span must come to a contrast that can be told from them


@dataclass(frozen=True)
class ByLot:
    """Fitted effects of k columns; `told` tells contrasts of them."""

    effect: Floats  # (k,)
    covariance: Floats  # (k, k)
    alone: Floats  # (k, k) the covariance were lots alike
    lots_left: int  # lots beyond what the columns ask of them
    pieces_left: int
    between: float  # sd that comes with a lot
    within: float  # sd from piece to piece
    span: Floats  # (k, k) onto the contrasts that can be told

    def told(self, turn: Floats, level: float = 0.95) -> tuple[Floats, Floats, Floats]:
        """Contrasts turn (m, k) of the effects with their intervals (m,); nan where the columns cannot tell one."""
        turn = np.atleast_2d(turn)
        mean = turn @ self.effect
        square = np.maximum(np.einsum("ij,jk,ik->i", turn, self.covariance, turn), 0.0)
        # few lots may look more alike than they are: however much of it is the pieces', it is as sure as lots are many
        half = stats.t.isf((1 - level) / 2, self.lots_left) * np.sqrt(square)
        blind = np.abs(turn @ self.span - turn).max(axis=1) > SEEN * np.maximum(np.abs(turn).max(axis=1), 1.0)
        mean = np.where(blind, np.nan, mean)
        return mean, mean - half, mean + half


def halves(turn: Floats, covariance: Floats, alone: Floats, left: tuple[int, int]) -> Floats:
    """Half of the interval of each contrast turn (m, k); left : degrees of freedom of lots and of pieces."""
    error = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", turn, covariance, turn), 0.0))
    of_pieces = np.minimum(np.maximum(np.einsum("ij,jk,ik->i", turn, alone, turn), 0.0), error**2)
    of_lots = error**2 - of_pieces
    spread = of_lots**2 / left[0] + of_pieces**2 / left[1]
    freedom = np.divide(error**4, spread, out=np.full(len(error), 1e6), where=spread > 0)
    return np.asarray(stats.t.isf(0.025, np.clip(freedom, 1.0, 1e6)) * error, dtype=np.float64)


def by_lot(y: Floats, columns: Floats, lots: Ints) -> ByLot:
    """Effects of columns (n, k) on y (n,), lots (n,) numbers from 0, none left out, differing of themselves.

    Columns may say the same twice; then single effects mean nothing, contrasts that the columns tell do. Raises
    UnusableData where no lot is left to say how far lots differ.
    """
    groups, k = int(lots.max(initial=-1)) + 1, columns.shape[1]
    of_each = means(columns, lots) if groups else np.zeros((0, k))
    of_lots = int(np.linalg.matrix_rank(of_each)) if groups else 0
    if groups - of_lots < 1:
        many = "1 lot is" if groups == 1 else f"{groups} lots are"
        raise UnusableData(f"{many} too few to say how far lots differ; load more logs")
    of_y = means(y[:, None], lots)
    within, between, rank = _variances(y, columns, lots, of_y, of_each)
    share = kept_share(within, between, lots)
    less = np.column_stack([y, columns])
    less -= share[lots][:, None] * np.column_stack([of_y, of_each])[lots]
    turned = np.linalg.pinv(less[:, 1:], rcond=NEAR)  # (k, n)
    inverse = turned @ turned.T
    effect = turned @ less[:, 0]
    back = np.linalg.pinv(columns, rcond=NEAR)
    alone = within * back @ back.T
    pieces_left = max(len(y) - groups - rank, 1)
    span = back @ columns
    return ByLot(
        np.asarray(effect),
        np.asarray(within * inverse, dtype=np.float64),
        np.asarray(alone, dtype=np.float64),
        groups - of_lots,
        pieces_left,
        float(np.sqrt(between)),
        float(np.sqrt(within)),
        np.asarray(span.reshape(k, k)),
    )


def kept_share(within: float, between: float, lots: Ints) -> Floats:
    """The share of its mean that is taken from each value of a lot, (g,)."""
    n = np.bincount(lots).astype(np.float64)
    return np.asarray(1 - np.sqrt(within / (within + n * between)), dtype=np.float64)


def variances(y: Floats, columns: Floats, lots: Ints) -> tuple[float, float]:
    """Variance from piece to piece, and between lots beyond what columns tell (not below 0)."""
    return _variances(y, columns, lots, means(y[:, None], lots), means(columns, lots))[:2]


def _variances(y: Floats, columns: Floats, lots: Ints, of_y: Floats, of_each: Floats) -> tuple[float, float, int]:
    """Both, and the rank of the columns; of_y (g, 1), of_each (g, k): means of each lot."""
    inside, off = columns - of_each[lots], y - of_y[lots, 0]
    effect, _, inner, _ = np.linalg.lstsq(inside, off, rcond=None)
    free = len(y) - int(lots.max()) - 1 - int(inner)
    rest = off - inside @ effect
    within = max(float(rest @ rest) / max(free, 1), 1e-12)
    effect, _, rank, _ = np.linalg.lstsq(columns, y, rcond=None)
    whole = y - columns @ effect
    added = sums(columns, lots)
    told = float(np.trace(np.linalg.pinv(columns.T @ columns) @ added.T @ added))
    between = (float(whole @ whole) - within * (len(y) - rank)) / max(len(y) - told, 1e-12)
    return within, max(between, 0.0), int(rank)


def sums(columns: Floats, lots: Ints) -> Floats:
    """Sums of columns (n, k) over each lot (g, k)."""
    return np.column_stack([np.bincount(lots, column) for column in np.ascontiguousarray(columns.T)])


def means(columns: Floats, lots: Ints) -> Floats:
    """Means of columns (n, k) over each lot (g, k)."""
    return np.asarray(sums(columns, lots) / np.bincount(lots)[:, None], dtype=np.float64)
