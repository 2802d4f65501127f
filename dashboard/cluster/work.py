"""One shop's figures worked out of what it published, on whatever worker: the studies of home, from rows.

Back go tables of figures, some hundred kilobytes a shop; rows are read where they are worked out and stay there.
"""

import os
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

import polars as pl

from analysis.studies.necks import lots
from analysis.studies.rework import mix
from analysis.studies.room import capability, dated, levels
from dashboard.exports import house
from ingest.store.problems import StoreProblem, first_line, is_panic
from ingest.store.snapshot import Snapshot
from ingest.store.target import Target, pieces_of, tables_of

FIGURES: dict[str, Callable[[Snapshot], pl.DataFrame]] = {
    "levels": levels.level_rows,
    "capability": capability.capability_rows,
    "dated": dated.dated_rows,
    "lots": lots.lot_rows,
    "mix": mix.mix_rows,
}
NO_CODES = "it publishes nobody's codes, so its own figures stand"


@dataclass(frozen=True)
class Worked:
    """What became of one shop's studies."""

    shop: str
    version: int  # of the shop at the target
    tables: Mapping[str, pl.DataFrame]  # FIGURES; none where they were not worked out
    why: str = ""  # they were not
    seconds: float = 0.0  # of processor: to read the rows and to work figures out
    process: int = 0  # that did it
    bytes_read: int = 0  # of the rows in memory


def worked_out(address: str, options: Mapping[str, str], row: Mapping[str, Any]) -> Worked:
    """FIGURES of a shop as it stands in its row of `shops`; what goes wrong is its own matter, one line."""
    began = time.process_time()
    shop, number = row["shop"], row["version"]
    try:
        target, pieces = Target(address, options), pieces_of(row)
        missing = [name for name in house.FILES if name not in tables_of(pieces)]
        if row["people"] == "none" or house.HOUSE in missing:
            return Worked(shop, number, {}, NO_CODES if row["people"] == "none" else "it publishes figures only")
        if missing:
            return Worked(shop, number, {}, f"{missing[0]} was not published, so its own figures stand")
        frames = {name: target.rows(shop, name, pieces) for name in house.NEEDED}
        size = sum(int(frame.estimated_size()) for frame in frames.values())
        snapshot = house.snapshot_of(frames, row["as_of"])
        frames.clear()
        found = {name: snapshot.once(work) for name, work in FIGURES.items()}
    except StoreProblem as problem:
        return Worked(shop, number, {}, f"{problem}")
    except BaseException as fault:  # a shop that breaks a study breaks no other's
        if not isinstance(fault, Exception) and not is_panic(fault):
            raise
        why = f"its figures could not be worked out here ({type(fault).__name__}: {first_line(fault)})"
        return Worked(shop, number, {}, why)
    return Worked(shop, number, found, "", time.process_time() - began, os.getpid(), size)


def program() -> str:
    """The version of the program where this runs."""
    return version("truerun")
