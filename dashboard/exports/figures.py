"""`truerun figures`: every computed figure, one file a table, canonical units, unrounded."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from analysis.studies.drift import states
from analysis.studies.gauges import rr as gauges
from analysis.studies.matters import rows as matters
from analysis.studies.necks import after_rest, costs, lots
from analysis.studies.people import first_work
from analysis.studies.rework import rework, savings
from analysis.studies.room import capability, climate, intonation, settling
from analysis.studies.week import weeks
from dashboard.exports.written import csv_text, json_text, plain
from ingest.store.snapshot import Snapshot
from ingest.terms import tables


def logs(snapshot: Snapshot) -> pl.DataFrame:
    """`logs` of the figures: a row a log."""
    return snapshot.table("logs").select(tables.LOGS.keys())


def set_aside(snapshot: Snapshot) -> pl.DataFrame:
    """`set_aside` of the figures: a row a row or cell that waits for an answer."""
    return snapshot.table("set_aside").select(tables.SET_ASIDE.keys())


FIGURES: dict[str, Callable[[Snapshot], pl.DataFrame]] = {
    "streams": states.stream_rows,
    "signals": matters.signal_rows,
    "capability": capability.capability_rows,
    "stages": rework.stages,
    "send_backs": rework.send_backs,
    "weeks": weeks.week_rows,
    "techs": first_work.tech_rows,
    "lots": lots.lot_rows,
    "lots_alike": costs.lot_figures,
    "suppliers": costs.supplier_figures,
    "after_rest": after_rest.lot_rows,
    "settling": settling.settling_rows,
    "gauges": gauges.study_rows,
    "climate": climate.climate_rows,
    "intonation": intonation.intonation_rows,
    "savings": savings.saving_rows,
    "matters": matters.matter_rows,
    "odd": states.odd,
    "logs": logs,
    "set_aside": set_aside,
}


def _shown(snapshot: Snapshot, rows: pl.DataFrame) -> pl.DataFrame:
    """The rows without those of single techs where the shop shows nobody."""
    if snapshot.shop.people.show != "none" or "tech" not in rows.columns:
        return rows
    return rows.filter(pl.col("tech").fill_null("") == "")


@dataclass(frozen=True)
class NotWritten:
    """A figure that could not be worked out; one of that name that stood in the folder is taken away."""

    name: str
    why: Exception


def write_figures(snapshot: Snapshot, out: Path, *, as_json: bool) -> Iterator[Path | NotWritten]:
    """Writes each figure into `out` and gives its path when it stands there whole; one that cannot be worked out stops
    no other.
    """
    out.mkdir(parents=True, exist_ok=True)
    for name, work in FIGURES.items():
        try:
            rows = plain(_shown(snapshot, snapshot.once(work)))
        except Exception as fault:
            for kind in ("csv", "json"):
                (out / f"{name}.{kind}").unlink(missing_ok=True)
            yield NotWritten(name, fault)
            continue
        path = out / f"{name}.{'json' if as_json else 'csv'}"
        path.write_text(json_text(rows) if as_json else csv_text(rows), encoding="utf-8")
        yield path
