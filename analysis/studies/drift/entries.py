"""The bench book's entries and the signals they belong to; what a person marked known, and whether it still holds.

An entry names its signal by stream, chart and opening reading. Late data may move an opening: the entry then follows
the signal of the same chart that overlaps the time from that opening to the entry, or began before that opening and
opens later by now. Where none does, the signal is gone, and that is said.
"""

from datetime import date

import numpy as np
import polars as pl

from analysis.methods.segments import Floats
from analysis.studies.drift.readings import Readings
from analysis.studies.drift.signals import signals
from analysis.studies.drift.streams import STREAM
from analysis.studies.story.of_visits import CAUSED_BY
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

LEAST = 5  # readings since a mark from which on growth can be told
GROWN = 2.576  # standard errors: once in two hundred by chance

ENTRIES: dict[str, pl.DataType] = {
    **tables.BENCH_BOOK,
    "signal": pl.Int64(),
    "now_opened_at": tables.TIME,
    "now_serial": pl.String(),
    "open": pl.Boolean(),
    "gone": pl.Boolean(),
}

KNOWN: dict[str, pl.DataType] = {
    **{name: pl.String() for name in STREAM},
    "chart": pl.String(),
    "opened_at": tables.TIME,
    "signal": pl.Int64(),
    "until": pl.Date(),
    "text": pl.String(),
    "who": pl.String(),
    "at": tables.TIME,
    "grown": pl.Boolean(),
    "due": pl.Boolean(),
    "holds": pl.Boolean(),
}


def entries_for(snapshot: Snapshot) -> pl.DataFrame:
    """Entries tied to a signal, in the order written: tables.BENCH_BOOK and the signal as it stands today.

    signal : row of Signals.found, null where it is gone or of the charts in Signals.others · now_opened_at, now_serial
    · open · gone
    """
    return tied(snapshot, snapshot.table("bench_book").filter(pl.col("kind") != CAUSED_BY))


def tied(snapshot: Snapshot, lines: pl.DataFrame) -> pl.DataFrame:
    """The same of some lines of the book."""
    book = lines.filter(pl.col("opened_at").is_not_null()).sort("sequence")
    judged = snapshot.once(signals)
    if judged is None or book.is_empty():
        return tables.shaped(book.with_columns(open=pl.lit(False), gone=pl.lit(True)), ENTRIES)
    every = pl.concat(
        [
            judged.found.with_columns(signal=pl.int_range(pl.len(), dtype=pl.Int64)),
            judged.others.with_columns(signal=pl.lit(None, dtype=pl.Int64)),
        ]
    )
    spans = every.select(
        *STREAM,
        "chart",
        "signal",
        pl.col("opened_at").alias("now_opened_at"),
        pl.col("serial").alias("now_serial"),
        "closed_at",
        "began_at",
    )
    pairs = book.join(spans, on=[*STREAM, "chart"], how="inner")
    exact = pl.col("now_opened_at") == pl.col("opened_at")
    there = (pl.col("now_opened_at") <= pl.col("at")) | (pl.col("began_at") <= pl.col("opened_at")).fill_null(False)
    overlap = there & (pl.col("closed_at").is_null() | (pl.col("closed_at") >= pl.col("opened_at")))
    away = (pl.col("now_opened_at") - pl.col("opened_at")).abs()
    best = (
        pairs.filter(exact | overlap)
        .sort("sequence", ~exact, away)
        .unique("sequence", keep="first", maintain_order=True)
    )
    found = book.join(
        best.select("sequence", "signal", "now_opened_at", "now_serial", "closed_at"),
        on="sequence",
        how="left",
        maintain_order="left",
    )
    gone = pl.col("now_opened_at").is_null()
    return tables.shaped(found.with_columns(gone=gone, open=~gone & pl.col("closed_at").is_null()), ENTRIES)


def of_other(signal: dict[str, object]) -> pl.Expr:
    """Which rows of `entries_for` hang on a signal of a chart that holds no one stream (a row of Signals.others), also
    where late data has moved its opening since they were written.
    """
    same = [pl.col(name) == signal[name] for name in (*STREAM, "chart")]
    return pl.all_horizontal(*same, pl.col("now_opened_at") == signal["opened_at"])


def known(snapshot: Snapshot, *, on: date | None = None) -> pl.DataFrame:
    """What people marked known until a date, the latest word of each signal that is still open: columns KNOWN.

    It holds until the date comes (`due`) or the shift grows (`grown`): the readings since the mark lie further out than
    the shift did, beyond chance. on : the day it is looked at, by default that of `as_of`.
    """
    today = on or snapshot.as_of.astimezone(snapshot.shop.zone).date()
    marks = entries_for(snapshot).filter((pl.col("kind") == "known") & pl.col("until").is_not_null() & pl.col("open"))
    marks = marks.unique([*STREAM, "chart", "now_opened_at"], keep="last", maintain_order=True)
    judged = snapshot.once(signals)
    rows = []
    for mark in marks.iter_rows(named=True):  # a handful
        grown = False
        if judged is not None and mark["signal"] is not None:
            grown = _grown(
                judged.streams.values,
                judged.streams.readings,
                judged.found.row(mark["signal"], named=True),
                mark["at"],
                float(judged.streams.own.sigma[judged.found["stream"][mark["signal"]]]),
            )
        due = mark["until"] <= today
        rows.append(
            {name: mark[name] for name in (*STREAM, "chart", "signal", "until", "text", "who", "at")}
            | {"opened_at": mark["now_opened_at"], "grown": grown, "due": due, "holds": not (due or grown)}
        )
    return pl.DataFrame(rows, schema=KNOWN)


def _grown(values: Floats, readings: Readings, signal: dict[str, object], marked: object, sigma: float) -> bool:
    began, end = (
        int(str(signal["began_reading"])),
        int(np.searchsorted(readings.stream, np.int32(str(signal["stream"])), side="right")),
    )
    part = values[began:end]
    seen = int(readings.at(slice(began, end), "taken_at")["taken_at"].search_sorted(marked, side="right"))  # type: ignore[call-overload]
    before, since = part[:seen], part[seen:]
    if len(before) == 0 or len(since) < LEAST or sigma <= 0:
        return False
    further = (float(since.mean()) - float(before.mean())) * float(np.sign(float(str(signal["size"] or 0.0))))
    return further > GROWN * sigma * float(np.sqrt(1 / len(before) + 1 / len(since)))
