"""The next version of a store while it is made: logs go in and out, then one commit makes it the newest.

Rows wait in memory and are written to the Delta tables a good many at a time; until the version row is there nobody
sees them.
"""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import polars as pl

from ingest.reading.sheet import Sheet
from ingest.store import accounts, carried, delta, ledger, seals
from ingest.store.delta import Table
from ingest.store.ledger import Version
from ingest.store.merge import CANDIDATE, KEY, ROW, Merged, in_place_of, merge, met, with_key
from ingest.store.sqlite_tables import fetch, insert
from ingest.store.stretches import within
from ingest.store.typed import typed_rows
from ingest.terms import tables

FLUSH_AT = 1_000_000  # readings that may wait in memory
_FEW = 3_000_000  # rows worth sorting before they are written


@dataclass(frozen=True)
class Entry:
    """One log as the book names it."""

    log_id: str
    sha256: str
    name: str
    loaded: int  # the sequence of its line in the book; of a log not yet written there a number above all
    at: datetime
    kind: str = ""  # the kind of sheet, where a newer file of the kind wins over an older one
    replaces: str = ""  # log_id of the log in whose place it came
    judged_at: datetime | None = None  # UTC; rows taken later are in the future; None: when it was loaded


@dataclass
class Draft:
    """What a writer has changed since the newest version; `write` False: the Delta tables are left alone, as `load
    --check` wants it.
    """

    folder: Path
    connection: sqlite3.Connection
    before: Version | None
    stored: dict[str, Table]  # the Delta tables, as they stand for this draft
    settled: pl.DataFrame  # verdicts that stand
    write: bool = True
    now: datetime | None = None  # UTC; a log read again is judged by this clock, where it is later than its own
    waiting: dict[str, list[pl.DataFrame]] = field(default_factory=lambda: {name: [] for name in ledger.DELTA})
    gone: pl.DataFrame = field(
        default_factory=lambda: tables.empty({name: CANDIDATE[name] for name in ROW})
    )  # in the Delta tables, no longer counting
    dropped: set[str] = field(default_factory=set)  # logs whose rows in the Delta tables no longer count
    taken_out: bool = False
    last_at: datetime | None = None
    held_visits: int = 0
    made: datetime | None = None  # when the version row was written
    logs: pl.DataFrame = field(init=False)  # ledger.LOGS as they stand for this draft

    def __post_init__(self) -> None:
        self.logs = ledger.held_rows(self.connection, "logs")
        if self.before:
            self.last_at, self.held_visits = self.before.last_at, self.before.visits

    @property
    def n(self) -> int:
        """The version being made."""
        return (self.before.n if self.before else 0) + 1

    def drop(self, log_ids: Sequence[str]) -> None:
        """Take out everything that some logs brought."""
        if not log_ids:
            return
        self.dropped |= set(log_ids)
        self.taken_out = True
        others = ~pl.col("log_id").is_in(list(log_ids))
        self.logs = self.logs.filter(others)
        self.gone = self.gone.filter(others)
        self.waiting = {name: [frame.filter(others) for frame in frames] for name, frames in self.waiting.items()}
        if self.write:
            self._delete(delta.of_logs(sorted(log_ids)) if self.logs.height else None)
            self.dropped.clear()
        for name in ledger.VERSIONED:
            ledger.close(self.connection, name, self.n, list(log_ids))
        for name in ledger.CURRENT:
            ledger.drop(self.connection, name, list(log_ids))

    def add(self, entry: Entry, sheet: Sheet, replaced: pl.DataFrame | None = None) -> pl.DataFrame:
        """Put in what a log holds and return its row of `logs`.

        replaced : KEY and text_hash of the visits of the log in whose place it comes.
        """
        visits = with_key(sheet.visits.lazy()).collect()
        merged, rows = self._merge(entry, visits, replaced)
        if merged is None:
            in_place = _in_place(visits, replaced)
            merged = Merged.of_none(visits.filter(in_place)) if in_place.any() else None
        trials = self._new_trials(entry, sheet.gauge_trials)
        account = _account(entry, sheet, sheet.gauge_trials.height - trials.height)
        asked = sheet.set_aside
        if merged is not None:
            contested = self._contested(entry, sheet, merged, rows)
            insert(self.connection, "main.contested", contested)
            out = pl.concat([merged.held.select(ROW), merged.lost.select(ROW)])
            touched = pl.concat([out["line"], contested["line"]]).unique()
            lines = sheet.visits.select("line", "stage").join(touched.to_frame(), on="line", how="semi")
            counting = lines.join(out, on=["line", "stage"], how="anti")
            conflicts = accounts.questions(contested, counting, entry.log_id, entry.name)
            asked = pl.concat([asked, conflicts])
            moved = accounts.counts(accounts.line_places(touched, counting, contested)) | {
                "cells_set_aside": _cells(conflicts)
            }
            moved["accepted"] -= touched.len()
            account = _moved(account, moved)
        self.logs = pl.concat([self.logs, account])
        ledger.add(self.connection, "logs", self.n, account)
        ledger.add(self.connection, "gauge_trials", self.n, trials)
        ledger.add(self.connection, "set_aside", self.n, asked)
        if merged is not None:
            self._remember_meeting(merged)
            if merged.displaced.height:
                self._displace(merged.displaced)
        self._put(sheet, merged)
        return account

    def two_values(self, log_ids: Sequence[str]) -> pl.DataFrame:
        """The instruments of some logs of which all that counts says two things where only one can hold
        (carried.NAMED).
        """
        parts = [frame.lazy() for frame in self.waiting["visits"]]
        if self.stored["visits"].version is not None:
            stored = self.stored["visits"].scan().filter(~pl.col("log_id").is_in(sorted(self.dropped)))
            parts.append(stored.join(self.gone.lazy(), on=ROW, how="anti") if self.gone.height else stored)
        if not parts:
            return tables.empty(carried.NAMED)
        mine = pl.concat(
            pl.collect_all(
                [part.filter(pl.col("log_id").is_in(list(log_ids))).select("serial").unique() for part in parts]
            )
        ).unique()
        near = pl.concat(
            pl.collect_all([part.select(carried.COLUMNS).join(mine.lazy(), on="serial", how="semi") for part in parts])
        )
        return carried.named(carried.two_values(near), self.logs)

    def _new_trials(self, entry: Entry, trials: pl.DataFrame) -> pl.DataFrame:
        """The trials of a gauge study that no log has told of yet in the same words."""
        if trials.is_empty():
            return trials
        words = [name for name in trials.columns if name not in ("log_id", "line")]
        held = ledger.held_rows(self.connection, "gauge_trials").join(trials, on=words, how="semi", nulls_equal=True)
        pairs = held.select(pl.lit(entry.log_id).alias("log_id"), other="log_id").unique().sort("other")
        insert(self.connection, "main.meets", pairs)
        first = trials.unique(words, keep="first", maintain_order=True)
        return first.join(held, on=words, how="anti", nulls_equal=True, maintain_order="left")

    def _merge(
        self, entry: Entry, visits: pl.DataFrame, replaced: pl.DataFrame | None
    ) -> tuple[Merged | None, pl.DataFrame]:
        """How the rows of a log come out that share their visit with others; None where none does."""
        others = pl.concat([self._held(visits), self._lost(visits)])
        shared = met(visits, others)
        if not shared.any():
            return None, tables.empty(CANDIDATE)
        new = visits.filter(shared).with_columns(
            status=pl.lit("new"), loaded=pl.lit(entry.loaded), kind=pl.lit(entry.kind), log_id=pl.lit(entry.log_id)
        )
        near = others.join(new.select(KEY).unique(), on=KEY, how="semi", nulls_equal=True)
        rows = _judged(pl.concat([tables.shaped(new, CANDIDATE), near]), self.settled)
        return merge(rows, replaced), rows

    def _held(self, visits: pl.DataFrame) -> pl.DataFrame:
        """The rows that count so far for the visits of a new log (CANDIDATE)."""
        waiting = self.waiting["visits"]
        parts = [pl.concat(waiting, rechunk=False).lazy()] if waiting else []
        if self.stored["visits"].version is not None and visits.height:
            stored = self.stored["visits"].scan().filter(within(visits))
            if self.dropped:
                stored = stored.filter(~pl.col("log_id").is_in(sorted(self.dropped)))
            parts.append(stored.join(self.gone.lazy(), on=ROW, how="anti") if self.gone.height else stored)
        keys = visits.lazy().select(KEY).unique()
        narrow = [
            with_key(part).select("log_id", "line", *KEY, "text_hash").join(keys, on=KEY, how="semi", nulls_equal=True)
            for part in parts
        ]
        found = pl.concat(pl.collect_all(narrow)) if narrow else tables.empty(CANDIDATE)
        return self._of_logs(found.with_columns(status=pl.lit("held")))

    def _lost(self, visits: pl.DataFrame) -> pl.DataFrame:
        """The rows set aside before as questions about the visits of a new log (CANDIDATE)."""
        schema = {name: dtype for name, dtype in ledger.CONTESTED.items() if name in CANDIDATE and name != "status"}
        found = fetch(self.connection, schema, "FROM main.contested WHERE status = 'set aside'")
        near = found.join(visits.select(KEY).unique(), on=KEY, how="semi", nulls_equal=True)
        return self._of_logs(near.with_columns(status=pl.lit("lost")))

    def _of_logs(self, rows: pl.DataFrame) -> pl.DataFrame:
        return tables.shaped(
            rows.join(self.logs.select("log_id", "loaded", "kind"), on="log_id", how="left"), CANDIDATE
        )

    def _contested(self, entry: Entry, sheet: Sheet, merged: Merged, rows: pl.DataFrame) -> pl.DataFrame:
        """The rows of a new log that are no plain accepted ones (ledger.CONTESTED)."""
        lost = self._asked(merged.lost, sheet.visits, sheet.readings, {entry.log_id: entry.name})
        marks = pl.concat(
            [lost, merged.counts.filter("changed").select(*ROW, status=pl.lit("changed"))], how="diagonal"
        )
        keyed = (
            marks.join(rows.select("log_id", "line", *KEY, "text_hash"), on=ROW, how="left") if rows.height else marks
        )
        return tables.shaped(keyed, ledger.CONTESTED)

    def _asked(
        self, lost: pl.DataFrame, visits: pl.DataFrame, readings: pl.DataFrame, more: dict[str, str]
    ) -> pl.DataFrame:
        """Rows that another row has pushed aside, with what their question shows."""
        names = dict(self.logs.select("log_id", "name").iter_rows()) | more
        other = pl.col("other_log").replace(names)
        wanted = pl.format("one of the two: {} line {} counts until you settle it", other, "other_line")
        raw = typed_rows(lost, visits, readings).alias("raw")
        return lost.select(*ROW, raw, wanted.alias("wanted"), status=pl.lit("set aside"))

    def _remember_meeting(self, merged: Merged) -> None:
        """Keep in the ledger which logs share visits."""
        parts = [part.select("log_id", other="other_log") for part in (merged.lost, merged.held, merged.displaced)]
        pairs = pl.concat(parts).unique().filter(pl.col("log_id") != pl.col("other")).sort("log_id", "other")
        insert(self.connection, "main.meets", pairs)

    def _displace(self, displaced: pl.DataFrame) -> None:
        """Rows held so far give way: out of the tables, into the account of their own log, and asked about unless a
        newer sheet says so.
        """
        full = self._rows_of(displaced)
        for (log_id,), rows in displaced.group_by("log_id", maintain_order=True):
            self._move(str(log_id), rows, full)
        here = displaced.select(ROW)
        self.waiting = {
            name: [frame.join(here, on=ROW, how="anti", maintain_order="left") for frame in frames]
            for name, frames in self.waiting.items()
        }
        self.gone = pl.concat([self.gone, here])
        self.taken_out = True

    def _rows_of(self, rows: pl.DataFrame) -> dict[str, pl.DataFrame]:
        """The rows of `visits` and `readings` on the lines given, waiting or stored."""
        lines = rows.select("log_id", "line").unique()
        out = {}
        for name in ("visits", "readings"):
            parts = [frame.lazy() for frame in self.waiting[name]]
            if self.stored[name].version is not None:
                stored = self.stored[name].scan()
                near = pl.col("log_id").is_in(lines["log_id"].unique().to_list()) & pl.col("line").is_between(
                    lines["line"].min(), lines["line"].max()
                )
                parts.append(stored.filter(near).join(self.gone.lazy(), on=ROW, how="anti"))
            found = pl.collect_all([part.join(lines.lazy(), on=["log_id", "line"], how="semi") for part in parts])
            out[name] = pl.concat(found) if found else tables.empty(delta.KEPT[name])
        return out

    def _move(self, log_id: str, rows: pl.DataFrame, full: dict[str, pl.DataFrame]) -> None:
        """Bring the account and the questions of one log in line with the rows it loses."""
        lines = rows["line"].unique().sort()
        account = self.logs.filter(pl.col("log_id") == log_id)
        name = str(account["name"].item())
        before = full["visits"].filter(pl.col("log_id") == log_id).select("line", "stage")
        after = before.join(rows, on=["line", "stage"], how="anti")
        held = fetch(self.connection, ledger.CONTESTED, "FROM main.contested WHERE log_id = ?", (log_id,)).join(
            lines.to_frame(), on="line", how="semi"
        )
        keys = with_key(full["visits"].lazy()).select("log_id", "line", *KEY, "text_hash").collect()
        new = self._asked(rows.filter("asked"), full["visits"], full["readings"], {}).join(keys, on=ROW, how="left")
        new = tables.shaped(new, ledger.CONTESTED)
        standing = pl.concat([held.join(rows, on=["line", "stage"], how="anti"), new])
        asked_before, asked = (accounts.questions(*each, log_id, name) for each in ((held, before), (standing, after)))
        was, now = (accounts.counts(accounts.line_places(lines, *each)) for each in ((before, held), (after, standing)))
        moved = {place: now[place] - was[place] for place in accounts.PLACES} | {
            "cells_set_aside": _cells(asked) - _cells(asked_before)
        }
        account = _moved(account, moved)
        self.logs = pl.concat([self.logs.filter(pl.col("log_id") != log_id), account])
        ledger.close(self.connection, "logs", self.n, [log_id])
        ledger.add(self.connection, "logs", self.n, account)
        ledger.close_lines(self.connection, self.n, log_id, lines.to_list(), accounts.CONFLICT)
        ledger.add(self.connection, "set_aside", self.n, asked)
        gone = rows.select("line", "stage").iter_rows()
        self.connection.executemany(
            f"DELETE FROM main.contested WHERE log_id = {delta.text(log_id)} AND line = ? AND stage = ?", gone
        )
        insert(self.connection, "main.contested", new)

    def _put(self, sheet: Sheet, merged: Merged | None) -> None:
        """Let the rows of a log that count wait to be written."""
        frames = {
            "visits": tables.shaped(sheet.visits, delta.KEPT["visits"]),
            "readings": sheet.readings,
            "faults": sheet.faults,
        }
        if merged is not None and (merged.held.height or merged.lost.height):
            out = pl.concat([merged.held.select(ROW), merged.lost.select(ROW)])
            frames = {
                name: frame.join(out, on=ROW, how="anti", maintain_order="left") for name, frame in frames.items()
            }
        for name, frame in frames.items():
            if frame.height:
                self.waiting[name].append(frame)
        if not self.write:
            self.waiting["readings"].clear()  # only the visits are looked at again
        elif (
            sum(frame.height for frame in self.waiting["readings"])
            + sum(frame.height for frame in self.waiting["visits"])
            > FLUSH_AT
        ):
            self.flush()

    def _delete(self, where: str | None) -> None:
        """Take rows out of the Delta tables; None: all."""
        for table in self.stored.values():
            table.delete(where, {"truerun": f"version {self.n}"})

    def flush(self) -> None:
        """Write what waits; nobody sees it before the version row."""
        if self.gone.height:
            self._delete(delta.of_rows(self.gone))
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


def _in_place(visits: pl.DataFrame, replaced: pl.DataFrame | None) -> pl.Series:
    """Which rows come in the place of a row of a replaced log, with another text."""
    if replaced is None or replaced.is_empty():
        return pl.Series("changed", [False]).new_from_index(0, visits.height)
    return in_place_of(visits, replaced)


def _judged(rows: pl.DataFrame, settled: pl.DataFrame) -> pl.DataFrame:
    """Candidates with what people said about them."""
    said = settled.filter(pl.col("verdict").is_in(["take new", "keep held"])).select(
        "log_id", "line", "sequence", "verdict", of="column"
    )
    plain = rows.drop("taken", "dropped").with_columns(index=pl.int_range(pl.len()))
    about = plain.join(said, on=["log_id", "line"]).filter((pl.col("of") == "") | (pl.col("of") == pl.col("stage")))
    latest = about.sort("sequence").unique("index", keep="last").select("index", "verdict", "sequence")
    joined = plain.join(latest, on="index", how="left", maintain_order="left")
    taken = pl.when(pl.col("verdict") == "take new").then("sequence").otherwise(0)
    return tables.shaped(
        joined.with_columns(taken=taken, dropped=(pl.col("verdict") == "keep held").fill_null(False)), CANDIDATE
    )


def _account(entry: Entry, sheet: Sheet, trials_held: int) -> pl.DataFrame:
    """The row of `logs` of a new log, before any of its visits has met another one."""
    rows = sheet.rows_read - sheet.rows_set_aside
    account = {
        "log_id": entry.log_id,
        "name": entry.name,
        "rows_read": sheet.rows_read,
        "accepted": rows - trials_held,
        "changed": 0,
        "already_held": trials_held,
        "set_aside": sheet.rows_set_aside,
        "cells_set_aside": sheet.cells_set_aside,
        "passed_over": sheet.passed_over,
        "loaded_at": entry.at,
        "sha256": entry.sha256,
        "kind": entry.kind,
        "loaded": entry.loaded,
    }
    return pl.DataFrame([account], schema=ledger.LOGS)


def _moved(account: pl.DataFrame, by: dict[str, int]) -> pl.DataFrame:
    return account.with_columns(pl.col(name) + count for name, count in by.items())


def _cells(questions: pl.DataFrame) -> int:
    return questions.filter(pl.col("column") != "").height


def _in_order(name: str, frames: list[pl.DataFrame]) -> pl.DataFrame:
    """Rows to be written, so that what is read together stands together: visits in time, readings by stream."""
    rows = pl.concat(frames, rechunk=False)
    if name == "visits":
        times = rows.select(pl.coalesce("started_at", "finished_at").alias("time")).to_series()
        return rows if times.is_sorted() else rows[times.arg_sort()]
    if name == "readings" and rows.height <= _FEW:
        return rows.sort("characteristic", "position", "stage", "taken_at", maintain_order=True)
    return rows
