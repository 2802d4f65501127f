"""What each kind of chart costs of the budget, what it opened, and how soon it sees a shift of three quarters of a
sigma."""

import numpy as np
import polars as pl

from analysis.methods.run_length_weighted import ewma_arls
from analysis.methods.segments import Flags, Floats, lengths
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.drift.watching import POOLED, SHARE, SHORT_RUN
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

SHIFT = 0.75  # sigmas, in every stream that the chart holds
WEEKS = 13
STREAM, OWN, YOUNG, PER_SHARE = "stream", "own", "young", "share"  # beside setter, gauge and characteristic
ORDER = (STREAM, OWN, YOUNG, "setter", "gauge", "characteristic", PER_SHARE)

KINDS: dict[str, pl.DataType] = {
    "kind": pl.String(),  # one of ORDER
    "charts": pl.Int64(),
    "per_week": pl.Float64(),  # readings or points a week on all of them, over the last 13 weeks
    "allowed": pl.Float64(),  # false signals a week that are allowed for
    "opened": pl.Int64(),  # openings in the last 13 weeks, each counted
    "seen_after": pl.Float64(),  # points on the median chart until a shift of three quarters of a sigma is seen
    "seen_weeks": pl.Float64(),  # the same in weeks of that chart
}


def chart_kinds(snapshot: Snapshot) -> pl.DataFrame:
    """A row a kind of chart that stands (KINDS); empty where the shop asks for classical charts.

    Delays are those of normal, independent readings on a chart that has long been quiet, at its limits of the last
    week; openings hold true and false signals, so more than 13 times `allowed` of them says that something moved.
    """
    judged = snapshot.once(signals)
    if judged is None or judged.budget is None or judged.charts is None or judged.fired is None:
        return pl.DataFrame(schema=KINDS)
    charts = judged.charts
    size = lengths(charts.starts, len(charts.reading))
    taken = judged.streams.readings["taken_at"].cast(pl.Int64).to_numpy()[charts.reading]
    cut = int(snapshot.as_of.timestamp() * 1_000_000) - WEEKS * 7 * 86_400_000_000
    recent = np.add.reduceat(((taken > cut) & charts.judged).astype(np.float64), charts.starts) / WEEKS
    since = judged.openings.filter(pl.col("opened_at") > snapshot.as_of - pl.duration(weeks=WEEKS))
    opened = dict(since.select(_kind().alias("kind")).group_by("kind").len().rows())
    kinds = charts.rows.select(_kind().alias("kind"))["kind"].to_numpy()
    last = charts.starts + size - 1
    live = recent > 0
    delays = _delays(judged, last, live, snapshot.shop.judging.ewma_weight)
    rate = float(judged.budget.rates[-1])
    rows = []
    for kind in ORDER:
        mine = (kinds == kind) & live
        if not mine.any() and kind != PER_SHARE:
            continue
        delay = delays[mine]
        weeks = delay / np.where(recent[mine] > 0, recent[mine], np.nan)
        per_week = float(recent[mine].sum())
        if kind == PER_SHARE:
            if judged.weekly is None or not len(judged.weekly.starts):
                continue
            of_models, _ = judged.weekly.looked()
            last_week = judged.weekly.weeks[of_models] == judged.weekly.weeks.max()
            per_week = float(len(judged.weekly.starts) + last_week.sum())
        rows.append(
            {
                "kind": kind,
                "charts": int(mine.sum()) if kind != PER_SHARE else int(per_week),
                "per_week": per_week,
                "allowed": per_week * rate,
                "opened": int(opened.get(kind, 0)),
                "seen_after": float(np.median(delay)) if len(delay) and kind != YOUNG else None,
                "seen_weeks": float(np.median(weeks)) if len(delay) and kind != YOUNG else None,
            }
        )
    return tables.shaped(pl.DataFrame(rows, schema=KINDS), KINDS)


def _kind() -> pl.Expr:
    return (
        pl.when(pl.col("chart") == POOLED)
        .then("over")
        .when(pl.col("chart") == SHORT_RUN)
        .then(pl.lit(YOUNG))
        .when(pl.col("chart") == SHARE)
        .then(pl.lit(PER_SHARE))
        .when(pl.col("tech") == "")
        .then(pl.lit(STREAM))
        .otherwise(pl.lit(OWN))
    )


def _delays(judged: Signals, last: np.ndarray, live: Flags, weight: float) -> Floats:
    """Points until the shift is seen, by chart; NaN for charts without a recent reading."""
    charts, fired = judged.charts, judged.fired
    delays = np.full(len(last), np.nan)
    if charts is None or fired is None or not live.any():
        return delays
    judged_now = np.maximum(last - charts.starts - charts.begin + 1, 1)[live]
    grown = np.sqrt(-np.expm1(2 * judged_now * np.log1p(-weight)))  # limits of a young chart have not yet settled
    width = fired.half[last[live]] / charts.sigma[live] / np.sqrt(weight / (2 - weight)) / grown
    pooled = (charts.rows["over"] != "").to_numpy()[live]
    # a pooled point is a mean in sigmas of its streams; other charts stand in the unit of their readings
    shift = SHIFT / np.where(pooled, charts.sigma[live], 1.0)
    pairs, which = np.unique(
        np.round(np.column_stack((np.maximum(width, 0.05), shift)), 2), axis=0, return_inverse=True
    )
    delays[live] = ewma_arls(pairs[:, 0], pairs[:, 1], weight=weight, start="steady")[which.ravel()]
    return delays
