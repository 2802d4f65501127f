"""Signals of the weekly shares of send-backs, one chart a stage.

A week whose share lies outside what the twelve weeks before let expect opens one, or a week up to which four together
lie outside what the twelve before them let expect: a rise that stays shows in a month where it shows in no week. It
closes as every signal does, by the shares' distance from what was expected, in standard errors.
"""

from datetime import datetime

import numpy as np
import polars as pl
from scipy.special import ndtr

from analysis.methods.run_rules import BEYOND
from analysis.methods.segments import Floats, Ints, segment_ids
from analysis.methods.signal_life import lives
from analysis.studies.drift.budget import Budget
from analysis.studies.drift.opened import BACK, FOUND, PERSON
from analysis.studies.drift.shares import WEEK, Shares, beyond, counts
from analysis.studies.drift.watching import SHARE
from analysis.studies.rework.stage_weeks import RUN_WEEKS
from ingest.store.snapshot import Snapshot


def share_signals(snapshot: Snapshot, found: Shares | None, allowance: Budget | None) -> pl.DataFrame:
    """A row a signal, columns FOUND; by the budget's rate of each week, else by that of the shop's width."""
    if found is None or not len(found.weeks):
        return pl.DataFrame(schema=FOUND)
    classical = np.full(len(found.weeks), 2 * float(ndtr(-(snapshot.shop.judging.width or 3.0))))
    rates = classical if allowance is None else allowance.rates[allowance.at(found.weeks)]
    by_week, by_run = beyond(found, rates)
    fired = by_week | by_run
    taken = _first_moments(snapshot, found)
    closings = _closings(snapshot, found, taken)
    begin = np.zeros(len(found.starts), dtype=np.int64)
    cuts = np.array(sorted(closings), dtype=np.int64)
    lived = lives(_standard_errors(found), found.starts, begin=begin, fired=fired, cuts=cuts)
    ends = np.append(found.starts[1:], len(fired))
    rows = []
    for chart, at, began, back, closed, side in zip(
        lived.segment, lived.opened, lived.began, lived.back, lived.closed, lived.side, strict=True
    ):  # a loop over signals of a handful of stages
        cut = next((place for place in cuts if at < place <= ends[chart]), None)
        closed_at, by = (taken[int(closed)], BACK) if closed >= 0 else (None, "")
        if closed < 0 and cut is not None:
            closed_at, by = closings[int(cut)], PERSON
        last = int(back) - 1 if back >= 0 else (int(cut) if cut is not None else int(ends[chart])) - 1
        week = found.rows.row(int(at), named=True)
        share, before = week["share"], week["base_share"]
        if not by_week[at]:
            share = week["run_came_back"] / week["run_instruments"]
            before = week["run_like"] / week["run_base_instruments"]
        rows.append(
            {
                "chart": SHARE,
                "stage": week["stage"],
                "rule": BEYOND,
                "opened_at": taken[int(at)],
                "opened_last": taken[int(at)],
                "openings": 1,
                "side": int(side),
                "value": share,
                "size": share - before,
                "began_at": None if by_week[at] else taken[max(int(began), int(at) - RUN_WEEKS + 1)],
                "last_at": taken[max(last, int(at))],
                "back_at": taken[int(back)] if back >= 0 else None,
                "closed_at": closed_at,
                "closed_by": by,
            }
        )
    return pl.DataFrame(rows, schema=FOUND, infer_schema_length=None)


def _standard_errors(found: Shares) -> Floats:
    """How far each week's share lies from that of the weeks before, in standard errors, shape (n,): of arcsines of
    their roots, whose spread is the same at every share, since a signal's life asks how well its own mean fits as well.

    Source: Freeman & Tukey 1950, Annals of Mathematical Statistics 21; the counts moved by 3/8: Anscombe 1948,
    Biometrika 35.
    """
    count, size, like, base = counts(found, WEEK)

    def arcsine(k: Floats, n: Floats) -> Floats:
        return np.asarray(2 * np.arcsin(np.sqrt((k + 0.375) / (n + 0.75))))

    known = (base > 0) & (size > 0)
    error = np.sqrt(1 / np.maximum(size, 1) + 1 / np.maximum(base, 1))
    return np.where(known, (arcsine(count, size) - arcsine(np.minimum(like, base), base)) / error, 0.0)


def _first_moments(snapshot: Snapshot, found: Shares) -> pl.Series:
    """The first moment of each week by the shop's clock."""
    start_of_day = [
        (pl.col("week").cast(pl.Datetime("us")) + pl.duration(hours=hour)).dt.replace_time_zone(
            snapshot.shop.shop.timezone, ambiguous="earliest", non_existent="null"
        )
        for hour in (0, 1)  # where the clocks skip midnight the day begins at one
    ]
    return found.rows.select(pl.coalesce(start_of_day).dt.convert_time_zone("UTC"))["week"]


def _closings(snapshot: Snapshot, found: Shares, taken: pl.Series) -> dict[int, datetime]:
    """When people closed signals of these charts and nobody opened them again, by the place of the first week after."""
    book = snapshot.lines("close", "reopen").filter(pl.col("opened_at").is_not_null()).filter(pl.col("chart") == SHARE)
    latest = book.sort("sequence").unique(["stage", "opened_at"], keep="last", maintain_order=True)
    of_stage = found.rows["stage"].to_list()
    ids: Ints = segment_ids(found.starts, len(found.weeks))
    closed: dict[int, datetime] = {}
    for row in latest.filter(pl.col("kind") == "close").iter_rows(named=True):
        when = row["at"] if row["at"] >= row["opened_at"] else snapshot.as_of  # a clock behind the readings
        for start in found.starts:
            if of_stage[int(start)] == row["stage"]:
                part = taken.filter(pl.Series(ids == ids[start]))
                closed[int(start) + int(part.search_sorted(when, side="right"))] = when
    return closed
