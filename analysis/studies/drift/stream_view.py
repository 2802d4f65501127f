"""One stream as it is looked at: its readings, limits over the dates they held, average, what was asked, signals, runs
and changes.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from analysis.methods.problems import UnusableData
from analysis.methods.run_rules import ALL, BEYOND, run_rules
from analysis.methods.segments import Floats, Ints, lengths
from analysis.methods.weighted import ewma
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.drift.states import odd, stream_rows
from analysis.studies.drift.streams import WIDTH_DRAWN, Streams
from analysis.studies.drift.watching import AVERAGE
from analysis.studies.story.conformity import with_specs
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

SHOWN = ("taken_at", "value", "serial", "log_id", "line", "set_by", "tech", "supplier", "lot", "gauge", "flag", "day",
         "outside")  # fmt: skip


@dataclass(frozen=True)
class StreamSeen:
    """All in canonical units and UTC; arrays (n,) stand beside `readings`, oldest first."""

    row: dict[str, object]  # the stream's row of the `streams` figures
    readings: (
        pl.DataFrame
    )  # taken_at, value, serial, log_id, line, set_by, tech, supplier, lot, gauge, flag, day, outside (null: no limit)
    average: Floats  # (n,) nan where there is none
    gap_low: Floats  # (n,) nan where the average is not judged
    gap_high: Floats
    limits: pl.DataFrame  # from_at, to_at, centre, lower, upper (null while thin), on_file: a row an era in sight
    asked: pl.DataFrame  # from_at, to_at, target, lower, upper
    baseline: int  # readings in sight before judging starts
    judged_from: datetime | None
    signals: pl.DataFrame  # rows of signals.found for this stream, oldest first
    odd: Ints  # (k,) places of odd instruments
    runs: pl.DataFrame  # from_at, to_at, rule
    changes: pl.DataFrame  # rows of tables.CHANGES in sight that touch this stream
    adjusted: str  # why the average's limits differ: setters differ, coarse, not independent
    sd_ratio: float | None  # short-term over long-term spread; well below 1: more than chance moves between readings
    young: bool  # judged on the short-run chart


def stream_view(
    snapshot: Snapshot,
    *,
    characteristic: str,
    position: str = "",
    model: str,
    stage: str,
    tech: str = "",
    weeks: int | None = 13,
) -> StreamSeen:
    """One stream over the last `weeks` weeks up to as_of (None: all). UnusableData where there is no such stream."""
    judged = snapshot.once(signals)
    wanted = {"characteristic": characteristic, "position": position, "model": model, "stage": stage, "tech": tech}
    same = [pl.col(name) == value for name, value in wanted.items()]
    found = pl.DataFrame() if judged is None else judged.streams.rows.with_row_index("stream").filter(*same)
    if judged is None or found.is_empty():
        raise UnusableData(
            f"no readings of {characteristic} {position} on {model} at {stage}; choose another series or load more logs"
        )
    held, stream = judged.streams, int(found["stream"][0])
    ends = np.append(held.starts[1:], len(held.values))
    low, high = int(held.starts[stream]), int(ends[stream])
    if weeks is not None:
        cut = snapshot.as_of - timedelta(weeks=weeks)
        low = min(low + int(held.readings["taken_at"].slice(low, high - low).search_sorted(cut)), high - 1)
    at = np.arange(low, high)
    readings = with_specs(snapshot, held.readings.at(slice(low, high)))
    average, gap_low, gap_high, adjusted = _average(snapshot, judged, stream, at)
    eras = np.flatnonzero(held.eras.stream == stream)
    row = snapshot.once(stream_rows).row(stream, named=True)
    judged_at = _judged_from(held, eras, int(held.starts[stream]), high)
    taken = held.readings["taken_at"]
    found_odd = snapshot.once(odd).filter(
        *[pl.col(name) == wanted[name] for name in ("characteristic", "position", "model", "stage")]
    )
    places = (
        np.flatnonzero(readings["serial"].is_in(found_odd["serial"].to_list()).to_numpy())
        if not tech
        else np.zeros(0, dtype=np.int64)
    )
    return StreamSeen(
        row=row,
        readings=tables.plain(readings.select(SHOWN)),
        average=average,
        gap_low=gap_low,
        gap_high=gap_high,
        limits=_limits(snapshot, held, eras, low, high, thin=row["state"] == "thin"),
        asked=_asked(readings),
        baseline=int(max(0, (judged_at if judged_at is not None else high) - low)),
        judged_from=taken[judged_at] if judged_at is not None and judged_at >= low else None,
        signals=judged.found.filter(pl.col("stream") == stream),
        odd=places,
        runs=_runs(snapshot, held, eras, low),
        adjusted=adjusted,
        changes=changes_for(snapshot, model, stage, characteristic, readings["day"][0]),
        sd_ratio=_sd_ratio(held, stream),
        young=judged_at is None and row["state"] != "thin",
    )


def changes_for(snapshot: Snapshot, model: str, stage: str, characteristic: str, since: date) -> pl.DataFrame:
    """Dated changes since a day that may touch a stream: of its models, at its stage, at the one that sets it, or of
    the whole shop.
    """
    shop = snapshot.shop
    models = ["", model, *(key for key, setup in shop.setups.items() if setup == model)]
    stages = list(dict.fromkeys(["", stage, shop.set_stage(characteristic, model)]))
    last = snapshot.as_of.astimezone(shop.zone).date()
    return (
        snapshot.table("changes")
        .filter(
            pl.col("model").is_in(models),
            pl.col("stage").is_in(stages),
            pl.col("from_date") >= since,
            pl.col("from_date") <= last,
        )
        .sort("from_date")
    )


def _average(snapshot: Snapshot, judged: Signals, stream: int, at: Ints) -> tuple[Floats, Floats, Floats, str]:
    """The running average as it is judged, laid on the scale of the readings; before judging starts, the same average
    of the baseline.
    """
    held, charts, fired = judged.streams, judged.charts, judged.fired
    average, low, high = np.full(len(at), np.nan), np.full(len(at), np.nan), np.full(len(at), np.nan)
    if snapshot.shop.judging.budget is None:
        return average, low, high, ""
    first = int(held.starts[stream])
    values = held.values[first : int(at[-1]) + 1]
    centre = float(held.own.centre[stream])
    plain = ewma(values, centre=centre, sigma=1.0, weight=snapshot.shop.judging.ewma_weight, width=3.0)
    average = plain.average[at - first]
    adjusted = ""
    if charts is None or fired is None:
        return average, low, high, adjusted
    ends = np.append(charts.starts[1:], len(charts.reading))
    mine = charts.rows.with_row_index("chart_row").filter((pl.col("stream") == stream) & (pl.col("chart") == AVERAGE))[
        "chart_row"
    ]
    for chart in mine.to_list():
        where = slice(int(charts.starts[chart]), int(ends[chart]))
        reading, shown = charts.reading[where], charts.judged[where]
        inside = shown & (reading >= at[0])
        place = reading[inside] - at[0]
        lift = centre if "setters differ" in charts.adjusted[chart] else 0.0
        middle = float(charts.centre[chart]) + lift
        average[place] = fired.average[where][inside] + lift
        low[place], high[place] = middle - fired.half[where][inside], middle + fired.half[where][inside]
        adjusted = str(charts.adjusted[chart])
    return average, low, high, adjusted


def _judged_from(held: Streams, eras: Ints, first: int, end: int) -> int | None:
    """Row of the first reading that the stream's own chart judges; None while it judges none."""
    starts = np.append(held.eras.starts[eras][1:], end)
    for era, stop in zip(eras, starts, strict=True):  # the eras of one stream: a handful
        judged = int(held.eras.starts[era] + held.eras.judged_from[era])
        if judged < stop:
            return judged
    return None


def _limits(snapshot: Snapshot, held: Streams, eras: Ints, low: int, high: int, *, thin: bool) -> pl.DataFrame:
    taken = held.readings["taken_at"]
    width = snapshot.shop.judging.width or WIDTH_DRAWN
    begins = held.eras.starts[eras]
    stops = np.append(begins[1:], high)
    seen = np.flatnonzero(stops > low)
    era = eras[seen]
    centre, sigma = held.eras.centre[era], held.eras.sigma[era]
    return pl.DataFrame(
        {
            "from_at": taken.gather(np.maximum(begins[seen], low)),
            "to_at": taken.gather(stops[seen] - 1),
            "centre": centre,
            "lower": [None] * len(era) if thin else centre - width * sigma,
            "upper": [None] * len(era) if thin else centre + width * sigma,
            "on_file": held.eras.on_file[era],
        },
        schema_overrides={"lower": pl.Float64, "upper": pl.Float64},
    )


def _asked(readings: pl.DataFrame) -> pl.DataFrame:
    """Stretches of readings under the same target and limits, where there are any."""
    same = pl.struct("target", "lower", "upper").rle_id()
    stretches = (
        readings.select("taken_at", "target", "lower", "upper", same.alias("stretch"))
        .group_by("stretch", maintain_order=True)
        .agg(
            pl.col("taken_at").first().alias("from_at"),
            pl.col("taken_at").last().alias("to_at"),
            pl.col("target", "lower", "upper").first(),
        )
    )
    limited = pl.any_horizontal(pl.col("target", "lower", "upper").is_not_null())
    return stretches.filter(limited).drop("stretch")


def _runs(snapshot: Snapshot, held: Streams, eras: Ints, low: int) -> pl.DataFrame:
    """Where the run rules that open nothing fire, as stretches from first member to last firing."""
    begins = held.eras.starts[eras]
    end = int(begins[0] + lengths(held.starts, len(held.values))[held.eras.stream[eras[0]]])
    values = held.values[begins[0] : end]
    opening = set() if snapshot.shop.judging.budget is not None else set(snapshot.shop.judging.rules)
    names = [rule for rule in ALL if rule not in opening and rule != BEYOND]
    found = run_rules(
        values, begins - begins[0], centre=held.eras.centre[eras], sigma=held.eras.sigma[eras], rules=names
    )
    taken = held.readings["taken_at"]
    rows: list[tuple[datetime, datetime, str]] = []
    for name in names:
        fired = np.flatnonzero(found.fired[name])
        if len(fired) == 0:
            continue
        first = found.from_at(name, fired)
        fresh = np.append(True, first[1:] > fired[:-1])
        heads = np.flatnonzero(fresh)
        lasts = np.append(heads[1:], len(fired)) - 1
        rows += [
            (taken[int(begins[0] + first[h])], taken[int(begins[0] + fired[k])], name)
            for h, k in zip(heads, lasts, strict=True)
            if begins[0] + fired[k] >= low
        ]
    time = pl.Datetime("us", "UTC")
    return pl.DataFrame(rows, schema={"from_at": time, "to_at": time, "rule": pl.String()}, orient="row").sort(
        "from_at"
    )


def _sd_ratio(held: Streams, stream: int) -> float | None:
    ends = np.append(held.starts[1:], len(held.values))
    values = held.values[held.starts[stream] : ends[stream]]
    spread = float(values.std(ddof=1)) if len(values) > 1 else 0.0
    return float(held.own.sigma[stream]) / spread if spread > 0 else None
