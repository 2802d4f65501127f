"""The next version of a store while it is made: logs go in and out, then one commit makes it the newest.

Rows wait in memory and are written to the Delta tables a good many at a time; until the version row is there nobody
sees them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import polars as pl

from ingest.reading.sheet import Sheet
from ingest.store import accounts, carried, cut_visits, delta, editions, fuller, ledger
from ingest.store.account_rows import account_of, cells_asked, moved_by
from ingest.store.differences import differing
from ingest.store.merge import KEY, ROW, Merged, in_place_of, with_key
from ingest.store.merge import met as met_keys
from ingest.store.onfile import Entry, Met, other_of
from ingest.store.sqlite_tables import fetch, insert
from ingest.store.typed import typed_rows
from ingest.store.waiting import Waiting
from ingest.terms import tables

FEW = 20_000  # instruments of which all visits are held in memory


@dataclass
class Draft(Waiting):
    """What a writer has changed since the newest version."""

    now: datetime | None = None  # UTC; a log read again is judged by this clock, where it is later than its own
    told: dict[str, editions.Told] = field(default_factory=dict)  # by log_id: what it is to those on file
    wanted: set[str] = field(default_factory=set)  # logs to be read again
    pushed: dict[str, list[str]] = field(default_factory=dict)  # by log_id: whose rows count no longer since it came

    def drop(self, log_ids: Sequence[str], *, again: bool = False) -> None:
        """Take out everything that some logs brought; `again`: they come back, so what they meet stays known."""
        if not log_ids:
            return
        self.dropped |= set(log_ids)
        self.taken_out = True
        others = ~pl.col("log_id").is_in(list(log_ids))
        self.logs = self.logs.filter(others)
        self.gone = self.gone.filter(others)
        self.waiting = {name: [frame.filter(others) for frame in frames] for name, frames in self.waiting.items()}
        if self.write:
            self.take_out(delta.of_logs(sorted(log_ids)) if self.logs.height else None)
            self.dropped.clear()
        for name in ledger.VERSIONED:
            ledger.close(self.connection, name, self.n, list(log_ids))
        for name in ledger.CURRENT:
            if not (again and name == "meets"):
                ledger.drop(self.connection, name, list(log_ids))

    def add(self, entry: Entry, sheet: Sheet, replaced: pl.DataFrame | None = None) -> pl.DataFrame:
        """Put in what a log holds and return its row of `logs`.

        replaced : KEY and text_hash of the visits of the log in whose place it comes.  Afterwards `told` says what it
        is to the logs on file, and
        `wanted` which logs are to be read again, since rows of theirs count now that counted nowhere.
        """
        self.covers = {entry.log_id: sheet.covers}
        sheet = self._uncut(entry, sheet) if sheet.gathered else sheet
        met = self.meet(entry, sheet)
        merged, rows = self.merged(entry, sheet, met, replaced, self._lacking(entry, sheet, met))
        if merged is None and replaced is not None and replaced.height:
            visits = sheet.keyed()
            in_place = in_place_of(visits, replaced)
            merged = Merged.of_none(visits.filter(in_place)) if in_place.any() else None
        trials = self._new_trials(entry, sheet.gauge_trials)
        account = account_of(entry, sheet, sheet.gauge_trials.height - trials.height)
        asked = sheet.set_aside
        if merged is not None:
            contested = self._contested(entry, sheet, merged, rows)
            insert(self.connection, "main.contested", contested)
            self.give(rows, pl.concat([merged.held.select(ROW), merged.closed.select(ROW)]))
            out = pl.concat([merged.held.select(ROW), merged.lost.select(ROW)])
            touched = pl.concat([out["line"], contested["line"]]).unique()
            counting = sheet.stages_of(touched).join(out, on=["line", "stage"], how="anti")
            conflicts = accounts.questions(contested, counting, entry.log_id, entry.name)
            asked = pl.concat([asked, conflicts])
            moved = accounts.counts(accounts.line_places(touched, counting, contested))
            moved |= {"cells_set_aside": cells_asked(conflicts)}
            moved["accepted"] -= touched.len()
            account = moved_by(account, moved)
            asked, account = self._less(asked, account, touched, counting, contested)
        self.logs = pl.concat([self.logs, account])
        ledger.add(self.connection, "logs", self.n, account)
        ledger.add(self.connection, "gauge_trials", self.n, trials)
        ledger.add(self.connection, "columns", self.n, sheet.columns)
        ledger.add(self.connection, "set_aside", self.n, asked)
        self._close_whole(met.pairs.filter(pl.col("holds"))["older"].to_list())
        cells = tables.empty(editions.CELLS)
        if merged is not None and (merged.displaced.height or merged.closed.height):
            full = self._rows_of(pl.concat([merged.displaced.select(ROW), merged.closed.select(ROW)]))
            cells = _changed_cells(merged, rows, full, sheet)
            self._displace(merged, rows, full)
            self.pushed[entry.log_id] = self._pushed(merged.displaced.filter("asked"))
        self.put(sheet, merged)
        if merged is not None:
            self.wanted |= set(merged.wanted["log_id"])
        if met.pairs.height:
            others = self.logs.select(other="log_id", name="name", loaded_at="loaded_at")
            told = met.pairs.with_columns(other=other_of(entry.log_id)).join(others, on="other", maintain_order="left")
            self.told[entry.log_id] = editions.Told(told, pl.concat([met.moved, cells]))
        return account

    def _pushed(self, asked: pl.DataFrame) -> list[str]:
        """Of rows that counted so far and are set aside as questions now, how many of which log, a sentence each."""
        names = dict(self.logs.select("log_id", "name").iter_rows())
        lines = asked.select("log_id", "line").unique().group_by("log_id").len().sort("log_id")
        return [
            f"{count} {'row' if count == 1 else 'rows'} of {names[log_id]} counted so far, and are set aside as "
            "questions now: this log tells of the same visits otherwise, and its last one is the earlier"
            for log_id, count in lines.iter_rows()
        ]

    def _uncut(self, entry: Entry, sheet: Sheet) -> Sheet:
        """A log with a row a measurement less what others on file tell of visits that an edge has cut; those that it
        stands for are read again.
        """
        tables_of = [self.so_far(name) for name in ("visits", "readings")]
        if self.let_go or any(not parts for parts in tables_of):
            return sheet
        visits, readings = (pl.concat(parts) for parts in tables_of)
        found = cut_visits.shared(sheet, visits, readings, self.older_editions(entry, sheet))
        insert(
            self.connection,
            "main.meets",
            pl.DataFrame({"other": found.logs}).select(log_id=pl.lit(entry.log_id), other="other"),
        )
        self._give_up(found.displaced)
        self.drop(found.give_up, again=True)
        self.wanted |= set(found.give_up)
        return found.sheet

    def _give_up(self, displaced: pl.DataFrame) -> None:
        """Visits on file (log_id, line, stage, rows: of how many rows they were made) for which a new log stands."""
        if displaced.is_empty():
            return
        full = self._rows_of(displaced)
        keyed = with_key(full["visits"].lazy()).select("log_id", "line", *KEY, "text_hash").collect()
        none = Merged.of_none(keyed.clear())
        gone = displaced.select(ROW).with_columns(other_log=pl.lit(""), other_line=pl.lit(0), asked=pl.lit(False))
        self._displace(replace(none, displaced=gone.cast({"other_line": pl.Int64})), keyed, full)
        for log_id, rows in displaced.group_by("log_id").agg(pl.col("rows").sum() - pl.len()).iter_rows():
            self._account_of(log_id, {"accepted": -rows, "already_held": rows})

    def _lacking(self, entry: Entry, sheet: Sheet, met: Met) -> pl.DataFrame | None:
        """log_id, line, stage of the rows of visits shared with logs on file that say less than the other one does. A
        newer edition, and what a person has said of a row, stand as they are.
        """
        holds = met.pairs.filter("holds")
        related = pl.concat([holds["older"], holds["newer"]]).unique()
        decided = self.settled.filter(pl.col("verdict").is_in(["take new", "keep held"])).select("log_id", "line")
        held = met.near.filter((pl.col("status") == "held") & ~pl.col("log_id").is_in(related.implode()))
        held = held.filter((pl.col("kind") == "") | (pl.col("kind") != entry.kind)).join(
            decided, on=["log_id", "line"], how="anti"
        )
        if self.let_go or held.is_empty():
            return None
        mine = sheet.keyed(met_keys(sheet.marks["key"], held)).with_columns(log_id=pl.lit(entry.log_id))
        pairs = fuller.pairs_of(mine.join(decided, on=["log_id", "line"], how="anti"), held)
        if pairs.is_empty():
            return None
        before = self._rows_of(pairs.select(pl.col("log_id_before").alias("log_id"), line="line_before"))
        return fuller.lacking(pairs, before, sheet.rows_of(pairs["line"]))

    def _less(
        self,
        asked: pl.DataFrame,
        account: pl.DataFrame,
        lines: pl.Series,
        counting: pl.DataFrame,
        contested: pl.DataFrame,
    ) -> tuple[pl.DataFrame, pl.DataFrame]:
        """The questions of a log less those about single cells of lines that another log's rows stand for, and the
        account
        without them. A row that is already held asks nothing.
        """
        moot = _moot(asked, lines, counting, contested)
        return asked.join(moot, on=["line", "column"], how="anti"), moved_by(account, {"cells_set_aside": -moot.height})

    def _close_whole(self, older: list[str]) -> None:
        """Close the questions about whole rows of older editions all whose days a newer one covers: it tells those
        rows anew.
        """
        for log_id in older:
            spans = editions.of_text(self.logs.filter(pl.col("log_id") == log_id)["covers"].item())
            newer = ledger.pairs(self.connection).filter((pl.col("older") == log_id) & pl.col("holds"))["newer"]
            covers = [span for one, spans in self.covers_of(newer).items() if one in newer for span in spans]
            asked = ledger.held_rows(self.connection, "set_aside", log_ids=[log_id])
            rows = asked.filter((pl.col("column") == "") & (pl.col("reason") != accounts.CONFLICT))
            if rows.is_empty() or not editions.inside(spans, covers):
                continue
            self._account_of(log_id, {"set_aside": -rows.height, "already_held": rows.height})
            ledger.close_questions(self.connection, self.n, log_id, rows.select("line", "column"))

    def _account_of(self, log_id: str, moved: dict[str, int]) -> None:
        """Move the account of a log on file."""
        account = moved_by(self.logs.filter(pl.col("log_id") == log_id), moved)
        self.logs = pl.concat([self.logs.filter(pl.col("log_id") != log_id), account])
        ledger.close(self.connection, "logs", self.n, [log_id])
        ledger.add(self.connection, "logs", self.n, account)

    def two_values(self) -> pl.DataFrame:
        """The instruments of the logs that came in of which all that counts says two things where only one can hold
        (carried.NAMED).
        """
        parts = self.so_far("visits")
        if not parts or not self.serials:
            return tables.empty(carried.NAMED)
        mine = pl.concat(self.serials).unique()
        near = pl.concat(
            [part.filter(pl.col("serial").is_in(mine.implode())).select(carried.COLUMNS) for part in parts]
        )
        if mine.len() <= FEW:  # of a day's log few rows, which are looked through as often as it takes
            near = near.collect().lazy()
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

    def _contested(self, entry: Entry, sheet: Sheet, merged: Merged, rows: pl.DataFrame) -> pl.DataFrame:
        """The rows of a new log that are no plain accepted ones (ledger.CONTESTED)."""
        held = sheet.rows_of(merged.lost["line"])
        lost = self._asked(merged.lost, held["visits"], held["readings"], {entry.log_id: entry.name})
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

    def _displace(self, merged: Merged, rows: pl.DataFrame, full: dict[str, pl.DataFrame]) -> None:
        """Rows held so far give way: out of the tables, into the account of their own log, and asked about unless a
        newer edition says so. Questions about rows that others stand for are closed.
        """
        displaced = merged.displaced
        self.give(rows, displaced.filter(~pl.col("asked")).select(ROW))
        for log_id in pl.concat([displaced["log_id"], merged.closed["log_id"]]).unique(maintain_order=True):
            mine = pl.col("log_id") == log_id
            self._move(str(log_id), displaced.filter(mine), merged.closed.filter(mine), full)
        if displaced.is_empty():
            return
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
        for name in ("visits", "readings", "faults"):
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

    def _move(self, log_id: str, rows: pl.DataFrame, closed: pl.DataFrame, full: dict[str, pl.DataFrame]) -> None:
        """Bring the account and the questions of one log in line with the rows it loses and the questions that are
        closed.
        """
        lines = pl.concat([rows["line"], closed["line"]]).unique().sort()
        name = str(self.logs.filter(pl.col("log_id") == log_id)["name"].item())
        before = full["visits"].filter(pl.col("log_id") == log_id).select("line", "stage")
        after = before.join(rows, on=["line", "stage"], how="anti")
        held = fetch(self.connection, ledger.CONTESTED, "FROM main.contested WHERE log_id = ?", (log_id,)).join(
            lines.to_frame(), on="line", how="semi"
        )
        keys = with_key(full["visits"].lazy()).select("log_id", "line", *KEY, "text_hash").collect()
        new = self._asked(rows.filter("asked"), full["visits"], full["readings"], {}).join(keys, on=ROW, how="left")
        new = tables.shaped(new, ledger.CONTESTED)
        gone = pl.concat([rows.select("line", "stage"), closed.select("line", "stage")])
        standing = pl.concat([held.join(gone, on=["line", "stage"], how="anti"), new])
        asked_before, asked = (accounts.questions(*each, log_id, name) for each in ((held, before), (standing, after)))
        was, now = (accounts.counts(accounts.line_places(lines, *each)) for each in ((before, held), (after, standing)))
        moved = {place: now[place] - was[place] for place in accounts.PLACES} | {
            "cells_set_aside": cells_asked(asked) - cells_asked(asked_before)
        }
        cells = ledger.held_rows(self.connection, "set_aside", log_ids=[log_id])
        moot = _moot(cells.filter(pl.col("reason") != accounts.CONFLICT), lines, after, standing)
        moved["cells_set_aside"] -= moot.height
        self._account_of(log_id, moved)
        ledger.close_questions(self.connection, self.n, log_id, moot)
        ledger.close_lines(self.connection, self.n, log_id, lines.to_list(), accounts.CONFLICT)
        ledger.add(self.connection, "set_aside", self.n, asked)
        self.connection.executemany(
            f"DELETE FROM main.contested WHERE log_id = {delta.text(log_id)} AND line = ? AND stage = ?",
            gone.iter_rows(),
        )
        insert(self.connection, "main.contested", new)


def _changed_cells(merged: Merged, rows: pl.DataFrame, full: dict[str, pl.DataFrame], sheet: Sheet) -> pl.DataFrame:
    """editions.CELLS of the visits for which a new row counts in the place of another."""
    keyed = rows.select("log_id", "line", *KEY).unique(ROW)
    after = keyed.join(merged.counts.filter("changed").select(ROW), on=ROW, how="semi")
    before = keyed.join(merged.displaced.select(ROW), on=ROW, how="semi")
    pairs = after.join(before, on=list(KEY), how="inner", nulls_equal=True, suffix="_before")
    if pairs.is_empty():
        return tables.empty(editions.CELLS)
    return differing(pairs, full, sheet.rows_of(pairs["line"]))


def _moot(asked: pl.DataFrame, lines: pl.Series, counting: pl.DataFrame, contested: pl.DataFrame) -> pl.DataFrame:
    """line, column of the questions about cells of those lines that neither count nor ask as a whole."""
    alive = pl.concat([counting["line"], contested.filter(pl.col("status") == "set aside")["line"]]).unique()
    cells = asked.filter((pl.col("column") != "") & (pl.col("reason") != accounts.CONFLICT))
    mine = cells.join(lines.unique().rename("line").to_frame(), on="line", how="semi")
    return mine.join(alive.to_frame(), on="line", how="anti").select("line", "column")
