"""`truerun figures`: every computed figure, one file a table, canonical units, unrounded."""

import json
import math
from collections.abc import Callable, Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Any

import polars as pl

from analysis.studies import capability, climate, gauges, intonation, lots, rework, savings, settling, signals, states, techs, weeks
from ingest import tables
from ingest.snapshot import Snapshot


def logs(snapshot: Snapshot) -> pl.DataFrame:
    return snapshot.table("logs").select(tables.LOGS.keys())


def set_aside(snapshot: Snapshot) -> pl.DataFrame:
    return snapshot.table("set_aside").select(tables.SET_ASIDE.keys())


FIGURES: dict[str, Callable[[Snapshot], pl.DataFrame]] = {
    "streams": states.table, "signals": signals.table, "capability": capability.table, "stages": rework.stages, "send_backs": rework.send_backs,
    "weeks": weeks.table, "techs": techs.table, "lots": lots.table, "settling": settling.table, "gauges": gauges.table, "climate": climate.table,
    "intonation": intonation.table, "savings": savings.table, "odd": states.odd, "logs": logs, "set_aside": set_aside,
}  # fmt: skip


def write_figures(snapshot: Snapshot, out: Path, *, as_json: bool) -> Iterator[Path]:
    """Writes each figure into `out` and gives its path when it stands there whole."""
    out.mkdir(parents=True, exist_ok=True)
    for name, work in FIGURES.items():
        rows = plain(snapshot.once(work))
        path = out / f"{name}.{'json' if as_json else 'csv'}"
        path.write_text(json_text(rows) if as_json else csv_text(rows), encoding="utf-8")
        yield path


def plain(rows: pl.DataFrame) -> pl.DataFrame:
    """The same rows with times as UTC text (+00:00), dates as text, and null for what is no number."""
    columns = []
    for name, dtype in rows.schema.items():
        if isinstance(dtype, pl.Datetime):
            columns.append(pl.col(name).dt.strftime("%Y-%m-%dT%H:%M:%S%.f+00:00"))
        elif dtype == pl.Date:
            columns.append(pl.col(name).dt.strftime("%Y-%m-%d"))
        elif dtype.is_float():
            columns.append(pl.when(pl.col(name).is_finite()).then(pl.col(name)).otherwise(None).alias(name))
        else:
            columns.append(pl.col(name))
    return rows.select(columns)


def json_text(rows: pl.DataFrame) -> str:
    """A list of rows, one a line."""
    return "[" + ",\n ".join(json.dumps(row, ensure_ascii=False, allow_nan=False) for row in rows.iter_rows(named=True)) + "]\n"


def csv_text(rows: pl.DataFrame) -> str:
    """Numbers with the fewest digits that give them back exactly."""
    return rows.write_csv(null_value="")


def number_text(value: Any) -> str:
    """A value as text for a table a person saves from a page."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    return value.isoformat() if isinstance(value, date | datetime) else str(value)
