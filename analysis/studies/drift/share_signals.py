"""Signals of the weekly shares of send-backs, one chart a stage.

A week up to which more, or less, came back since some week than the base before that week lets expect opens one, at the
budget's rate of false signals a week over all starts and both sides. It began with the likeliest of these starts. It
closes as every signal does, by how far each week's share lies from that base, in standard errors.
"""

from typing import Any

import numpy as np
import polars as pl
from scipy.special import ndtr

from analysis.methods.run_rules import BEYOND
from analysis.methods.segments import Floats, Ints, segment_ids
from analysis.methods.signal_life import lives
from analysis.studies.drift.budget import Budget
from analysis.studies.drift.opened import BACK, FOUND, PERSON
from analysis.studies.drift.shares import Shares, Windows, limits, off_its_base, since, windows
from analysis.studies.drift.watching import SHARE
from ingest.store.snapshot import Snapshot

TINY = 1e-9


def share_signals(snapshot: Snapshot, found: Shares | None, allowance: Budget | None) -> pl.DataFrame:
    """A row a signal, columns FOUND; by the budget's rate of each week, else by that of the shop's width."""
    if found is None or not len(found.weeks):
        return pl.DataFrame(schema=FOUND)
    classical = np.full(len(found.weeks), 2 * float(ndtr(-(snapshot.shop.judging.width or 3.0))))
    rates = classical if allowance is None else allowance.rates[allowance.at(found.weeks)]
    return pl.DataFrame(signal_rows(found, rates), schema=FOUND, infer_schema_length=None)


def signal_rows(found: Shares, rates: Floats) -> list[dict[str, Any]]:
    """A record a signal, at the false-signal rate (n,) of each week over both sides."""
    beyond = beyond_limits(found, rates)
    rows: list[dict[str, Any]] = []
    places = segment_ids(found.pieces, len(found.weeks))
    ends = np.append(found.pieces[1:], len(found.weeks))
    for piece in np.unique(places[beyond.last]):  # a loop over signals of a handful of stages
        mine = np.flatnonzero(places[beyond.last] == piece)
        only = Windows(beyond.first[mine], beyond.last[mine], beyond.score[mine])
        rows += _signals(found, only, int(found.pieces[piece]), int(ends[piece]))
    return rows


def beyond_limits(found: Shares, rates: Floats) -> Windows:
    """Sums beyond the limit of their last week, at its rate (n,) over both sides."""
    every = windows(found)
    some = np.abs(every.score) > limits(found, rates)[every.last]
    return Windows(every.first[some], every.last[some], every.score[some])


def _signals(found: Shares, beyond: Windows, at: int, end: int) -> list[dict[str, Any]]:
    """Signals of one piece of a stage, one after the other: after one has closed sums begin anew."""
    rows: list[dict[str, Any]] = []
    while True:
        left = np.flatnonzero(beyond.first >= at)
        if not len(left):
            return rows
        opened = int(beyond.last[left].min())
        here = left[beyond.last[left] == opened]
        best = here[np.argmax(np.abs(beyond.score[here]))]
        first = int(beyond.first[best])
        side = int(np.sign(beyond.score[best]))
        back, closed = _return(found, first, opened, end, side)
        rows.append(_row(found, first, opened, side, (back, closed), end))
        if closed < 0:
            return rows
        at = closed + 1


def _return(found: Shares, first: int, opened: int, end: int, side: int) -> tuple[int, int]:
    """The likeliest first week after the return and the week that shows it; -1 both while none does."""
    base = int(found.own[first])
    start = found.bases[base].end
    z = off_its_base(found, base)[first - start : end - start]
    at = opened - first
    z[at] = side * max(side * z[at], TINY)  # its own week lies to the sum's side, if by nothing but a rounding
    fired = np.arange(len(z)) == at
    begin: Ints = np.zeros(1, dtype=np.int64)
    lived = lives(z, begin, begin=begin, fired=fired)
    back, closed = int(lived.back[0]), int(lived.closed[0])
    return (first + back if back >= 0 else -1), (first + closed if closed >= 0 else -1)


def _row(found: Shares, first: int, opened: int, side: int, returned: tuple[int, int], end: int) -> dict[str, Any]:
    """The signal of these weeks; returned: its likeliest week, and the week that showed it."""
    back, closed = returned
    taken = found.taken
    closed_at, by = (taken[closed], BACK) if closed >= 0 else (None, "")
    if closed < 0 and end in found.closings:
        closed_at, by = found.closings[end], PERSON
    last = max(back - 1 if back >= 0 else end - 1, opened)
    told, seen = since(found, first, last), since(found, first, opened)
    before, after = told.expected / told.instruments, told.came_back / told.instruments
    return {
        "chart": SHARE,
        "stage": found.rows["stage"][opened],
        "rule": BEYOND,
        "opened_at": taken[opened],
        "opened_last": taken[opened],
        "openings": 1,
        "side": side,
        "value": seen.came_back / seen.instruments,
        "before": before,
        "after": after,
        "size": after - before,
        "began_at": taken[first] if first < opened else None,
        "last_at": taken[last],
        "back_at": taken[back] if back >= 0 else None,
        "closed_at": closed_at,
        "closed_by": by,
        "came_back": told.came_back,
        "instruments": told.instruments,
        "expected": told.expected,
        "times_low": told.low,
        "times_high": told.high,
    }
