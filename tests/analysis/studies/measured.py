"""Snapshots from visits written as dictionaries, with their readings, for shops larger than one writes by hand."""

from datetime import UTC, datetime, timedelta

import polars as pl

from ingest.shopfiles.specs import Specs
from ingest.store.snapshot import Snapshot
from ingest.terms.tables import SPECS, shaped
from tests.analysis.studies.benches import shop

START = datetime(2026, 3, 2, 8, tzinfo=UTC)  # a Monday


def visit(
    serial: str,
    hours: float,
    stage: str,
    outcome: str = "pass",
    *,
    tech: str = "",
    readings: dict | None = None,
    left: dict | None = None,
    **more: object,
) -> dict:
    """One visit that finished so many hours after START; readings by characteristic or 'characteristic position',
    `left` after a touch-up.
    """
    return {
        "serial": serial,
        "hours": hours,
        "stage": stage,
        "outcome": outcome,
        "tech": tech,
        "readings": readings or {},
        "left": left or {},
    } | more


def made(
    visits: list[dict],
    specs: list[dict] | None = None,
    *,
    as_of: datetime | None = None,
    frames: dict | None = None,
    **tables: object,
) -> Snapshot:
    """A snapshot of these visits; specs: rows with characteristic and limits; tables: of shop.toml; frames: further
    tables of the store.
    """
    rows, readings = [], []
    for line, given in enumerate(visits, start=1):
        row = dict(given)
        at = START + timedelta(hours=row.pop("hours"))
        place = {"log_id": row.pop("log_id", "log"), "line": line, "serial": row["serial"], "stage": row["stage"]}
        for moment, values in (("found", row.pop("readings")), ("left", row.pop("left"))):
            for name, value in values.items():
                characteristic, _, position = name.partition(" ")
                readings.append(
                    place
                    | {
                        "taken_at": at,
                        "characteristic": characteristic,
                        "position": position,
                        "moment": moment,
                        "value": value,
                        "gauge": row.get("gauge", ""),
                    }
                )
        row.pop("gauge", None)
        rows.append({"model": "LARK", "time_known": True, "finished_at": at} | row | place)
    bench = shop(**tables)
    held = Specs(
        shaped(pl.DataFrame(specs, infer_schema_length=None) if specs else pl.DataFrame(), SPECS), bench.setups
    )
    held_tables = {
        "visits": pl.DataFrame(rows, infer_schema_length=None),
        "readings": pl.DataFrame(readings, infer_schema_length=None),
    }
    return Snapshot.of(bench, held, as_of=as_of, **held_tables, **(frames or {}))
