"""What spreads wider than before whoever sets it, at one bench: tools, gauge or wood that scatter, while means may
stay. Differences of readings that follow one another within one series, setter, gauge and lot, so that no move of
any of them counts. It opens nothing and is told while it lasts.
"""

from datetime import date, timedelta

import numpy as np
import polars as pl

from analysis.methods.segments import Floats
from analysis.methods.widened import widened
from analysis.studies.drift.streams import Streams, streams
from analysis.studies.story.calendar import week_of
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

BEFORE = timedelta(weeks=52)
BEYOND, LARGE = 4.5, 1.3  # standard errors and times: by chance hardly ever (tests/analysis/methods/test_widened.py)
STANDS, LATELY = 3.0, 4  # told in one of so many weeks, it is told while it stands so far above
FAR = 5.0  # times the usual difference: one reading that is a slip of the pen makes no spread
ONE = 1.15  # times: without one person, or of one model, hardly wider
FEW = 30  # differences since, of a person or a model that is looked at alone
WIDER: dict[str, pl.DataType] = {
    "characteristic": pl.String(),
    "stage": pl.String(),
    "models": pl.List(pl.String()),  # setups that spread wider; empty: all
    "since": pl.Date(),  # first day of the week from which on
    "ratio": pl.Float64(),  # of standard deviations
    "low": pl.Float64(),
    "high": pl.Float64(),
    "readings": pl.Int64(),  # differences since
    "of_one": pl.Boolean(),  # without one of those who set it hardly wider
}


def wider(snapshot: Snapshot, *, week: date) -> pl.DataFrame:
    """WIDER of the week under review, the widest first."""
    held = snapshot.once(streams)
    if held is None:
        return pl.DataFrame(schema=WIDER)
    found = []
    told = _differences(held, week, snapshot.shop)
    for (characteristic, stage), own in told.group_by("characteristic", "stage", maintain_order=True):
        if (row := _widened(own, week)) is not None:
            found.append((str(characteristic), str(stage), *row))
    made = pl.DataFrame(found, schema=WIDER, orient="row")
    return made.sort("ratio", "characteristic", "stage", descending=[True, False, False])


def _differences(held: Streams, week: date, shop: Shop) -> pl.DataFrame:
    """A row a difference: characteristic, stage, model, set_by, week, square (of its series' usual one)."""
    day = held.readings["day"]
    first = week - BEFORE
    of_all = (held.rows["tech"] == "").to_numpy()[held.readings.stream]
    at = np.flatnonzero(of_all & day.is_between(first, week + timedelta(days=6)).to_numpy())
    rows = held.readings.at(at, "characteristic", "stage", "setup", "set_by", "gauge", "supplier", "lot", "day")
    rows = tables.plain(rows).with_columns(
        week=week_of(pl.col("day"), shop), stream=pl.Series(held.readings.stream[at]), value=pl.Series(held.values[at])
    )
    series = ["stream", "set_by", "gauge", "supplier", "lot"]
    apart = (pl.col("value") - pl.col("value").shift(1).over(series)).abs()
    rows = rows.with_columns(apart=apart).drop_nulls("apart")
    usual = pl.col("apart").median().over("stream")
    mean = pl.col("apart").mean().over("stream")
    scale = pl.when(usual > 0).then(usual / 0.954).otherwise(mean / 1.128)  # of one reading, were they normal
    rows = rows.with_columns(square=(pl.min_horizontal(pl.col("apart"), FAR * scale * 2**0.5) / scale) ** 2 / 2)
    return rows.filter(scale > 0).rename({"setup": "model"})


def _weekly(own: pl.DataFrame) -> tuple[pl.Series, Floats, Floats]:
    """The weeks, and the mean square and number of differences of each."""
    weekly = own.group_by("week").agg(pl.col("square").mean().alias("mean"), n=pl.len()).sort("week")
    weekly = weekly.filter(pl.col("mean") > 0)
    return weekly["week"], weekly["mean"].to_numpy(), weekly["n"].to_numpy().astype(np.float64)


def _widened(own: pl.DataFrame, week: date) -> tuple[object, ...] | None:
    weeks, square, size = _weekly(own)
    if len(weeks) == 0 or weeks[-1] != week:
        return None
    found = widened(square, size)
    if found is None or found.z < STANDS or found.ratio < ONE:
        return None
    lately = (widened(square[:last], size[:last]) for last in range(len(weeks), max(len(weeks) - LATELY, 0), -1))
    if not any(one is not None and one.z >= BEYOND and one.ratio >= LARGE for one in lately):
        return None
    since: date = weeks[found.first]
    every = own["model"].unique().sort().to_list()
    wide = [model for model in every if _ratio(own.filter(pl.col("model") == model), since) >= ONE]
    people = own.filter(pl.col("week") >= since)["set_by"].unique().to_list()
    alone = len(people) > 1 and any(_ratio(own.filter(pl.col("set_by") != who), since) < ONE for who in people)
    n = own.filter(pl.col("week") >= since).height
    models = [] if len(wide) == len(every) else wide
    return models, since, found.ratio, found.low, found.high, n, alone


def _ratio(own: pl.DataFrame, since: date) -> float:
    """How many times as wide since a week as before; 1 where too little is known."""
    later, before = (own.filter(one)["square"] for one in (pl.col("week") >= since, pl.col("week") < since))
    if len(later) < FEW or len(before) < FEW or not before.sum():
        return 1.0
    return float(np.sqrt(later.mean() / before.mean()))  # type: ignore[operator, arg-type]
