"""All streams at a glance: each one's running average on one scale, and what moved most first."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from analysis.methods.segments import Floats, Ints, lengths, spans
from analysis.methods.weighted import ewma
from analysis.studies.drift.signals import signals
from analysis.studies.drift.states import judged_rows
from analysis.studies.drift.streams import STREAM, Streams
from analysis.studies.story.conformity import OF_SPEC, with_specs
from ingest.store.snapshot import Snapshot

TICKS = 40  # points of each straightedge, evenly spread in time
SHARE_OF_TOLERANCE = 0.2  # the scale's end: a fifth of the tolerance
SIGMAS = 2.0  # or two sigma, where nothing is asked


@dataclass(frozen=True)
class Rack:
    """Every stream of a time as a small line, by characteristic and model."""

    streams: pl.DataFrame
    """A row a stream, what moved most first: the `streams` figures and target, lower, upper, tolerance (upper -
    lower in force, null), shift (mean after minus before of its open signal, else null), shift_share (of the
    tolerance), opened_at, began_at, began_low, began_high, scale (what 1 on the line stands for), line (list of
    shares of the scale, null before its first reading), light_from (place in `line` where the change began, or
    null).
    """


def rack(snapshot: Snapshot, *, weeks: int = 13, tech: str = "") -> Rack:
    """Every stream of all techs (or those one tech set) over the last weeks."""
    judged = snapshot.once(signals)
    rows = judged_rows(snapshot)
    if judged is None:
        return Rack(rows)
    held = judged.streams
    spec = with_specs(snapshot, held.readings.at(held.ends, *OF_SPEC, "stream"))
    rows = (
        rows.with_row_index("stream")
        .with_columns(pl.col("stream").cast(pl.Int64))
        .join(
            spec.select("stream", "target", "lower", "upper", (pl.col("upper") - pl.col("lower")).alias("tolerance")),
            on="stream",
            how="left",
            maintain_order="left",
        )
    )
    moved = (
        judged.open.sort("opened_at")
        .unique("stream", keep="last")
        .select("stream", "opened_at", "began_at", "began_low", "began_high", pl.col("size").alias("shift"))
    )
    rows = rows.join(moved, on="stream", how="left", maintain_order="left")
    sigma = rows["sigma"].fill_null(0.0).to_numpy()
    tolerance = rows["tolerance"].cast(pl.Float64).fill_null(np.nan).to_numpy()
    scale = np.where(tolerance > 0, SHARE_OF_TOLERANCE * tolerance, SIGMAS * sigma)
    rows = rows.with_columns(scale=pl.Series(scale), shift_share=pl.col("shift") / pl.col("tolerance"))
    rows = rows.filter(pl.col("tech") == tech)
    which = rows["stream"].to_numpy()
    lines, light = _lines(snapshot, weeks, held, which, scale[which], rows["began_at"])
    rows = rows.with_columns(line=lines, light_from=pl.Series(light, dtype=pl.Int64).replace(-1, None))
    return Rack(
        rows.sort(
            pl.col("shift_share").abs(),
            pl.col("shift").abs() / pl.col("sigma"),
            *STREAM,
            descending=[True, True] + [False] * 5,
            nulls_last=True,
        )
    )


def place_of(snapshot: Snapshot, when: datetime, *, weeks: int = 13) -> int:
    """Where a moment stands in `line`: the first point not before it, the last one where all are."""
    return min(int((_ticks(snapshot, weeks) < int(when.timestamp() * 1_000_000)).sum()), TICKS - 1)


def _ticks(snapshot: Snapshot, weeks: int) -> Ints:
    """The moments of the points of `line`, in microseconds since 1970, shape (TICKS,)."""
    now = int(snapshot.as_of.timestamp() * 1_000_000)
    return now - (weeks * 7 * 86_400_000_000 * np.arange(TICKS - 1, -1, -1)) // (TICKS - 1)


def _lines(
    snapshot: Snapshot, weeks: int, held: Streams, which: Ints, scale: Floats, began: pl.Series
) -> tuple[pl.Series, np.ndarray]:
    """The average of some streams (s,) at evenly spread times, as shares of their scale, a list each; and the place of
    the first point not before each one began, -1 where it did not.
    """
    if not len(which):
        return pl.Series([], dtype=pl.List(pl.Float64)), which
    size, centre = lengths(held.starts, len(held.values))[which], held.own.centre[which]
    first = held.starts[which]
    beside = bool((first[1:] == (first + size)[:-1]).all())  # one behind the other: no copy of their readings
    mine = slice(first[0], first[-1] + size[-1]) if beside else spans(first, first + size)
    values, starts = held.values[mine], np.cumsum(size) - size
    average = ewma(values, starts, centre=centre, sigma=1.0, weight=snapshot.shop.judging.ewma_weight).average
    time = held.readings["taken_at"].to_physical().to_numpy()[mine]
    ticks = _ticks(snapshot, weeks)
    # last reading of each stream at or before each tick: how many lie before the first, and between one and the next
    s = len(starts)
    late = np.flatnonzero(~(time <= ticks[0]))  # few of many years
    own = np.searchsorted(starts, late, side="right") - 1
    between = np.searchsorted(ticks, time[late], side="left") + own * (TICKS + 1)
    counts = np.bincount(between, minlength=s * (TICKS + 1)).reshape(s, TICKS + 1)
    counts[:, 0] = size - counts.sum(axis=1)
    last = starts[:, None] + np.cumsum(counts, axis=1)[:, :TICKS] - 1
    usable = (last >= starts[:, None]) & (scale > 0)[:, None]
    shares = np.where(
        usable, (average[np.maximum(last, 0)] - centre[:, None]) / np.where(scale > 0, scale, 1.0)[:, None], np.nan
    )
    lines = pl.Series(shares.ravel()).fill_nan(None).reshape(shares.shape).arr.to_list()
    start = began.cast(pl.Int64).fill_null(np.iinfo(np.int64).max).to_numpy()
    light = np.where(
        began.is_null().to_numpy(), -1, np.minimum((ticks[None, :] < start[:, None]).sum(axis=1), TICKS - 1)
    )
    return lines, light
