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


WEEK = ("came_back", "instruments", "base_like", "base_instruments")
RUN = ("run_came_back", "run_instruments", "run_like", "run_base_instruments")


def beyond(found: Shares, rates: Floats) -> tuple[Flags, Flags]:
    """Weeks whose share lies outside what the twelve weeks before let expect, and weeks up to which that of four weeks
    does, each at its rate (n,) over both and both sides together. Four weeks count only where the last of them lies to
    their side.
    """
    week, run = (_out(found, rates / 2, names) for names in (WEEK, RUN))
    return np.asarray(week != 0), np.asarray((run != 0) & (run == _sides(found)))


def counts(found: Shares, names: tuple[str, ...]) -> list[Floats]:
    """Columns of a week, or of four: came back, instruments, and of the base as many as at this mix, instruments."""
    return [found.rows[name].fill_null(0).to_numpy().astype(np.float64) for name in names]


def _sides(found: Shares) -> Ints:
    """Does more than expected come back in each week, +1, or less, -1; 0 without weeks before."""
    count, size, like, base = counts(found, WEEK)
    return np.asarray(np.sign(np.where(base > 0, count * np.maximum(base, 1) - like * size, 0.0)), dtype=np.int64)


def _out(found: Shares, rates: Floats, names: tuple[str, ...]) -> Ints:
    """+1 for a count above what is expected, -1 below, 0 within or without a base; at its rate over both sides."""
    count, size, like, base = counts(found, names)
    out = np.zeros(len(count), dtype=np.int64)
    for rate in np.unique(rates[base > 0]):
        at = np.flatnonzero((base > 0) & (rates == rate))
        low, high = binomial_ahead(like[at], base[at], size[at], false_rate=min(float(rate) / 2, 0.49))
        out[at] = (count[at] > high).astype(np.int64) - (count[at] < low)
    return out
