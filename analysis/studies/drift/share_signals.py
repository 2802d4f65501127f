"""Signals of the weekly shares of send-backs, one chart a stage, and one a stage and model (`model_shares`).

A week up to which more, or less, came back since some week than the base before that week lets expect opens one, at the
budget's rate of false signals a week over all starts and both sides. It began with the likeliest start, by all weeks
that are there. It closes as every signal does, by how far each week's share lies from that base, in standard errors.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
import polars as pl
from scipy.special import ndtr

from analysis.methods.run_rules import BEYOND
from analysis.methods.segments import Floats, Ints, segment_ids
from analysis.methods.signal_life import lives
from analysis.studies.drift.budget import Budget
from analysis.studies.drift.model_shares import model_windows
from analysis.studies.drift.opened import BACK, FOUND, PERSON
from analysis.studies.drift.share_starts import likely_start
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
    """A record a signal, at the false-signal rate (n,) of each week of a chart: of a stage's over both sides, of a
    model's, which looks for more alone, over that one.
    """
    ends = np.append(found.pieces[1:], len(found.weeks))
    rows: list[dict[str, Any]] = []
    for beyond, piece, models in _charts(found, rates):
        rows += _signals(found, beyond, (int(found.pieces[piece]), int(ends[piece])), models)
    return rows


def _charts(found: Shares, rates: Floats) -> Iterator[tuple[Windows, int, tuple[int, ...]]]:
    """Sums beyond the limit, by the piece of a stage and the model of which they are; () of all. A loop over signals of
    a handful of charts.
    """
    whole, own, models = beyond_limits(found, rates), *model_windows(found, limits(found, 2 * rates))
    places = segment_ids(found.pieces, len(found.weeks))
    for piece in np.unique(places[whole.last]):
        yield whole.some(places[whole.last] == piece), int(piece), ()
    for piece, model in np.unique(np.column_stack((places[own.last], models)), axis=0).tolist():
        yield own.some((places[own.last] == piece) & (models == model)), piece, (model,)


def beyond_limits(found: Shares, rates: Floats) -> Windows:
    """Sums of all work beyond the limit of their last week, at its rate (n,) over both sides."""
    every = windows(found)
    return every.some(np.abs(every.score) > limits(found, rates)[every.last])


def _signals(found: Shares, beyond: Windows, span: tuple[int, int], models: tuple[int, ...]) -> list[dict[str, Any]]:
    """Signals of one piece of a chart, one after the other: after one has closed sums begin anew."""
    rows: list[dict[str, Any]] = []
    (at, end), weeks = span, np.arange(*span)  # of no signal that is over
    while True:
        left = np.flatnonzero(beyond.first >= at)
        if not len(left):
            return rows
        opened = int(beyond.last[left].min())
        here = left[beyond.last[left] == opened]
        best = here[np.argmax(np.abs(beyond.score[here]))]
        first = int(beyond.first[best])
        side = int(np.sign(beyond.score[best]))
        back, closed = _return(found, first, opened, end, side, models)
        last = max(back - 1 if back >= 0 else end - 1, opened)
        start = likely_start(found, first, weeks[weeks <= last], opened, side, models)
        rows.append(_row(found, start, opened, side, (back, closed, last, end), models))
        if closed < 0:
            return rows
        at, weeks = closed + 1, weeks[(weeks < min(start, first)) | (weeks > closed)]


def _return(found: Shares, first: int, opened: int, end: int, side: int, models: tuple[int, ...]) -> tuple[int, int]:
    """The likeliest first week after the return and the week that shows it; -1 both while none does."""
    base = int(found.own[first])
    start = found.bases[base].end
    z = off_its_base(found, base, models)[first - start : end - start]
    weeks = np.flatnonzero(np.isfinite(z))  # weeks without such work say nothing
    z, at = z[weeks], int(np.searchsorted(weeks, opened - first))
    z[at] = side * max(side * z[at], TINY)  # its own week lies to the sum's side, if by nothing but a rounding
    fired = np.arange(len(z)) == at
    begin: Ints = np.zeros(1, dtype=np.int64)
    lived = lives(z, begin, begin=begin, fired=fired)
    back, closed = int(lived.back[0]), int(lived.closed[0])
    return (first + int(weeks[back]) if back >= 0 else -1), (first + int(weeks[closed]) if closed >= 0 else -1)


def _row(
    found: Shares, first: int, opened: int, side: int, ends: tuple[int, int, int, int], models: tuple[int, ...]
) -> dict[str, Any]:
    """The signal of these weeks; ends: the likeliest week of its return, the week that showed it, the last that belongs
    to it, the first after its piece.
    """
    back, closed, last, end = ends
    taken = found.taken
    closed_at, by = (taken[closed], BACK) if closed >= 0 else (None, "")
    if closed < 0 and end in found.closings:
        closed_at, by = found.closings[end], PERSON
    told, seen = since(found, first, last, models), since(found, first, opened, models)
    before, after = told.expected / told.instruments, told.came_back / told.instruments
    return {
        "chart": SHARE,
        "stage": found.rows["stage"][opened],
        "model": found.models[models[0]] if models else "",
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
