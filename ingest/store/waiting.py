"""Rows of the next version that wait to be written to the Delta tables, and the row that ends the version."""

from dataclasses import dataclass, field
from datetime import datetime

import polars as pl

from ingest.reading.sheet import Progress, Sheet
from ingest.store import delta, ledger, seals
from ingest.store.ledger import Version
from ingest.store.merge import ROW, Merged
from ingest.store.onfile import OnFile
from ingest.terms import tables

FLUSH_AT = 150_000  # visits and readings that may wait in memory
_FEW = 3_000_000  # rows worth sorting before they are written


@dataclass
class Waiting(OnFile):
    """Rows that wait; `write` False: the Delta tables are left alone, as `load --check` wants it."""

    write: bool = True
    let_go: bool = False  # where nothing is written: readings of logs that came before are no longer held
    taken_out: bool = False
    last_at: datetime | None = None
    held_visits: int = 0
    serials: list[pl.Series] = field(default_factory=list)  # of what was put in
    made: datetime | None = None  # when the version row was written
    progress: Progress = lambda share, what: None

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.before:
            self.last_at, self.held_visits = self.before.last_at, self.before.visits

    @property
    def n(self) -> int:
        """The version being made."""
        return (self.before.n if self.before else 0) + 1

    def put(self, sheet: Sheet, merged: Merged | None) -> None:
        """Let the rows of a log that count wait to be written."""
        out = None
        if merged is not None and (merged.held.height or merged.lost.height):
            out = pl.concat([merged.held.select(ROW), merged.lost.select(ROW)])
        done = 0
        for part in sheet.parts():
            done += part["visits"].height
            self.progress(done / max(1, sheet.height), f"taking in {done:,} of {sheet.height:,} visits")
            self.serials.append(part["visits"]["serial"].unique())
            for name, rows in part.items():
                frame = tables.shaped(rows, delta.KEPT["visits"]) if name == "visits" else rows
                frame = frame if out is None else frame.join(out, on=ROW, how="anti", maintain_order="left")
                if frame.height:
                    self.waiting[name].append(frame)
            many = sum(frame.height for name in ("readings", "visits") for frame in self.waiting[name]) > FLUSH_AT
            if many and self.write:
                self.flush()
            elif many:
                self.waiting["readings"].clear()  # from here on only visits are looked at again
                self.let_go = True

    def take_out(self, where: str | None) -> None:
        """Take rows out of the Delta tables; None: all."""
        for table in self.stored.values():
            table.delete(where, {"truerun": f"version {self.n}"})

    def flush(self) -> None:
        """Write what waits; nobody sees it before the version row."""
        if self.gone.height:
            self.take_out(delta.of_rows(self.gone))
            self.gone = self.gone.clear()
        for name in ledger.DELTA:
            frames = self.waiting[name]
            if not any(frame.height for frame in frames):
                continue
            rows = _in_order(name, frames)
            self.waiting[name] = []
            if name == "visits":
                latest = rows.select(pl.coalesce("finished_at", "started_at").max()).item()
                self.last_at = max((at for at in (self.last_at, latest) if at is not None), default=None)
                self.held_visits += rows.height
            log_ids = rows["log_id"].unique().sort().to_list()
            self.stored[name].append(rows, {"truerun": f"version {self.n}", "logs": " ".join(log_ids)})

    def finish(self, what: str, at: datetime, shop_files: str, book_sequence: int) -> Version:
        """Write everything and the version row; the commit of the ledger's transaction then makes it the newest."""
        self.flush()
        for table in self.stored.values():
            table.tidy({"truerun": f"version {self.n}"})
        if self.taken_out and self.stored["visits"].version is not None:
            stored = self.stored["visits"].scan()
            self.last_at, self.held_visits = (
                stored.select(pl.coalesce("finished_at", "started_at").max(), n=pl.len()).collect().row(0)
            )
        version = Version(
            self.n,
            {name: table.version for name, table in self.stored.items()},
            book_sequence,
            shop_files,
            what,
            at,
            self.last_at,
            self.held_visits,
        )
        seals.note_files(self.connection, self.folder)
        ledger.add_version(self.connection, version)
        self.made = at
        return version


def _in_order(name: str, frames: list[pl.DataFrame]) -> pl.DataFrame:
    """Rows to be written, so that what is read together stands together: visits in time, readings by stream."""
    rows = pl.concat(frames, rechunk=False)
    if name == "visits":
        times = rows.select(pl.coalesce("started_at", "finished_at").alias("time")).to_series()
        return rows if times.is_sorted() else rows[times.arg_sort()]
    if name == "readings" and rows.height <= _FEW:
        return rows.sort("characteristic", "position", "stage", "taken_at", maintain_order=True)
    return rows
