"""From a chart's openings to signals: what closed each, which go on under their first start, and when each change
began.

One that closed because its stream was back and that opens again within 13 weeks in the same direction is one signal:
the same row, closed_at null again, the openings counted. Never after a person's closing, nor under new limits.
"""

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints
from analysis.methods.signal_life import Lives
from analysis.studies.drift.began import began
from analysis.studies.drift.streams import STREAM, Streams
from analysis.studies.drift.watching import POOLED, SHORT_RUN, Charts, Fired
from ingest.store.snapshot import Snapshot
from ingest.terms.tables import TIME

AGAIN = 13 * 7  # days after a closing within which an opening in the same direction goes on under its first start
BACK, NEW_LIMITS, PERSON = "back at its baseline", "new limits", "a person"  # what closed a signal

OF_EACH = ("opened_at", "began_at", "began_low", "began_high", "back_at")
EACH = pl.List(pl.Struct(dict.fromkeys(OF_EACH, TIME)))

FOUND: dict[str, pl.DataType] = {
    "chart": pl.String(),
    **{name: pl.String() for name in STREAM},
    "gauge": pl.String(),  # of a pooled chart of one gauge, else ''
    "over": pl.String(),  # what a pooled chart pools: setter | gauge | characteristic; '' elsewhere
    "rule": pl.String(),
    "opened_at": TIME,
    "serial": pl.String(),
    "value": pl.Float64(),
    "openings": pl.Int64(),
    "opened_last": TIME,
    "each": EACH,  # of each opening, oldest first: when it opened, began and came back; null of a weekly share
    "side": pl.Int64(),  # +1 above the baseline, -1 below
    "last_at": TIME,  # the last reading that belongs to it
    "back_at": TIME,  # likeliest moment of the return
    "closed_at": TIME,
    "closed_by": pl.String(),
    "began_at": TIME,
    "began_low": TIME,
    "began_high": TIME,
    "before": pl.Float64(),
    "after": pl.Float64(),
    "size": pl.Float64(),
    "adjusted": pl.String(),
    "stream": pl.Int64(),
    "reading": pl.Int64(),
    "began_reading": pl.Int64(),
    "first_reading": pl.Int64(),
    "last_reading": pl.Int64(),
    "came_back": pl.Int64(),  # of a weekly share, from its start to its last week; null elsewhere, as the next four
    "instruments": pl.Int64(),
    "expected": pl.Float64(),  # of these, by the weeks before
    "times_low": pl.Float64(),  # 95 % limits of came_back / expected
    "times_high": pl.Float64(),
}
OF_SHARES = ("came_back", "instruments", "expected", "times_low", "times_high")

OPENINGS = ("chart", *STREAM, "gauge", "over", "opened_at", "serial", "side", "closed_at", "closed_by")
"""Columns of the account of openings: a row each, as the budget counts them."""
ORDER = ("opened_at", *STREAM, "chart", "gauge", "over", "side", "adjusted")  # of signals and openings


def cuts(snapshot: Snapshot, held: Streams, charts: Charts) -> list[tuple[int, int, object]]:
    """(first reading on the chart after it was closed, the chart, when) for each signal that a person closed and nobody
    reopened.
    """
    book = snapshot.lines("close", "reopen").filter(pl.col("opened_at").is_not_null())
    if book.is_empty():
        return []
    latest = (
        book.sort("sequence").unique([*STREAM, "chart", "opened_at"], keep="last").filter(pl.col("kind") == "close")
    )
    numbered = charts.rows.with_row_index("row")
    taken = held.readings["taken_at"]
    ends = np.append(charts.starts[1:], len(charts.reading))
    found = []
    for entry in latest.sort("sequence").iter_rows(named=True):  # a loop over what people closed
        late = entry["at"] < entry["opened_at"]  # a clock behind the readings: they are all before it
        when = snapshot.as_of if late else entry["at"]
        names = (*STREAM, "chart")
        if entry["chart"] == SHORT_RUN:  # its signals wear the model of the reading that opened them
            names = ("characteristic", "position", "stage", "chart")
        same = numbered.filter(pl.all_horizontal([pl.col(name) == entry[name] for name in names]))
        for row in same["row"]:
            times = taken.gather(charts.reading[charts.starts[row] : ends[row]])
            at = int(times.search_sorted(when, side="right"))
            if len(times) and times[0] <= entry["opened_at"] and at > 0:
                found.append((int(charts.starts[row]) + at, int(row), when))
    return found


def signals_of(
    snapshot: Snapshot,
    held: Streams,
    charts: Charts,
    fired: Fired,
    lived: Lives,
    closings: list[tuple[int, int, object]],
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Signals (FOUND, chart_row), and the account of their openings (OPENINGS, adjusted, chart_row), chart by chart."""
    if len(lived.opened) == 0:
        empty = pl.DataFrame(schema=FOUND | {"chart_row": pl.Int64()})
        return empty, empty.select(*OPENINGS, "adjusted", "chart_row")
    every = _openings(snapshot, held, charts, fired, lived, closings)
    account = every.select(*OPENINGS, "adjusted", "chart_row")
    first = np.flatnonzero(_fresh(every, closings))
    last = np.append(first[1:], len(every)) - 1
    latest = every[last]
    table = every[first].with_columns(
        *(
            latest[name]
            for name in ("closed_at", "closed_by", "back_at", "last_reading", "last_at", "last_point", "end_point")
        ),
        openings=pl.Series(last - first + 1),
        opened_last=latest["opened_at"],
        each=_each(held, charts, every, last),
    )
    changes = began(held, charts, table)
    own = pl.concat([table, changes], how="horizontal").with_columns(
        [pl.lit(None, FOUND[name]).alias(name) for name in OF_SHARES]
    )
    return own.select(*FOUND, "chart_row"), account


def _each(held: Streams, charts: Charts, every: pl.DataFrame, last: Ints) -> pl.Series:
    """EACH of every signal, of its own openings alone; last : (signals,) the place of its last opening in `every`."""
    began_each = began(held, charts, every).select("began_at", "began_low", "began_high")
    told = pl.concat([every.select("opened_at", "back_at"), began_each], how="horizontal")
    of = np.searchsorted(last, np.arange(len(every)))
    whole = told.select(of=pl.Series(of), each=pl.struct(OF_EACH))
    return whole.group_by("of", maintain_order=True).agg("each")["each"].cast(EACH)


def _openings(
    snapshot: Snapshot,
    held: Streams,
    charts: Charts,
    fired: Fired,
    lived: Lives,
    closings: list[tuple[int, int, object]],
) -> pl.DataFrame:
    """A row an opening, chart after chart, oldest first."""
    order = np.lexsort((lived.opened, lived.segment))
    chart, opened, back, closed, side = (
        part[order] for part in (lived.segment, lived.opened, lived.back, lived.closed, lived.side)
    )
    reading, taken = charts.reading[opened].astype(np.int64), held.readings["taken_at"]
    ends = np.append(charts.starts[1:], len(charts.reading))[chart]
    cut_at = np.array(sorted(at for at, _, _ in closings), dtype=np.int64)
    by_person = np.append(cut_at, ends.max(initial=0) + 1)[np.searchsorted(cut_at, opened, side="right")] <= ends
    by_person &= closed < 0
    when = dict(sorted(((at, when) for at, _, when in closings), reverse=True, key=lambda pair: pair[0]))
    next_cut = np.append(cut_at, -1)[np.minimum(np.searchsorted(cut_at, opened, side="right"), len(cut_at))]
    end = np.where(by_person, next_cut, ends)
    last = np.where(back >= 0, np.maximum(back - 1, opened), end - 1)
    rows = charts.rows[chart]
    own = rows["stream"].to_numpy()
    stream = np.where(own >= 0, own, np.where((rows["chart"] == POOLED).to_numpy(), -1, held.readings.stream[reading]))

    def at(place: Ints, where: Flags) -> pl.Series:
        return taken.gather(pl.Series(np.where(where, charts.reading[np.maximum(place, 0)], -1)).replace(-1, None))

    table = pl.DataFrame(
        {
            "chart": rows["chart"],
            **{name: rows[name] for name in (*STREAM, "gauge", "over")},
            "rule": fired.rule[opened],
            "opened_at": taken.gather(reading),
            "serial": held.readings.at(reading, "serial")["serial"],
            "value": np.where(stream >= 0, held.values[reading], charts.plotted[opened]),
            "side": side,
            "returned": at(closed, closed >= 0),
            "back_at": at(back, back >= 0),
            "person": pl.Series(
                [when[int(c)] if by else None for c, by in zip(next_cut, by_person, strict=True)], dtype=TIME
            ),
            "ends_at": charts.ends_at.gather(chart),
            "adjusted": charts.adjusted.gather(chart),
            "stream": stream,
            "reading": reading,
            "chart_row": chart,
            "point": opened,
            "last_point": last,
            "last_reading": charts.reading[last].astype(np.int64),
            "last_at": taken.gather(charts.reading[last]),
            "end_point": np.where(closed >= 0, closed + 1, end),
        }
    )
    short = pl.col("chart") == SHORT_RUN
    table = table.with_columns(
        pl.when(short)
        .then(held.readings.at(reading, "setup")["setup"].cast(pl.String))
        .otherwise("model")
        .alias("model"),
        _grown_up(snapshot, held, table),
    )
    table = table.with_columns(closed_at=pl.min_horizontal("returned", "ends_at", "person"))
    is_closed = pl.col("closed_at").is_not_null()
    return table.with_columns(
        closed_by=pl.when(~is_closed)
        .then(pl.lit(""))
        .when(pl.col("closed_at") == pl.col("person"))
        .then(pl.lit(PERSON))
        .when(pl.col("closed_at") == pl.col("returned"))
        .then(pl.lit(BACK))
        .otherwise(pl.lit(NEW_LIMITS)),
        back_at=pl.when(pl.col("closed_at") == pl.col("returned")).then("back_at"),
    )


def _fresh(every: pl.DataFrame, closings: list[tuple[int, int, object]]) -> Flags:
    """Which openings are signals of their own, and not one that goes on: a person's word between them parts them."""
    said = np.searchsorted(
        np.array(sorted(at for at, _, _ in closings), dtype=np.int64), every["point"].to_numpy(), "right"
    )
    every = every.with_columns(said=pl.Series(said))
    same = [(pl.col(name) == pl.col(name).shift(1)) for name in ("chart_row", "stream", "side", "said")]
    soon = (pl.col("opened_at") - pl.col("closed_at").shift(1)) <= pl.duration(days=AGAIN)
    goes_on = pl.all_horizontal(*same, soon, pl.col("closed_by").shift(1) == BACK)
    return every.select(~goes_on.fill_null(False).alias("fresh"))["fresh"].to_numpy()


def _grown_up(snapshot: Snapshot, held: Streams, table: pl.DataFrame) -> pl.Expr:
    """Where other limits took over; a signal of the short-run chart ends when its stream has a baseline of its own."""
    stream = np.maximum(table["stream"].to_numpy(), 0)
    last = held.starts[stream] + snapshot.shop.judging.baseline_readings - 1
    grown = (table["chart"] == SHORT_RUN).to_numpy() & (
        held.rows["n"].to_numpy()[stream] >= snapshot.shop.judging.baseline_readings
    )
    own = held.readings["taken_at"].gather(pl.Series(np.where(grown, last, -1)).replace(-1, None))
    return pl.min_horizontal(pl.col("ends_at"), pl.lit(own)).alias("ends_at")
