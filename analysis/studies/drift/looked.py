"""How often charts looked: how many readings were judged over the last year, of each kind of chart and week."""

from collections.abc import Sequence

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints, Rows
from analysis.studies.drift.streams import Streams
from analysis.studies.drift.watching import AGAINST_ALL, AVERAGE, INDIVIDUALS, Charts

KIND = ("chart", "over", "person")
LOOKED: dict[str, pl.DataType] = {
    "chart": pl.String(),
    "over": pl.String(),
    "person": pl.Boolean(),  # of one person; pooled ones are told by what they pool
    "week": pl.Int64(),
    "n": pl.Int64(),
}


def judges_a_stream(charts: Charts) -> Flags:
    """Which charts judge a stream by limits of its own (c,)."""
    of_stream = charts.rows["chart"].is_in([AVERAGE, INDIVIDUALS]).to_numpy()
    return np.asarray(of_stream & (charts.adjusted != AGAINST_ALL).to_numpy())


def own_eras(held: Streams, charts: Charts) -> Ints:
    """The eras of these charts (k,)."""
    own = judges_a_stream(charts)
    return np.asarray(np.searchsorted(held.eras.starts, charts.reading[charts.starts[own]], side="right") - 1)


def of_streams(held: Streams, eras: Ints, weeks: Ints | Rows, late: Flags, chart: str) -> pl.DataFrame:
    """LOOKED of charts that judge whole eras; weeks, late (n,): of each reading, and whether it counts."""
    rows = np.flatnonzero(late)
    era = np.searchsorted(held.eras.starts, rows, side="right") - 1
    some = np.zeros(len(held.eras.starts), dtype=np.bool_)
    some[eras] = True
    judged = some[era] & (rows - held.eras.starts[era] >= held.eras.judged_from[era])
    person = (held.rows["tech"] != "").to_numpy()[held.eras.stream[era[judged]]]
    return summed([of_rows(chart, "", weeks[rows[judged][person == whose]], person=whose) for whose in (False, True)])


def of_rows(chart: str, over: str, weeks: Ints | Rows, *, person: bool = False) -> pl.DataFrame:
    """LOOKED of readings on charts of one kind, by their weeks (n,)."""
    low = int(weeks.min()) if len(weeks) else 0
    count = np.bincount(weeks - low)
    some = np.flatnonzero(count)
    told = {"chart": pl.lit(chart), "over": pl.lit(over), "person": pl.lit(person)}
    return pl.DataFrame({"week": some + low, "n": count[some]}).with_columns(**told)


def of_charts(charts: Charts, some: Flags, weeks: Ints | Rows, late: Flags) -> pl.DataFrame:
    """LOOKED of some charts (c,), by the readings that they hold; weeks, late (n,): of readings of streams."""
    size = np.diff(charts.starts, append=len(charts.reading))
    at = np.flatnonzero(np.repeat(some, size))
    at = at[late[charts.reading[at]]]
    at = at[charts.judges(at)]
    chart = np.searchsorted(charts.starts, at, side="right") - 1
    kinds = charts.rows.select("chart", "over", person=(pl.col("tech") != "") & (pl.col("over") == ""))
    rows = kinds[chart].with_columns(week=pl.Series(weeks[charts.reading[at]]), n=pl.lit(1, dtype=pl.Int64))
    return summed([rows])


def summed(parts: Sequence[pl.DataFrame]) -> pl.DataFrame:
    """LOOKED of several."""
    rows = pl.concat([part.select(pl.col(name).cast(dtype) for name, dtype in LOOKED.items()) for part in parts])
    return rows.group_by(*KIND, "week").agg(pl.col("n").sum()).sort(*KIND, "week")
