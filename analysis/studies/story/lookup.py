"""The rows behind a number: readings, send-backs, and the whole story of one instrument, each with its file and
line.
"""

from dataclasses import dataclass
from datetime import date

import polars as pl

from analysis.studies.story.conformity import SHIPPED, judged_readings, with_specs
from analysis.studies.story.first_values import first_values
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables


@dataclass(frozen=True)
class Behind:
    """What was asked for; an empty field is no condition. Hashable, so that an answer can be kept by it."""

    characteristic: str = ""
    position: str | None = None  # None: any; '' is a position too
    model: str = ""  # a model or a setup
    stage: str = ""
    role: str = ""
    tech: str = ""  # who set it
    supplier: str = ""
    lot: str = ""
    first: date | None = None  # the day read
    last: date | None = None
    judged_first: date | None = None  # the day the instrument was judged
    judged_last: date | None = None
    outside: bool = False
    serials: tuple[str, ...] = ()


def _files(snapshot: Snapshot) -> pl.DataFrame:
    return snapshot.coded("logs", "log_id", "name").unique("log_id").rename({"name": "file"})


def readings(snapshot: Snapshot, *, asked: Behind) -> pl.DataFrame:
    """The readings that first passes of round 1 are judged by, as they were asked for, newest first.

    serial, model, stage, characteristic, position, value, raw, unit, flag, taken_at, set_by, tech, gauge, supplier,
    lot, target, lower, upper, outside (null without a limit), file, log_id, line.
    """
    told = snapshot.once(story).readings
    rows = told[first_values(told)[0]]
    equal = {
        "characteristic": asked.characteristic,
        "stage": asked.stage,
        "role": asked.role,
        "set_by": asked.tech,
        "supplier": asked.supplier,
        "lot": asked.lot,
    }
    rows = rows.filter(*[pl.col(name) == value for name, value in equal.items() if value])
    if asked.position is not None:
        rows = rows.filter(pl.col("position") == asked.position)
    if asked.model:
        rows = rows.filter((pl.col("setup") == asked.model) | (pl.col("model") == asked.model))
    if asked.first:
        rows = rows.filter(pl.col("day") >= asked.first)
    if asked.last:
        rows = rows.filter(pl.col("day") <= asked.last)
    if asked.serials:
        rows = rows.filter(pl.col("serial").is_in(list(asked.serials)))
    if asked.judged_first or asked.judged_last:
        judged = snapshot.once(story).instruments.filter("judged")
        if asked.judged_first:
            judged = judged.filter(pl.col("judged_day") >= asked.judged_first)
        if asked.judged_last:
            judged = judged.filter(pl.col("judged_day") <= asked.judged_last)
        rows = rows.join(judged.select("serial"), on="serial", how="semi")
    rows = with_specs(snapshot, rows)
    if asked.outside:
        rows = rows.filter(pl.col("outside").fill_null(False))
    columns = [
        "serial",
        "model",
        "stage",
        "characteristic",
        "position",
        "value",
        "raw",
        "unit",
        "flag",
        "taken_at",
        "set_by",
        "tech",
        "gauge",
        "supplier",
        "lot",
        "target",
        "lower",
        "upper",
        "outside",
        "file",
        "log_id",
        "line",
    ]
    return tables.plain(rows.join(_files(snapshot), on="log_id", how="left").select(columns)).sort(
        "taken_at", "serial", "line", descending=True
    )


def send_backs(
    snapshot: Snapshot,
    *,
    caused_at: str = "",
    caught_at: str = "",
    fault: str = "",
    model: str = "",
    first: date | None = None,
    last: date | None = None,
    confirmed: bool | None = None,
    judged: tuple[date, date] | None = None,
) -> pl.DataFrame:
    """Send-backs of round 1, newest first: the story's loops with log_id, line and file.

    first, last : days on which it was caught; judged : first days of the first and last week in which the instrument
    was judged.
    """
    rows = snapshot.once(story).loops.filter(pl.col("round") == 1)
    equal = {"caused_at": caused_at, "caught_at": caught_at, "fault": fault}
    rows = rows.filter(*[pl.col(name) == value for name, value in equal.items() if value])
    if model:
        rows = rows.filter((pl.col("setup") == model) | (pl.col("model") == model))
    if first:
        rows = rows.filter(pl.col("opened_day") >= first)
    if last:
        rows = rows.filter(pl.col("opened_day") <= last)
    if confirmed is not None:
        rows = rows.filter(pl.col("confirmed") == confirmed)
    if judged:
        known = snapshot.once(story).instruments.filter(pl.col("judged"), pl.col("week").is_between(*judged))
        rows = rows.join(known, on="serial", how="semi")
    visits = snapshot.once(story).visits.select("visit", "log_id", "line")
    rows = rows.join(visits, on="visit", how="left").join(_files(snapshot), on="log_id", how="left")
    return tables.plain(rows).sort("opened_at", "serial", descending=True)


@dataclass(frozen=True)
class Life:
    """One instrument from first to last visit."""

    instrument: dict[str, object]  # its row of the story's instruments
    visits: pl.DataFrame  # the story's visits with `file`, in time order
    readings: pl.DataFrame  # every reading with its spec and `file`, in the order of the visits
    faults: pl.DataFrame  # visit, fault, fault_at, raw
    loops: pl.DataFrame  # the story's loops
    outside: pl.DataFrame  # of its last final readings those outside, as Week tells them: characteristic, position


def instrument(snapshot: Snapshot, *, serial: str) -> Life | None:
    """The whole story of one instrument; None where no log names it."""
    told = snapshot.once(story)
    here = told.instruments.filter(pl.col("serial") == serial)
    if here.is_empty():
        return None
    files = _files(snapshot)
    visits = told.visits.filter(pl.col("serial") == serial).join(files, on="log_id", how="left", maintain_order="left")
    found = told.readings.filter(pl.col("serial") == serial).sort(
        "visit", "characteristic", "position", "moment", nulls_last=True
    )
    return Life(
        instrument=here.row(0, named=True),
        visits=tables.plain(visits),
        readings=tables.plain(with_specs(snapshot, found).join(files, on="log_id", how="left", maintain_order="left")),
        faults=told.faults.filter(pl.col("serial") == serial),
        loops=told.loops.filter(pl.col("serial") == serial),
        outside=tables.plain(
            judged_readings(snapshot, SHIPPED, pl.Series([serial]))
            .filter(pl.col("outside").fill_null(False))
            .select("characteristic", "position")
            .sort("characteristic", "position")
        ),
    )
