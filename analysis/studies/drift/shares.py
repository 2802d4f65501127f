"""Weekly shares of instruments that came back to a stage, judged at the shop's false-signal budget (see `weekly` for
the table).
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.counts_ahead import binomial_ahead
from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.rework.stage_weeks import weekly_shares
from ingest.store.snapshot import Snapshot


@dataclass(frozen=True)
class Shares:
    """Weekly shares of send-backs of each stage, as charts."""

    rows: pl.DataFrame  # of weekly_shares, stage after stage, oldest week first
    starts: Ints  # (c,) where each stage begins
    weeks: Ints  # (n,) number of the week since 1970
    judged: Flags  # (n,) there are weeks before to judge by


def shares(snapshot: Snapshot) -> Shares | None:
    """Each stage's weeks; None without a judged instrument."""
    rows = weekly_shares(snapshot)
    if rows.is_empty():
        return None
    stage = rows["stage"].rle_id().to_numpy().astype(np.int64)
    weeks = rows["week"].cast(pl.Int32).to_numpy().astype(np.int64) // 7
    return Shares(rows, np.flatnonzero(np.diff(stage, prepend=-1)), weeks, (rows["base_instruments"] > 0).to_numpy())


def beyond(found: Shares, rates: Floats) -> Flags:
    """Weeks whose share lies outside what the twelve weeks before let expect, each at its rate (n,) over both sides
    together.
    """
    fired = np.zeros(len(found.weeks), dtype=np.bool_)
    count, base_count, base = (
        found.rows[name].fill_null(0).to_numpy().astype(np.float64)
        for name in ("came_back", "base_like", "base_instruments")
    )
    size = found.rows["instruments"].to_numpy().astype(np.float64)
    for rate in np.unique(rates[found.judged]):
        at = np.flatnonzero(found.judged & (rates == rate))
        low, high = binomial_ahead(base_count[at], base[at], size[at], false_rate=min(float(rate) / 2, 0.49))
        fired[at] = (count[at] < low) | (count[at] > high)
    return fired
