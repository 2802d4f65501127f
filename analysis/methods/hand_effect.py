"""How many times as often one hand's pieces see an event as the same pieces would in the other hands, with bounds.

The hand's own effect is added to the odds of the additive model (`additive_logit`). For each size of it everything else
is fitted anew, so that what the others' work leaves unknown widens the bounds. A bound is where the modified signed
root of the likelihood ratio reaches its tail; it agrees with mid-p limits where those exist (tests).
Source: Barndorff-Nielsen 1986, Biometrika 73; Davison 1988, J. Royal Statistical Society B 50 (both from memory; held
by tests against the exact conditional distribution and by coverage in tests/trials/fair_techs.md).
"""

from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from analysis.methods import additive_logit
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints

STEPS, CLOSE = 40, 1e-5  # of the search for a bound; how near the root comes to its tail, in standard errors
NEAR = 0.05  # standard errors from the likeliest effect, within which the root is not looked at
FURTHEST = 20.0  # log odds; beyond them nothing is known


@dataclass(frozen=True)
class _Pieces:
    """Rows of everybody's pieces, the hand's first, and the likeliest effects of all."""

    rows: additive_logit.Rows
    mine: Floats  # 1 of the hand's rows, else 0
    k: Floats
    best: Floats  # effects, the hand's last
    top: float  # their log-likelihood
    wide: float  # log determinant of their information
    spread: float  # standard error of the hand's effect


def ratio_bounds(
    level: Ints, own_n: Floats, own_k: Floats, n: Floats, k: Floats, *, chance: float = 0.95
) -> tuple[float, float]:
    """Bounds of the hand's events over those of the same pieces in the other hands.

    level : place of each row's effects, (rows, parts), as `additive_logit.fit` takes it; own_n, own_k : the hand's
    pieces and events of each row, (rows,); n, k : everybody's, the hand's among them. Raises UnusableData unless the
    hand has an event and a piece without one, and others have pieces, or where so little of theirs says nothing at all.
    """
    if not 0 < own_k.sum() < own_n.sum() or not (n - own_n).sum() > 0:
        raise UnusableData("bounds of one hand need an event, a piece without one, and pieces of others")
    mine, other = own_n > 0, n - own_n > 0
    try:
        pieces = _best(
            np.vstack([level[mine], level[other]]),
            np.repeat([1.0, 0.0], [mine.sum(), other.sum()]),
            np.concatenate([own_n[mine], (n - own_n)[other]]),
            np.concatenate([own_k[mine], (k - own_k)[other]]),
        )
        z = float(stats.norm.ppf((1 + chance) / 2))
        low, high = (_ratio(pieces, _bound(pieces, side, z)) for side in (-1.0, 1.0))
    except np.linalg.LinAlgError as fault:
        raise UnusableData("too few pieces of others say how often it happens without this hand") from fault
    return low, high


def _best(level: Ints, mine: Floats, n: Floats, k: Floats) -> _Pieces:
    places, level = np.unique(level, return_inverse=True)  # places that no row has would only cost time
    level = level.reshape(-1, level.shape[-1]).astype(np.int64)
    start = np.zeros(len(places) + 1)
    start[0] = np.log(k.sum() / (n - k).sum()) if 0 < k.sum() < n.sum() else 0.0
    rows = additive_logit.Rows(level, mine, n)
    best = rows.fitted(k, start)
    table = rows.information(best)
    spread = float(np.sqrt(table.last_variance()))
    return _Pieces(rows, mine, k, best, rows.likelihood(best, k), table.log_det(len(best)), spread)


def _bound(pieces: _Pieces, side: float, z: float) -> Floats:
    """Effects at which the hand's own lies at its bound on one side (-1, 1): secant steps on the root, which is nearly
    a straight line of the effect.
    """
    centre, spread = float(pieces.best[-1]), pieces.spread
    effects = pieces.best
    before, at = centre + side * 0.5 * z * spread, centre + side * z * spread
    effects, said_before = _root(pieces, before, effects)
    effects, said = _root(pieces, at, effects)
    for _ in range(STEPS):
        if abs(said + side * z) < CLOSE or abs(at - centre) > FURTHEST:
            break
        slope = (said - said_before) / (at - before) if at != before else 0.0
        step = (-side * z - said) / slope if slope < 0 else side * spread
        following = at + float(np.clip(step, -2 * spread, 2 * spread))
        if side * (following - centre) < NEAR * spread:
            following = (centre + at) / 2
        before, said_before, at = at, said, following
        effects, said = _root(pieces, at, effects)
    return effects


def _root(pieces: _Pieces, at: float, start: Floats) -> tuple[Floats, float]:
    """All effects where the hand's own is `at`, and how many standard errors the data lie above that, corrected."""
    effects = pieces.rows.fitted(pieces.k, np.append(start[:-1], at), held=True)
    gain = pieces.top - pieces.rows.likelihood(effects, pieces.k)
    narrow = pieces.rows.information(effects).log_det(len(effects) - 1)
    off = float(pieces.best[-1]) - at
    root = float(np.sign(off) * np.sqrt(max(2 * gain, 1e-12)))
    return effects, root + float(np.log(off * np.exp((pieces.wide - narrow) / 2) / root)) / root


def _ratio(pieces: _Pieces, effects: Floats) -> float:
    """Events of the hand's pieces over those of the same pieces without its effect."""
    own = pieces.mine > 0
    odds, n = effects[:-1][pieces.rows.level[own]].sum(axis=1), pieces.rows.n[own]
    return float(n @ special.expit(odds + effects[-1])) / float(n @ special.expit(odds))
