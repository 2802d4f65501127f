"""A small invented shop for tests of the store: its folder, its logs as text, and what the store made of them."""

from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

import polars as pl

from ingest.store.snapshot import Snapshot
from ingest.store.store import open_snapshot

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
HEADER = "serial,model,stage,tech,started_at,finished_at,outcome,fault,relief (mm),action bass (mm),note"
SHOP = """
[shop]
name = "Weir Lane Instruments"
timezone = "Europe/Dublin"

[[stage]]
key = "receiving"
role = "receiving"

[[stage]]
key = "neck_straightening"

[[stage]]
key = "play_test"
role = "test"

[[stage]]
key = "final_inspection"
role = "final"

[[stage]]
key = "packing"
role = "packing"

[[characteristic]]
key = "relief"
set_at = "neck_straightening"
plausible = ["-1 mm", "3 mm"]

[[characteristic]]
key = "action"
positions = ["bass", "treble"]
plausible = ["0.5 mm", "6 mm"]

[[model]]
key = "LARK-25"
family = "tenor ukulele"

[[model]]
key = "HERON"
family = "concert ukulele"

[[fault]]
key = "open-string buzz"
"""
GROWING = """
[[log]]
name = "bench book"
files = "grow*.csv"
replaces = "same visits"

[[log]]
name = "rows an instrument"
files = "wide*.csv"
shape = "instrument"

[[log]]
name = "studies"
files = "study*.csv"
shape = "study"

[[log]]
name = "bench cards"
"""


def shop(folder: Path, more: str = "") -> Path:
    """A shop folder with nothing loaded."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "shop.toml").write_text(SHOP + more)
    return folder


def log(folder: Path, name: str, rows: Iterable[str], header: str = HEADER) -> Path:
    """A log file beside the shop."""
    path = folder / "as_typed" / name
    path.parent.mkdir(exist_ok=True)
    path.write_text("\n".join([header, *rows]) + "\n")
    return path


def row(
    serial: str = "A1",
    *,
    model: str = "LARK-25",
    stage: str = "play_test",
    tech: str = "T01",
    start: str = "2026-03-02 09:00",
    finish: str = "2026-03-02 09:20",
    outcome: str = "pass",
    fault: str = "",
    relief: str = "0.20",
    action: str = "2.40",
    note: str = "",
) -> str:
    """One visit as somebody typed it."""
    return ",".join([serial, model, stage, tech, start, finish, outcome, fault, relief, action, note])


def held(folder: Path, *, where: bool = True) -> dict[str, pl.DataFrame]:
    """Everything the store holds, in one fixed order; `where` False: without log and line, on which the order of
    loading may tell.
    """
    snapshot = open_snapshot(folder)
    out = {
        name: in_order(snapshot.table(name), where)
        for name in ("visits", "readings", "faults", "set_aside", "gauge_trials")
    }
    return out | ({"logs": in_order(snapshot.table("logs"), where)} if where else {})


def in_order(table: pl.DataFrame, where: bool) -> pl.DataFrame:
    table = table if where else table.drop("log_id", "line", "name", "wanted", strict=False)
    return table.sort(table.columns, nulls_last=True)


def account(snapshot: Snapshot, name: str) -> tuple[int, ...]:
    """rows_read, accepted, changed, already_held, set_aside, cells_set_aside, passed_over of a log."""
    rows = snapshot.table("logs").filter(pl.col("name") == name)
    return rows.select(
        "rows_read", "accepted", "changed", "already_held", "set_aside", "cells_set_aside", "passed_over"
    ).row(0)
