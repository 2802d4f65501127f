"""What people decided to do about a signal, and whether its chart moved after it."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from analysis.studies.drift.readings import Readings
from analysis.studies.drift.signals import signals
from analysis.studies.drift.streams import STREAM, Streams
from ingest.store.snapshot import Snapshot
from ingest.terms.tables import TIME

HOPED, NO_CHANGE, WORSE, TOO_EARLY, NO_CHART, WITH_IT = (
    "moved as hoped",
    "no change seen",
    "moved the other way",
    "too early",
    "no chart",
    "moved on that day or since",
)
LEAST = 10  # readings after the action from which on its effect is judged; and since its signal began, before it
Z95 = 1.96

ACTIONS: dict[str, pl.DataType] = {
    **{name: pl.String() for name in STREAM},
    "sequence": pl.Int64(),
    "written_at": TIME,
    "text": pl.String(),
    "owner": pl.String(),
    "due": pl.Date(),
    "opened_at": TIME,
    "n_before": pl.Int64(),
    "n_after": pl.Int64(),
    "before": pl.Float64(),
    "after": pl.Float64(),
    "change": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
    "centre": pl.Float64(),
    "verdict": pl.String(),
}


def actions(snapshot: Snapshot, *, since: date) -> pl.DataFrame:
    """A row an action written on or after `since`, or due after it: the mean of its stream since the signal began and
    since the action; from the day after it was done on, where somebody said so.

    change = after - before with its 95 % interval by the stream's sigma; hoped for is a move back towards the edge.
    Where fewer than LEAST readings lie between the start of the signal and the action, the action may be what moved the
    stream: it is held against the centre line then, and nothing is said of hopes.
    """
    book = snapshot.lines("action").filter(pl.col("text") != "")
    book = book.filter((pl.col("at").dt.date() >= since) | (pl.col("due") >= since)).sort("sequence")
    judged = snapshot.once(signals)
    rows = []
    for entry in book.iter_rows(named=True):  # a handful a week
        row = {name: entry[name] for name in (*STREAM, "sequence", "text", "owner", "due", "opened_at")} | {
            "written_at": entry["at"]
        }
        row["verdict"] = NO_CHART
        if judged is not None:
            same = judged.found.filter(
                *[pl.col(name) == entry[name] for name in STREAM], pl.col("opened_at") == entry["opened_at"]
            )
            if not same.is_empty():
                row |= moved(
                    judged.streams.values,
                    judged.streams.readings,
                    same.row(0, named=True),
                    _from(snapshot, entry),
                    line_of(judged.streams, int(same["stream"][0])),
                )
        rows.append(row)
    return pl.DataFrame(rows, schema=ACTIONS)


def _from(snapshot: Snapshot, entry: dict[str, Any]) -> object:
    """From when on an action is judged: the end of the day it was done, else when it was written."""
    same = [pl.col(name) == entry[name] for name in (*STREAM, "opened_at")]
    said = snapshot.lines("done").filter(*same, pl.col("sequence") > entry["sequence"], pl.col("done_on").is_not_null())
    if said.is_empty():
        return entry["at"]
    day: date = said.sort("sequence")["done_on"][-1]
    return datetime.combine(day + timedelta(days=1), datetime.min.time(), tzinfo=snapshot.shop.zone).astimezone(UTC)


def last_week(week: date) -> date:
    """From when on an action belongs to the review of `week`: the week before it."""
    return week - timedelta(weeks=1)


def line_of(held: Streams, stream: int) -> tuple[float, float]:
    """Centre and sigma of a stream by the limits last in force."""
    era = int(np.flatnonzero(held.eras.stream == stream)[-1])
    return float(held.eras.centre[era]), float(held.eras.sigma[era])


def moved(
    values: np.ndarray, readings: Readings, signal: dict[str, object], written: object, line: tuple[float, float]
) -> dict[str, object]:
    """How a signal's stream moved after a moment: readings before and after it, means, change with its 95 % interval
    and a verdict.

    signal : a row of Signals.found; line : centre and sigma of its stream.
    """
    centre, sigma = line
    first = int(str(signal["began_reading"]))
    end = int(np.searchsorted(readings.stream, int(str(signal["stream"])), side="right"))
    part, taken = values[first:end], readings.at(slice(first, end), "taken_at")["taken_at"]
    after = (taken > written).to_numpy()
    n_before, n_after = int((~after).sum()), int(after.sum())
    if n_after < LEAST or sigma <= 0:
        return {"n_before": n_before, "n_after": n_after, "centre": centre, "verdict": TOO_EARLY}
    with_it = n_before < LEAST
    before, now = centre if with_it else float(part[~after].mean()), float(part[after].mean())
    error = Z95 * sigma * float(np.sqrt((0 if with_it else 1 / n_before) + 1 / n_after))
    change = now - before
    clear = abs(change) > error
    back = change * (before - centre) < 0
    verdict = WITH_IT if with_it else NO_CHANGE if not clear else HOPED if back else WORSE
    return {
        "n_before": n_before,
        "n_after": n_after,
        "before": before,
        "after": now,
        "change": change,
        "low": change - error,
        "high": change + error,
        "centre": centre,
        "verdict": verdict,
    }
