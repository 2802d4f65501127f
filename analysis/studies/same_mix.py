"""What the others would have sent back on the same mix of work: an additive logit model of a stage, with one tech left out at a time.

The model holds an effect for each model, lot, week and inspector. Levels that saw few send-backs would run away (a lot without any, a
week with one visit); each effect therefore has a weak prior, log-F(2, 2): two more visits of that level, of which one came back, whose
own odds are even with the rest. It holds an effect within about a factor of 39 either way and moves none that is well known; a level
the others never worked on stands at their average. The fit is a plain GLM, with those visits as rows.
Source of the prior: Greenland & Mansournia 2015, Statistics in Medicine 34 (data rows for log-F priors).
"""

import warnings
from dataclasses import dataclass

import numpy as np
import polars as pl
import statsmodels.api as sm
from statsmodels.tools.sm_exceptions import PerfectSeparationWarning

from analysis.methods.segments import Floats

MIX = ["model", "lot", "week", "inspector"]
STEPS = 60
CLOSE = 1e-6  # change of the deviance at which the fit stands


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
    columns = _columns(patterns)
    n, k = (_counts(cells, name, patterns.height) for name in ("n", "k"))
    start = _effects(columns, n, k, None) if 0 < k.sum() < n.sum() else None
    count, variance = np.full(len(techs), np.nan), np.full(len(techs), np.nan)
    for place, tech in enumerate(techs):
        mine = cells.filter(pl.col("tech") == tech)
        own_n, own_k = (_counts(mine, name, patterns.height) for name in ("n", "k"))
        if 0 < own_n.sum() < n.sum():
            count[place], variance[place] = _over(columns, n - own_n, k - own_k, own_n, start)
    return Expected(count, variance)


def _over(columns: Floats, n: Floats, k: Floats, own: Floats, start: Floats | None) -> tuple[float, float]:
    """Expected count over `own` visits of each pattern from a model of the others' n and k, and its variance; all (patterns,)."""
    if k.sum() == 0:
        return 0.0, 0.0
    if k.sum() == n.sum():
        return float(own.sum()), 0.0
    seen = n > 0
    effects = _effects(columns[seen], n[seen], k[seen], start)
    share = 1 / (1 + np.exp(-columns @ effects))
    slope = columns.T @ (own * share * (1 - share))
    levels = columns.shape[1] - 1
    information = (columns.T * (n * share * (1 - share))) @ columns
    near = 1 / (1 + np.exp(-effects[1:]))
    information[range(1, levels + 1), range(1, levels + 1)] += 2 * near * (1 - near)
    return float(own @ share), float(slope @ np.linalg.solve(information, slope))


def _effects(columns: Floats, n: Floats, k: Floats, start: Floats | None) -> Floats:
    """The door of statsmodels: visits that came back (some, not all) and that held for each pattern, then two of each level for its prior."""
    levels = columns.shape[1] - 1
    prior = np.hstack([np.zeros((levels, 1)), np.eye(levels)])
    counts = np.vstack([np.column_stack([k, n - k]), np.ones((levels, 2))])
    model = sm.GLM(counts, np.vstack([columns, prior]), family=sm.families.Binomial())
    with warnings.catch_warnings(), np.errstate(invalid="ignore", divide="ignore"):  # one pattern leaves no degree of freedom to a scale unused
        # said wherever a fit is exact, as with one pattern; the prior's rows leave nothing to separate
        warnings.simplefilter("ignore", PerfectSeparationWarning)
        return np.asarray(model.fit(start_params=start, maxiter=STEPS, tol=CLOSE, wls_method="qr").params, dtype=np.float64)


def _counts(cells: pl.DataFrame, name: str, patterns: int) -> Floats:
    return np.bincount(cells["pattern"].to_numpy(), cells[name].to_numpy(), minlength=patterns).astype(np.float64)


def _columns(patterns: pl.DataFrame) -> Floats:
    """An intercept and a column a level of each part of the mix, shape (patterns, 1 + levels)."""
    parts = [np.ones((patterns.height, 1))]
    for name in MIX:
        code = patterns[name].rank("dense").to_numpy().astype(np.int64) - 1
        parts.append(np.eye(int(code.max()) + 1)[code])
    return np.hstack(parts)
