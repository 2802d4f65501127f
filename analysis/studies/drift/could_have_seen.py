"""What a quiet stream would have shown by now: the smallest shift that its chart would have seen with 90 % chance."""

import numpy as np
import polars as pl

from analysis.methods.detectable import smallest_shift
from analysis.methods.segments import lengths
from analysis.studies.drift.signals import signals
from analysis.studies.drift.streams import STREAM
from analysis.studies.drift.watching import AVERAGE
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from ingest.terms.tables import TIME

CHANCE = 0.9

SEEN: dict[str, pl.DataType] = {
    **{name: pl.String() for name in STREAM},
    "readings": pl.Int64(),
    "since": TIME,
    "sigmas": pl.Float64(),
    "shift": pl.Float64(),
}


def could_have_seen(snapshot: Snapshot) -> pl.DataFrame:
    """A row a stream whose own average is quiet (SEEN), in the order of the streams.

    readings, since : judged since the baseline was complete or the last signal closed; sigmas : a shift of so many of
    the stream's sigmas, there for all of them, would have opened a signal by now with 90 % chance; null where not even
    six sigma would. shift : the same in the unit of the readings.
    """
    judged = snapshot.once(signals)
    if judged is None or judged.charts is None or judged.fired is None or judged.budget is None:
        return pl.DataFrame(schema=SEEN)
    charts, weight = judged.charts, snapshot.shop.judging.ewma_weight
    size = lengths(charts.starts, len(charts.reading))
    taken = judged.streams.readings["taken_at"]
    rows = charts.rows.with_columns(
        row=pl.int_range(pl.len(), dtype=pl.Int64),
        first=pl.Series(charts.starts + charts.begin),
        end=pl.Series(charts.starts + size),
        ends=charts.ends_at,
    ).filter((pl.col("chart") == AVERAGE) & pl.col("ends").is_null() & (pl.col("first") < pl.col("end")))
    rows = rows.unique("stream", keep="first", maintain_order=True)
    mine = (
        judged.openings.filter(pl.col("chart") == AVERAGE)
        .group_by(STREAM)
        .agg(pl.col("closed_at").max().alias("closed"), pl.col("closed_at").is_null().any().alias("open"))
    )
    rows = rows.join(mine, on=STREAM, how="left", maintain_order="left").filter(~pl.col("open").fill_null(False))
    if rows.is_empty():
        return pl.DataFrame(schema=SEEN)
    first = rows["first"].to_numpy().copy()
    for at in np.flatnonzero(rows["closed"].is_not_null().to_numpy()):  # a loop over streams that had a signal
        start, end = int(first[at]), int(rows["end"][int(at)])
        times = taken.gather(charts.reading[start:end])
        first[at] = start + int(times.search_sorted(rows["closed"][int(at)], side="right"))
    count = rows["end"].to_numpy() - first
    chart, last = rows["row"].to_numpy(), rows["end"].to_numpy() - 1
    sigma = charts.sigma[chart]
    # the width at the newest reading; growing limits have settled where they count
    grown = np.sqrt(-np.expm1(2 * np.maximum(count, 1) * np.log1p(-weight)))
    width = judged.fired.half[last] / sigma / np.sqrt(weight / (2 - weight)) / grown
    usable = (count > 0) & (width > 0)
    sigmas = np.full(len(rows), np.nan)
    sigmas[usable] = smallest_shift(count[usable], width[usable], weight=weight, chance=CHANCE)
    since = taken.gather(pl.Series(np.where(count > 0, charts.reading[np.minimum(first, last)], -1)).replace(-1, None))
    own = judged.streams.eras.sigma[judged.streams.last_era][rows["stream"].to_numpy()]
    told = rows.select(STREAM).with_columns(
        readings=pl.Series(count),
        since=since,
        sigmas=pl.Series(sigmas * sigma / own).fill_nan(None),
        shift=pl.Series(sigmas * sigma).fill_nan(None),
    )
    return tables.shaped(told, SEEN).sort(STREAM)
