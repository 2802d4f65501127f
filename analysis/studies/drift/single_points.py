"""Signals of the charts whose points are judged one by one: the pattern of one instrument (together) and the weekly
shares of send-backs (share).
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl
from scipy.special import ndtr

from analysis.methods.openings import openings
from analysis.methods.run_rules import BEYOND
from analysis.methods.segments import Flags, Ints, lengths
from analysis.studies.drift.budget import Budget
from analysis.studies.drift.shares import Shares, shares
from analysis.studies.drift.shares import beyond as shares_beyond
from analysis.studies.drift.streams import STREAM, Streams
from analysis.studies.drift.together import Pattern, patterns
from analysis.studies.drift.together import beyond as pattern_beyond
from analysis.studies.drift.watching import SHARE, TOGETHER
from analysis.studies.story.calendar import week_of
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms.tables import TIME

OPENED: dict[str, pl.DataType] = {
    "chart": pl.String(),
    **{name: pl.String() for name in STREAM},
    "rule": pl.String(),
    "opened_at": TIME,
    "serial": pl.String(),
    "value": pl.Float64(),
    "last_at": TIME,
    "closed_at": TIME,
    "closed_by": pl.String(),
    "size": pl.Float64(),
    "reading": pl.Int64(),
}


@dataclass(frozen=True)
class Watched:
    """For the budget: the chart and week of each point, and the first week in which each chart could open."""

    chart: Ints  # (n,)
    week: Ints  # (n,)
    ready: Ints  # (c,)


@dataclass(frozen=True)
class Singles:
    patterns: list[Pattern]
    weeks: list[Ints]  # week number of each point, pattern by pattern
    shares: Shares | None

    def watched(self) -> Watched:
        charts, weeks, ready = [], [], []
        for number, (one, week) in enumerate(zip(self.patterns, self.weeks, strict=True)):
            charts.append(np.full(len(week), number))
            weeks.append(week)
            ready.append(int(week[one.baseline]))
        if self.shares is not None:
            stage = np.repeat(np.arange(len(self.shares.starts)), lengths(self.shares.starts, len(self.shares.weeks)))
            charts.append(stage + len(self.patterns))
            weeks.append(self.shares.weeks)
            ready += (self.shares.weeks[self.shares.starts] + 1).tolist()
        none = np.zeros(0, dtype=np.int64)
        return Watched(np.concatenate([none, *charts]), np.concatenate([none, *weeks]), np.array(ready, dtype=np.int64))


def singles(snapshot: Snapshot, held: Streams, coarse: Flags) -> Singles:
    """Every such chart of the shop."""
    found = patterns(held, snapshot.shop, coarse)
    weeks = [_weeks(one.points["day"], snapshot.shop) for one in found]
    return Singles(found, weeks, shares(snapshot))


def _weeks(day: pl.Series, shop: Shop) -> Ints:
    first = (
        pl.DataFrame({"day": day}).select(week_of(pl.col("day"), shop).cast(pl.Date).cast(pl.Int32))["day"].to_numpy()
    )
    return np.asarray(first // 7, dtype=np.int64)


def opened(snapshot: Snapshot, found: Singles, allowance: Budget | None) -> pl.DataFrame:
    """A row a signal, columns OPENED; by the budget's rate of each week, else by that of the shop's width."""
    rows: list[dict[str, Any]] = []
    width = snapshot.shop.judging.width
    rates = np.array([2 * float(ndtr(-(width or 3.0)))]) if allowance is None else allowance.rates

    def place(weeks: Ints) -> Ints:
        return np.zeros(len(weeks), dtype=np.int64) if allowance is None else allowance.at(weeks)

    relimited = _closings(snapshot)
    for one, weeks in zip(found.patterns, found.weeks, strict=True):
        fired = pattern_beyond(one, place(weeks), rates)
        for signal in _rows(
            fired,
            np.zeros(1, dtype=np.int64),
            one.points["taken_at"],
            relimited.get((TOGETHER, one.model, one.stage), []),
        ):
            at = signal.pop("at")
            rows.append(
                signal
                | {
                    "chart": TOGETHER,
                    "model": one.model,
                    "stage": one.stage,
                    "serial": one.points["serial"][at],
                    "value": float(one.t2[at]),
                    "reading": one.points["reading"][at],
                }
            )
    if found.shares is not None:
        table = found.shares.rows
        start_of_day = [
            (pl.col("week").cast(pl.Datetime("us")) + pl.duration(hours=hour)).dt.replace_time_zone(
                snapshot.shop.shop.timezone, ambiguous="earliest", non_existent="null"
            )
            for hour in (0, 1)  # where the clocks skip midnight the day begins at one
        ]
        taken = table.select(pl.coalesce(start_of_day).dt.convert_time_zone("UTC"))["week"]
        fired = shares_beyond(found.shares, rates[place(found.shares.weeks)])
        ends = np.append(found.shares.starts[1:], len(fired))
        for start, end in zip(found.shares.starts, ends, strict=True):  # a handful of stages
            stage = table["stage"][int(start)]
            part = taken.slice(int(start), int(end - start))
            for signal in _rows(
                fired[start:end], np.zeros(1, dtype=np.int64), part, relimited.get((SHARE, "", stage), [])
            ):
                row = table.row(int(start) + signal.pop("at"), named=True)
                rows.append(
                    signal
                    | {
                        "chart": SHARE,
                        "model": "",
                        "stage": stage,
                        "serial": "",
                        "value": row["share"],
                        "size": row["share"] - row["base_share"],
                        "reading": -1,
                    }
                )
    blank = {"characteristic": "", "position": "", "tech": "", "rule": BEYOND}
    return pl.DataFrame([blank | row for row in rows], schema=OPENED, infer_schema_length=None)


def _rows(fired: Flags, starts: Ints, taken: pl.Series, closings: list[datetime]) -> list[dict[str, Any]]:
    """Signals of one chart: at (place), opened_at, last_at, closed_at, closed_by."""
    breaks = np.array([int(taken.search_sorted(when, side="right")) for when in closings], dtype=np.int64)
    found = openings(fired, starts, breaks=breaks)
    rows = []
    for at, last, closed in zip(found.opened, found.last, found.closed, strict=True):
        opened_at, silence = taken[int(at)], taken[int(closed)] if closed >= 0 else None
        person = min((when for when in closings if when >= taken[int(last)]), default=None)
        ends = [
            (when, by) for when, by in ((silence, "twenty quiet readings"), (person, "a person")) if when is not None
        ]
        closed_at, by = min(ends, default=(None, ""))
        rows.append(
            {
                "at": int(at),
                "opened_at": opened_at,
                "last_at": taken[int(last)],
                "closed_at": closed_at,
                "closed_by": by,
            }
        )
    return rows


def _closings(snapshot: Snapshot) -> dict[tuple[str, str, str], list[datetime]]:
    """When people closed signals of these charts and nobody opened them again, by (chart, model, stage)."""
    book = snapshot.lines("close", "reopen").filter(pl.col("chart").is_in([TOGETHER, SHARE]))
    latest = book.sort("sequence").unique(["chart", "model", "stage", "opened_at"], keep="last", maintain_order=True)
    found: dict[tuple[str, str, str], list[datetime]] = {}
    for row in latest.filter(pl.col("kind") == "close").iter_rows(named=True):
        when = (
            row["at"] if row["at"] >= row["opened_at"] else snapshot.as_of
        )  # a clock behind the readings: they are all before it
        found.setdefault((row["chart"], row["model"], row["stage"]), []).append(when)
    return found
