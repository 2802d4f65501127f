"""What the widths of past weeks came from, and by what they have moved since: what comes in late moves the budget of
all weeks by a hair.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.segments import Floats
from analysis.studies.drift.budget import Budget
from analysis.studies.drift.reckoned import PLAIN, Reckoned
from analysis.studies.drift.watching import POOLED, Charts
from analysis.studies.drift.widths import Laws, width_table


@dataclass(frozen=True)
class Law:
    """What the widths of some weeks come from: of each baseline by the rates alone, and of each pool what is added."""

    widths: dict[int, Floats]  # (w,)
    factors: dict[str, Floats]  # (w,)


def law(charts: Charts, allowance: Budget, laws: Laws, weeks: int, weight: float, *, reckoned: Reckoned = PLAIN) -> Law:
    """That of the first weeks, for charts that were judged by it."""
    rates, of_week = np.unique(allowance.rates, return_inverse=True)
    pooled = (charts.rows["chart"] == POOLED).to_numpy()
    found: dict[int, Floats] = {}
    for some in (~pooled, pooled):  # as they were fired: what was reckoned then is kept
        baselines = np.unique(charts.baseline[some])
        each = width_table(rates, baselines, weight, reckoned)[of_week[:weeks]]
        found |= dict(zip(baselines.tolist(), each.T, strict=True))
    return Law(found, dict(zip(laws.names, laws.factors[:, :weeks], strict=True)))


def moved_by(before: Law, now: Law, charts: pl.DataFrame) -> tuple[Floats, Floats]:
    """By what the widths of charts were multiplied since they were worked out by other rates and laws of the same
    weeks: at least and at most of all weeks from a chart's first on (c,); nan where that is not known.

    charts : pool, baseline, against (held against the limits of all techs), since (place of a week).
    """
    low, high = np.full(len(charts), np.nan), np.full(len(charts), np.nan)
    kinds = charts.select("pool", "baseline", "against", "since").with_row_index("at")
    for (pool, baseline, least), rows in kinds.group_by("pool", "baseline", "against"):  # a loop over pools, not charts
        key, wide = str(pool), int(str(baseline))
        if not all(key in law.factors and wide in law.widths for law in (before, now)):
            continue
        was, is_now = (
            law.widths[wide] * (np.maximum(law.factors[key], 1.0) if least else law.factors[key])
            for law in (before, now)
        )
        moved = np.append(is_now / was, 1.0)[::-1]
        mine, first = rows["at"].to_numpy(), np.minimum(rows["since"].to_numpy(), len(moved) - 1)
        low[mine] = np.minimum.accumulate(moved)[::-1][first]
        high[mine] = np.maximum.accumulate(moved)[::-1][first]
    return low, high
