"""What people decided to do about a signal, and whether its chart moved after it."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from analysis.studies.drift.entries import tied
from analysis.studies.drift.readings import Readings
from analysis.studies.drift.shares import Shares, counts_since
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.drift.streams import STREAM, Streams
from analysis.studies.drift.watching import SHARE
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
NOT_DUE, COUNTED, SEVERAL = "not due yet", "before and since", "several series"
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
    "back_before": pl.Int64(),  # of a weekly share: before and after are shares of n_before and n_after instruments
    "back_after": pl.Int64(),
    "verdict": pl.String(),
}


def actions(snapshot: Snapshot, *, since: date) -> pl.DataFrame:
    """A row an action written on or after `since`, or whose day has come since: the mean of its stream since the
    signal began and since the action; from the day after it was done on, where somebody said so.

    change = after - before with its 95 % interval by the stream's sigma; hoped for is a move back towards the edge.
    Where fewer than LEAST readings lie between the start of the signal and the action, the action may be what moved the
    stream: it is held against the centre line then, and nothing is said of hopes. Of a weekly share what came back
    since the signal began and in whole weeks since the action is counted, and nothing else said. What cannot be judged
    while its day is still to come is not due yet.
    """
    today = snapshot.as_of.astimezone(snapshot.shop.zone).date()
    book = snapshot.once(_lines).filter((pl.col("kind") == "action") & (pl.col("text") != ""))
    book = book.filter((pl.col("at").dt.date() >= since) | pl.col("due").is_between(since, today)).sort("sequence")
    judged = snapshot.once(signals)
    rows = []
    for entry in book.iter_rows(named=True):  # a handful a week
        row = {name: entry[name] for name in (*STREAM, "sequence", "text", "owner", "due", "opened_at")} | {
            "written_at": entry["at"]
        }
        row["verdict"] = NO_CHART
        if judged is not None:
            row |= _seen(judged, entry, _from(snapshot, entry))
        waits = entry["due"] is not None and entry["due"] > today and _done_on(snapshot, entry) is None
        if waits and (row["verdict"] in (TOO_EARLY, NO_CHART, SEVERAL) or row.get("n_after") == 0):
            row["verdict"] = NOT_DUE
        rows.append(row)
    return pl.DataFrame(rows, schema=ACTIONS)


def _lines(snapshot: Snapshot) -> pl.DataFrame:
    """Actions and what was said to be done, opened_at as their signal stands by now: late data may have moved it."""
    lines = snapshot.lines("action", "done")
    now = tied(snapshot, lines).select("sequence", "now_opened_at")
    moved_on = pl.coalesce("now_opened_at", "opened_at")
    return lines.join(now, on="sequence", how="left").with_columns(opened_at=moved_on).drop("now_opened_at")


def _seen(judged: Signals, entry: dict[str, Any], written: datetime) -> dict[str, object]:
    """What is seen of the signal that an action names: in the readings of its series, or in the weeks of its share."""
    here = [pl.col(name).fill_null("") == (entry[name] or "") for name in STREAM]
    here.append(pl.col("opened_at") == entry["opened_at"])
    same, other = judged.found.filter(*here), judged.others.filter(*here)
    if len(same):
        line = line_of(judged.streams, int(same["stream"][0]))
        return moved(judged.streams.values, judged.streams.readings, same.row(0, named=True), written, line)
    shares = other.filter(pl.col("chart") == SHARE)
    if len(shares) and judged.weekly is not None:
        return _counted(judged.weekly, shares.row(0, named=True), written)
    return {"verdict": SEVERAL if len(other) else NO_CHART}


def _counted(weekly: Shares, signal: dict[str, Any], written: datetime) -> dict[str, object]:
    """What came back of how many instruments: from the signal's first week to the action's, and in weeks after it; of a
    model's signal of that model.
    """
    first = signal["began_at"] or signal["opened_at"]
    mine = (weekly.rows["stage"] == signal["stage"]) & (weekly.taken >= first)
    since = mine & (weekly.taken > written)
    count, size = counts_since(weekly, int(np.flatnonzero(mine.to_numpy())[0]), str(signal["model"] or ""))
    found: dict[str, object] = {"verdict": COUNTED}
    for part, at in (("before", (mine & ~since).to_numpy()), ("after", since.to_numpy())):
        back, n = int(count[at].sum()), int(size[at].sum())
        found |= {f"back_{part}": back, f"n_{part}": n, part: back / n if n else None}
    return found


def _done_on(snapshot: Snapshot, entry: dict[str, Any]) -> date | None:
    """The day an action was done, where somebody said so."""
    same = [pl.col(name).eq_missing(pl.lit(entry[name])) for name in (*STREAM, "opened_at")]
    done = snapshot.once(_lines).filter(pl.col("kind") == "done", pl.col("done_on").is_not_null())
    said = done.filter(*same, pl.col("sequence") > entry["sequence"])
    day: date | None = said.sort("sequence")["done_on"][-1] if len(said) else None
    return day


def _from(snapshot: Snapshot, entry: dict[str, Any]) -> datetime:
    """From when on an action is judged: the end of the day it was done, else when it was written."""
    day = _done_on(snapshot, entry)
    if day is None:
        written: datetime = entry["at"]
        return written
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
    end = int(np.searchsorted(readings.stream, np.int32(str(signal["stream"])), side="right"))
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
