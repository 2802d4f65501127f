"""What spreads wider than before whoever sets it, at one bench: tools, gauge or wood that scatter, while means may
stay. Differences of readings that follow one another within one series, setter, gauge and lot, so that no move of
any of them counts. It opens nothing and is told while it lasts.
"""

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import polars as pl

from analysis.methods.segments import Floats, dense, fresh, in_order
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
    for first, weeks, square, size in _weekly(told):
        if (row := _widened(told, first, (weeks, square, size), week)) is not None:
            found.append((*held.rows.select("characteristic", "stage").row(first), *row))
    made = pl.DataFrame(found, schema=WIDER, orient="row")
    return made.sort("ratio", "characteristic", "stage", descending=[True, False, False])


def _differences(held: Streams, week: date, shop: Shop) -> pl.DataFrame:
    """A row a difference: of (the first series of its characteristic and stage), model, set_by (a number), week, square
    (of its series' usual one).
    """
    first, last = week - BEFORE, week + timedelta(days=6)
    every, readings = held.rows.with_row_index("of"), held.readings
    at = held.of_all_within(first, last)
    stream, values = readings.stream[at].astype(np.int64), held.values[at]
    told, row = readings.at(at, "day"), pl.Series(readings.row[at])
    names = ("set_by", "gauge", "supplier", "lot")
    series = (stream, *(readings.source.numbers(name, row).small_ranks() for name in names))
    order = in_order(*series)
    follows = ~fresh(tables.one_key(*series)[order])
    before = np.full(len(at), -1)
    before[order[follows]] = order[np.flatnonzero(follows) - 1]  # the reading before it in its series
    some = np.flatnonzero(before >= 0)
    days = pl.DataFrame({"day": pl.date_range(first, last, eager=True)}).select(week_of(pl.col("day"), shop))
    since = (told["day"].cast(pl.Int32) - pl.Series([first]).cast(pl.Int32)[0]).gather(some)
    rows = pl.DataFrame(
        {
            "stream": stream[some],
            "apart": np.abs(values[some] - values[before[some]]),
            "week": days.to_series().gather(since),
            "set_by": series[1][some],
            "model": every["model"].gather(stream[some]),
            "of": every.select(pl.col("of").min().over("characteristic", "stage")).to_series().gather(stream[some]),
        }
    )
    usual = pl.col("apart").median().over("stream")
    mean = pl.col("apart").mean().over("stream")
    scale = pl.when(usual > 0).then(usual / 0.954).otherwise(mean / 1.128)  # of one reading, were they normal
    rows = rows.with_columns(square=(pl.min_horizontal(pl.col("apart"), FAR * scale * 2**0.5) / scale) ** 2 / 2)
    return rows.filter(scale > 0)


def _weekly(told: pl.DataFrame) -> Iterator[tuple[int, list[date], Floats, Floats]]:
    """Of each characteristic and stage its first series, the weeks, and the mean square and number of differences of
    each, summed as they stand, so that two looks tell the same to the last digit.
    """
    of, week = told["of"].to_numpy(), told["week"].cast(pl.Int32).to_numpy()
    cell = dense(tables.one_key(of, week))
    size = np.bincount(cell.code).astype(np.float64)
    square = np.bincount(cell.code, told["square"].to_numpy()) / size
    wide = square > 0
    heads, square, size = told[["of", "week"]][cell.first[wide]], square[wide], size[wide]
    for begin, end in pairwise([*np.flatnonzero(fresh(heads["of"].to_numpy())).tolist(), len(square)]):
        part = slice(begin, end)
        yield heads["of"][begin], heads["week"][part].to_list(), square[part], size[part]


def _widened(
    told: pl.DataFrame, first: int, weekly: tuple[list[date], Floats, Floats], week: date
) -> tuple[object, ...] | None:
    weeks, square, size = weekly
    if weeks[-1] != week:
        return None
    found = widened(square, size)
    if found is None or found.z < STANDS or found.ratio < ONE:
        return None
    lately = (widened(square[:last], size[:last]) for last in range(len(weeks), max(len(weeks) - LATELY, 0), -1))
    if not any(one is not None and one.z >= BEYOND and one.ratio >= LARGE for one in lately):
        return None
    since, own = weeks[found.first], told.filter(pl.col("of") == first)
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
