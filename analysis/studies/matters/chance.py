"""What part of a matter's kind of signals is not chance: 1 - expected false / observed openings over the last year, or
over what there is of it. It hangs on the budget alone, on nobody's answers.

Of a kind that seldom opened the quotient says little and would leap with each opening: it counts as if OF_ALL more had
opened, as many of them false as of all kinds together.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from analysis.studies.drift.signals import Signals, signals
from analysis.studies.drift.watching import SHARE
from analysis.studies.drift.widths import week_numbers
from ingest.store.snapshot import Snapshot

YEAR = timedelta(weeks=52)
OF_ALL = 10


@dataclass(frozen=True)
class Kind:
    """Openings of one kind of chart over the last year."""

    opened: int
    expected: float  # false ones, by the budget


def kind_of(row: dict[str, object]) -> str:
    """Of which kind a chart is: a stream's own, one person's own, young streams together, pooled over what, a share."""
    over = str(row.get("over") or "")
    return f"{row['chart']} over {over}" if over else f"{row['chart']}{' of one person' if row['tech'] else ''}"


def real(snapshot: Snapshot, judged: Signals, row: dict[str, object]) -> float:
    """Between 0 and 1; 1 where the shop has no budget, and nothing false is expected of its own making."""
    every = snapshot.once(kinds)
    return not_chance(every[kind_of(row)], list(every.values())) if kind_of(row) in every else 1.0


def not_chance(own: Kind, every: Sequence[Kind]) -> float:
    """Of one kind, among all kinds that opened."""
    usual = sum(kind.expected for kind in every) / max(sum(kind.opened for kind in every), 1)
    return float(np.clip(1.0 - (own.expected + OF_ALL * usual) / (own.opened + OF_ALL), 0.0, 1.0))


def kinds(snapshot: Snapshot) -> dict[str, Kind]:
    """Openings and expected false ones of each kind of chart over the year up to as_of."""
    judged = snapshot.once(signals)
    if judged is None:
        return {}
    since = snapshot.as_of - YEAR
    opened: dict[str, int] = {}
    for row in judged.openings.filter(pl.col("opened_at") > since).iter_rows(named=True):
        opened[kind_of(row)] = opened.get(kind_of(row), 0) + 1
    expected = _expected(snapshot, judged, since)
    return {name: Kind(count, expected.get(name, 0.0)) for name, count in opened.items()}


def _expected(snapshot: Snapshot, judged: Signals, since: datetime) -> dict[str, float]:
    """phi summed over the judged readings of each kind of chart."""
    allowance = judged.budget
    if allowance is None:
        return {}
    held = judged.streams
    weeks = week_numbers(held, snapshot.shop)
    rate = np.where((held.readings["taken_at"] > since).to_numpy(), allowance.rates[allowance.at(weeks)], 0.0)
    found: dict[str, float] = {}
    for charts in [judged.charts] if judged.charts is not None and len(judged.charts.starts) else []:
        mine = np.where(charts.judged, rate[charts.reading], 0.0)
        sums = np.add.reduceat(mine, charts.starts)
        for row, total in zip(charts.rows.iter_rows(named=True), sums, strict=True):
            name = kind_of(row)
            found[name] = found.get(name, 0.0) + float(total)
    weekly = judged.weekly
    if weekly is not None:
        first = int(weeks.max()) - 51
        found[SHARE] = float(allowance.rates[allowance.at(weekly.weeks[weekly.judged & (weekly.weeks >= first)])].sum())
    return found
