"""What the false-signal budget buys: how many instruments pass until a shift is seen, stream by stream, under this and
other budgets.
"""

import numpy as np
import polars as pl

from analysis.methods.allowance import ewma_delay, ewma_width
from analysis.methods.segments import Floats, Ints
from analysis.studies.drift.budget import LARGEST_RATE
from analysis.studies.drift.signals import signals
from analysis.studies.drift.streams import STREAM
from analysis.studies.drift.watching import AVERAGE
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

SHIFTS = {"half_sigma": 0.5, "one_sigma": 1.0, "two_sigma": 2.0}
TIMES = (0.5, 1.0, 3.0)  # of the shop's budget
KNOTS = 5
WEEKS = 13

BUYS: dict[str, pl.DataType] = {
    **{name: pl.String() for name in STREAM},
    "per_week": pl.Float64(),
    "baseline": pl.Int64(),
    "budget": pl.Float64(),
    "now": pl.Boolean(),
    "rate": pl.Float64(),
    "width": pl.Float64(),
    **{name: pl.Float64() for name in SHIFTS},
}


def what_it_buys(snapshot: Snapshot) -> pl.DataFrame:
    """A row a stream with a chart of averages and budget (BUYS): mean instruments until a shift of so many sigma opens
    a signal.

    For normal, independent readings and a chart that has long been quiet, averaged over the estimated limits; `rate` is
    false signals a reading. Empty where the shop asks for classical charts.
    """
    judged = snapshot.once(signals)
    allowed = snapshot.shop.judging.budget
    if judged is None or judged.charts is None or judged.budget is None or allowed is None:
        return pl.DataFrame(schema=BUYS)
    charts, weight = judged.charts, snapshot.shop.judging.ewma_weight
    rows = charts.rows.with_columns(
        baseline=pl.Series(charts.baseline), ends=charts.ends_at, chart_row=pl.int_range(pl.len(), dtype=pl.Int64)
    )
    rows = rows.filter((pl.col("chart") == AVERAGE) & pl.col("ends").is_null() & (pl.col("baseline") >= 2)).unique(
        STREAM, keep="first", maintain_order=True
    )
    if rows.is_empty():
        return pl.DataFrame(schema=BUYS)
    held = judged.streams
    per_week = np.add.reduceat(_recent(snapshot, held.readings["taken_at"]), held.starts) / WEEKS
    sizes, which = np.unique(rows["baseline"].to_numpy(), return_inverse=True)
    parts = []
    for times in TIMES:
        rate = min(float(judged.budget.rates[-1]) * times, LARGEST_RATE)
        width = np.array([ewma_width(1 / rate, weight=weight, baseline=int(n)) for n in _knots(sizes)])
        delays = {
            name: _spread_out(
                sizes, [ewma_delay(shift, float(w), weight, int(n)) for n, w in zip(_knots(sizes), width, strict=True)]
            )[which]
            for name, shift in SHIFTS.items()
        }
        parts.append(
            rows.select(*STREAM, "baseline", per_week=pl.Series(per_week[rows["stream"].to_numpy()])).with_columns(
                budget=pl.lit(allowed * times),
                now=pl.lit(times == 1.0),
                rate=pl.lit(rate),
                width=pl.Series(_spread_out(sizes, list(width))[which]),
                **{name: pl.Series(values) for name, values in delays.items()},
            )
        )
    return tables.shaped(pl.concat(parts), BUYS).sort(*STREAM, "budget")


def _recent(snapshot: Snapshot, taken: pl.Series) -> Floats:
    last = int(snapshot.as_of.timestamp() * 1_000_000)
    return (taken.cast(pl.Int64).to_numpy() > last - WEEKS * 7 * 86_400_000_000).astype(np.float64)


def _knots(sizes: Ints) -> Ints:
    """All sizes where they are few, else some evenly apart in log n."""
    if len(sizes) <= KNOTS:
        return sizes
    return np.unique(np.round(np.geomspace(sizes[0], sizes[-1], KNOTS)).astype(np.int64))


def _spread_out(sizes: Ints, at_knots: list[float]) -> Floats:
    return np.exp(np.interp(np.log(sizes), np.log(_knots(sizes)), np.log(at_knots)))
