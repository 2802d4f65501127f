"""What the others would have sent back on the same mix of work, and whether one tech's share is more than chance and
mix explain.

A stage's visits are taken as an additive logit model with an effect for each model, lot, week and inspector
(`methods.additive_logit`). What the others would give is expected of it with the tech's own visits left out; whether a
tech stands out, and how far the ratio is known, is asked with everybody's visits in it, which tells more. Of work that
hardly anybody else does nothing is expected: a model is known where the others did it at least 30 times.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods import additive_logit
from analysis.methods.hand_effect import ratio_bounds
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints

MIX = ["model", "lot", "week", "inspector"]
OTHERS_DID, KNOWN_SHARE = 30, 0.5  # visits of others that make a model known; share of a tech's visits that must be


@dataclass(frozen=True)
class Expected:
    """What the others would give over each tech's exposure, in the order of the techs asked for, shape (t,)."""

    known: Floats  # share of the exposure that others did at least 30 times; nan where there is none
    count: Floats  # nan where nobody else does this work
    variance: Floats  # of that expectation, from the others' own chance (delta method); nan likewise
    p_more: Floats  # chance of as many or more, were this tech as the others (mid-p); nan likewise
    low: Floats  # bounds of the visits that came back over those expected, 95 %; nan likewise, and where the counts
    high: Floats  # leave none: nothing or everything came back, of the tech or of the others


def expected(work: pl.DataFrame, techs: list[str]) -> Expected:
    """Send-backs expected of each tech at one stage, from a model of everybody else's visits.

    work : a row a first-pass visit: tech, came_back (Bool: at least one send-back charged to it) and the columns of
    MIX.
    """
    if work.is_empty():  # nothing judged here yet
        return Expected(*np.full((6, len(techs)), np.nan))
    patterns = work.select(MIX).unique(maintain_order=True).with_row_index("pattern")
    known = work.join(patterns, on=MIX, maintain_order="left")
    cells = known.group_by("tech", "pattern").agg(pl.len().alias("n"), pl.col("came_back").sum().alias("k"))
    level = levels(patterns)
    n, k = (_counts(cells, name, patterns.height) for name in ("n", "k"))
    mixed = 0 < k.sum() < n.sum()
    start = additive_logit.fit(level, n, k) if mixed else np.zeros(1)
    known_share, count, variance, p_more, low, high = np.full((6, len(techs)), np.nan)
    done = work.group_by("tech", "model").agg(pl.len().alias("n"))
    for place, tech in enumerate(techs):
        mine = cells.filter(pl.col("tech") == tech)
        own_n, own_k = (_counts(mine, name, patterns.height) for name in ("n", "k"))
        known_share[place] = _known(done, tech)
        if known_share[place] >= KNOWN_SHARE:
            count[place], variance[place] = _over(level, n - own_n, k - own_k, own_n, start)
            p_more[place] = additive_logit.as_many(level, own_n, own_k, n, k, start) if mixed else 1.0
            low[place], high[place] = _bounds(level, own_n, own_k, n, k)
    return Expected(known_share, count, variance, p_more, low, high)


def _known(done: pl.DataFrame, tech: str) -> float:
    """Share of a tech's visits whose model the others did at least 30 times; nan without a visit.

    done : tech, model, n.
    """
    others = done.filter(pl.col("tech") != tech).group_by("model").agg(pl.col("n").sum().alias("others"))
    own = done.filter(pl.col("tech") == tech).join(others, on="model", how="left")
    known = own.filter(pl.col("others") >= OTHERS_DID)
    return sum(known["n"].to_list()) / sum(own["n"].to_list()) if own.height else float("nan")


def _bounds(level: Ints, own_n: Floats, own_k: Floats, n: Floats, k: Floats) -> tuple[float, float]:
    """Bounds of the ratio, nan where nothing or everything came back."""
    if not 0 < own_k.sum() < own_n.sum() or not 0 < (k - own_k).sum() < (n - own_n).sum():
        return float("nan"), float("nan")
    try:
        return ratio_bounds(level, own_n, own_k, n, k)
    except UnusableData:
        return float("nan"), float("nan")


def levels(patterns: pl.DataFrame) -> Ints:
    """For each pattern the place of its effects: 0, the intercept, then one for its level in each part of the mix;
    shape (patterns, 5).
    """
    parts, begun = [np.zeros(patterns.height, dtype=np.int64)], 1
    for name in MIX:
        code = patterns[name].rank("dense").to_numpy().astype(np.int64) - 1
        parts.append(begun + code)
        begun += int(code.max()) + 1
    return np.column_stack(parts)


def _over(level: Ints, n: Floats, k: Floats, own: Floats, start: Floats) -> tuple[float, float]:
    """Expected count over `own` visits of each pattern from a model of the others' n and k, and its variance; all
    (patterns,).
    """
    if k.sum() == 0:
        return 0.0, 0.0
    if k.sum() == n.sum():
        return float(own.sum()), 0.0
    return additive_logit.expected(level, additive_logit.fit(level, n, k, start), n, own)


def _counts(cells: pl.DataFrame, name: str, patterns: int) -> Floats:
    return np.bincount(cells["pattern"].to_numpy(), cells[name].to_numpy(), minlength=patterns).astype(np.float64)
