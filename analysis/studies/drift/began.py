"""When the change behind each signal began, and how it was before and since."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import polars as pl

from analysis.methods.change_point import Step, step
from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.drift.setters import deviations
from analysis.studies.drift.streams import Streams
from analysis.studies.drift.watching import AGAINST_ALL, POOLED, Charts

FEW = 20  # readings since the chart's last signal: fewer do not say where it lay before this one


def began(held: Streams, charts: Charts, table: pl.DataFrame) -> pl.DataFrame:
    """A row a signal: began_at, began_low, began_high · before, after, size · began_reading, first_reading.

    Looked for over the readings since the baseline began or the chart's last signal closed, to the last that belongs
    to the signal. A chart that holds no baseline of its own counts from its centre, which is the mean before: a pooled
    one from 0, one that is held against all techs from theirs (the first readings of who is new say nothing of where
    the others set it); so does one whose last signal closed a few readings before.

    table : signals chart after chart, oldest first: chart_row, stream, reading, point, last_reading, last_point,
    end_point, closed_at.
    """
    plotted, _, _ = deviations(held)
    # on one line stand all readings, then all points of charts: places of pooled signals lie in its second part
    n = len(held.values)

    def row_of(place: Ints) -> Ints:
        return np.where(place < n, place, charts.reading[np.maximum(place - n, 0)])

    def line(place: Ints) -> Floats:
        return np.where(place < n, plotted[np.minimum(place, n - 1)], charts.plotted[np.maximum(place - n, 0)])

    chart, stream = table["chart_row"].to_numpy(), table["stream"].to_numpy()
    ours = (charts.rows["chart"] == POOLED).to_numpy()[chart]
    young = (charts.rows["stream"].to_numpy()[chart] < 0) & ~ours
    opened = np.where(ours, table["point"].to_numpy() + n, table["reading"].to_numpy())
    low = np.where(ours, charts.starts[chart] + n, np.where(young, held.starts[stream], charts.window[chart]))
    # after the chart's last signal; on the short-run chart that was mostly another stream's
    earlier = np.append(False, chart[1:] == chart[:-1]) & ~young
    after = np.append(0, table["end_point"].to_numpy()[:-1])
    after = np.minimum(after, table["point"].to_numpy())
    low = np.where(earlier, np.where(ours, after + n, charts.reading[after]), low)
    ends = np.append(held.starts[1:], n)
    still = table["closed_at"].is_null().to_numpy()
    high = np.where(ours, table["last_point"].to_numpy() + n, table["last_reading"].to_numpy())
    high = np.where(young, np.where(still, ends[stream] - 1, opened), high)
    low, high = np.minimum(low, opened), np.maximum(high, opened)
    found, at = _steps(line, (low, opened, high), held, charts, table, soon=earlier & (opened - low < FEW))
    usable = found.at >= 0
    taken = held.readings["taken_at"]

    def when(places: Ints) -> pl.Series:
        return taken.gather(pl.Series(np.where(usable, row_of(at[np.maximum(places, 0)]), -1)).replace(-1, None))

    def number(values: Floats) -> pl.Series:
        return pl.select(pl.when(pl.Series(usable)).then(pl.Series(values).fill_nan(None)).otherwise(None)).to_series()

    return pl.DataFrame(
        {
            "began_at": when(found.at),
            "began_low": when(found.low),
            "began_high": when(found.high),
            "before": number(found.mean_before),
            "after": number(found.mean_after),
            "size": number(found.size),
            "began_reading": row_of(at[np.maximum(found.at, 0)]),
            "first_reading": row_of(low),
        }
    )


def _steps(
    line: Callable[[Ints], Floats],
    span: tuple[Ints, Ints, Ints],
    held: Streams,
    charts: Charts,
    table: pl.DataFrame,
    *,
    soon: Flags,
) -> tuple[Step, Ints]:
    """The likeliest step of each signal between low and high that began no later than it opened; and the places on the
    line that the results point into. line : what stands at places on it. soon : it opened soon after the one before on
    its chart.
    """
    low, opened, high = span
    chart, stream = table["chart_row"].to_numpy(), table["stream"].to_numpy()
    ours = (charts.rows["chart"] == POOLED).to_numpy()[chart]
    centred = (charts.adjusted == AGAINST_ALL).to_numpy()[chart] | soon
    known = ours | centred
    young = (charts.rows["stream"].to_numpy()[chart] < 0) & ~ours
    size = high - low + 1
    begins = np.cumsum(size) - size
    at = np.repeat(low - begins, size) + np.arange(size.sum())
    values = line(at)
    sigma = np.where(young, held.own.sigma[stream], charts.sigma[chart])
    last_start = begins + (opened - low)
    found = step(values, begins, sigma=sigma, end=np.maximum(last_start, np.minimum(begins + 1, begins + size - 1)))
    if known.any():
        before = np.where(ours, 0.0, np.where(centred, charts.centre[chart], line(low)))
        from_it = step(values, begins, sigma=sigma, before=before, end=last_start)
        found = replace(
            found,
            **{
                name: np.where(known, getattr(from_it, name), getattr(found, name))
                for name in ("at", "low", "high", "mean_before", "mean_after", "size")
            },
        )
    alone = (last_start == begins) & ~known
    return _from_the_first(found, alone, begins, values, np.where(young, np.nan, charts.centre[chart])), at


def _from_the_first(found: Step, alone: Flags, begins: Ints, values: Floats, centre: Floats) -> Step:
    """A chart that fired on the first reading of what is looked at (`alone`) began there: off its centre throughout.

    A centre of NaN is not known: neither the mean before nor the size is told.
    """
    if not alone.any():
        return found
    after = np.add.reduceat(values, begins) / np.diff(np.append(begins, len(values)))
    return replace(
        found,
        at=np.where(alone, begins, found.at),
        low=np.where(alone, begins, found.low),
        high=np.where(alone, begins, found.high),
        mean_before=np.where(alone, centre, found.mean_before),
        mean_after=np.where(alone, after, found.mean_after),
        size=np.where(alone, after - centre, found.size),
    )
