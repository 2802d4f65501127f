"""What the others would have sent back on the same mix of work: an additive logit model of a stage, with one tech left out at a time.

The model holds an effect for each model, lot, week and inspector. Levels that saw few send-backs would run away (a lot without any, a
week with one visit); each effect therefore has a weak prior, log-F(2, 2): two more visits of that level, of which one came back, whose
own odds are even with the rest. It holds an effect within about a factor of 39 either way and moves none that is well known; a level
the others never worked on stands at their average.

A stage has some hundred levels and each tech is left out once, so the fit adds up its normal equations level by level, without a
column for each; it is the GLM that statsmodels fits with the prior's visits as rows (tests hold one against the other), in a hundredth of
the time.
Source of the prior: Greenland & Mansournia 2015, Statistics in Medicine 34 (data rows for log-F priors).
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints

MIX = ["model", "lot", "week", "inspector"]
STEPS = 60
CLOSE = 1e-9  # largest step of an effect at which the fit stands


@dataclass(frozen=True)
class Expected:
    """What the others would give over each tech's exposure, in the order of the techs asked for, shape (t,)."""

    count: Floats  # nan where nobody else worked here
    variance: Floats  # of that expectation, from the others' own chance (delta method); nan likewise


def expected(work: pl.DataFrame, techs: list[str]) -> Expected:
    """Send-backs expected of each tech at one stage, from a model of everybody else's visits.

    work : a row a first-pass visit: tech, came_back (Bool: at least one send-back charged to it) and the columns of MIX.
    """
    patterns = work.select(MIX).unique(maintain_order=True).with_row_index("pattern")
    known = work.join(patterns, on=MIX, maintain_order="left")
    cells = known.group_by("tech", "pattern").agg(pl.len().alias("n"), pl.col("came_back").sum().alias("k"))
    level = levels(patterns)
    n, k = (_counts(cells, name, patterns.height) for name in ("n", "k"))
    start = fit(level, n, k) if 0 < k.sum() < n.sum() else np.zeros(1)
    count, variance = np.full(len(techs), np.nan), np.full(len(techs), np.nan)
    for place, tech in enumerate(techs):
        mine = cells.filter(pl.col("tech") == tech)
        own_n, own_k = (_counts(mine, name, patterns.height) for name in ("n", "k"))
        if 0 < own_n.sum() < n.sum():
            count[place], variance[place] = _over(level, n - own_n, k - own_k, own_n, start)
    return Expected(count, variance)


def levels(patterns: pl.DataFrame) -> Ints:
    """For each pattern the place of its effects: 0, the intercept, then one for its level in each part of the mix; shape (patterns, 5)."""
    parts, begun = [np.zeros(patterns.height, dtype=np.int64)], 1
    for name in MIX:
        code = patterns[name].rank("dense").to_numpy().astype(np.int64) - 1
        parts.append(begun + code)
        begun += int(code.max()) + 1
    return np.column_stack(parts)


def fit(level: Ints, n: Floats, k: Floats, start: Floats | None = None) -> Floats:
    """Effects, intercept first, from visits `n` and those that came back `k` (some, not all) of each pattern; Newton's method.

    With the prior the likelihood has one peak; a step that leads down is halved.
    """
    effects = np.zeros(int(level.max()) + 1) if start is None else start.copy()
    if start is None:
        effects[0] = np.log(k.sum() / (n - k).sum())
    here = _likelihood(effects, level, n, k)
    for _ in range(STEPS):
        share = _logistic(effects[level].sum(axis=1))
        gradient = _summed(level, k - n * share, len(effects))
        gradient[1:] += 1 - 2 * _logistic(effects[1:])
        step = np.linalg.solve(_information(effects, level, n), gradient)
        while (there := _likelihood(effects + step, level, n, k)) < here - 1e-9 * abs(here):
            step /= 2
        effects, here = effects + step, there
        if float(np.abs(step).max()) < CLOSE:
            return effects
    raise UnusableData("the model of what the others would give does not settle; look for a model, lot or inspector mistyped on many visits")


def _over(level: Ints, n: Floats, k: Floats, own: Floats, start: Floats) -> tuple[float, float]:
    """Expected count over `own` visits of each pattern from a model of the others' n and k, and its variance; all (patterns,)."""
    if k.sum() == 0:
        return 0.0, 0.0
    if k.sum() == n.sum():
        return float(own.sum()), 0.0
    effects = fit(level, n, k, start)
    share = _logistic(effects[level].sum(axis=1))
    slope = _summed(level, own * share * (1 - share), len(effects))
    return float(own @ share), float(slope @ np.linalg.solve(_information(effects, level, n), slope))


def _information(effects: Floats, level: Ints, n: Floats) -> Floats:
    """Curvature of the likelihood and prior about the effects, shape (effects, effects)."""
    share, size = _logistic(effects[level].sum(axis=1)), len(effects)
    pairs = (level[:, :, None] * size + level[:, None, :]).ravel()
    flat = np.bincount(pairs, np.repeat(n * share * (1 - share), level.shape[1] ** 2), minlength=size**2)
    table = flat.astype(np.float64).reshape(size, size)
    near = _logistic(effects[1:])
    table[np.arange(1, size), np.arange(1, size)] += 2 * near * (1 - near)
    return table


def _likelihood(effects: Floats, level: Ints, n: Floats, k: Floats) -> float:
    """Log likelihood of the visits and of the two of each level."""
    odds, own = effects[level].sum(axis=1), effects[1:]
    return float((k * odds - n * np.logaddexp(0, odds)).sum() + (own - 2 * np.logaddexp(0, own)).sum())


def _summed(level: Ints, values: Floats, size: int) -> Floats:
    return np.bincount(level.ravel(), np.repeat(values, level.shape[1]), minlength=size).astype(np.float64)


def _logistic(odds: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(-odds)), dtype=np.float64)


def _counts(cells: pl.DataFrame, name: str, patterns: int) -> Floats:
    return np.bincount(cells["pattern"].to_numpy(), cells[name].to_numpy(), minlength=patterns).astype(np.float64)
