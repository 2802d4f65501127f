"""What is on file while the next version of a store is made: which rows a new log meets, and what the logs are to each
other.
"""

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import polars as pl

from ingest.reading import days
from ingest.reading.pieces import key_hash, visit_hash
from ingest.reading.sheet import Sheet
from ingest.store import editions, ledger
from ingest.store.delta import Table
from ingest.store.ledger import Version
from ingest.store.merge import CANDIDATE, KEY, ROW, Merged, merge, met, with_key
from ingest.store.sqlite_tables import as_text, fetch, insert
from ingest.store.stretches import within
from ingest.terms import tables


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


@dataclass(frozen=True)
class Met:
    """The rows on file that a new log meets (CANDIDATE), what the logs are to each other (EDITIONS), and whose visits a
    newer edition gives to another or tells of no longer (CELLS).
    """

    near: pl.DataFrame
    pairs: pl.DataFrame
    moved: pl.DataFrame = field(default_factory=lambda: tables.empty(editions.CELLS))


def other_of(log_id: str) -> pl.Expr:
    """What a log's row holds in no column of the store."""
    return pl.when(pl.col("newer") == log_id).then("older").otherwise("newer")


def _moved(gone: pl.DataFrame, come: pl.DataFrame) -> pl.DataFrame:
    """editions.CELLS of visits (KEY) that a newer edition tells of no longer, and of those that it gives to another
    tech. The line of what is told of no longer is that of the older one.
    """
    same = ["who", "stage", "time"]
    one = gone.unique(KEY, maintain_order=True).unique(same, keep="none", maintain_order=True)
    other = come.unique(same, keep="none").select(*same, "line", after="tech")
    both = one.select(*same, before="tech").join(other, on=same, nulls_equal=True)
    given = both.with_columns(column=pl.lit("tech"))
    lost = gone.unique(KEY, maintain_order=True).join(both, on=same, how="anti", nulls_equal=True)
    lost = lost.select(*same, "line", column=pl.lit(tables.GONE), before=pl.lit(""), after=pl.lit(""))
    cells = pl.concat([given.select(lost.columns), lost])
    return tables.shaped(cells.rename({"who": "serial"}).sort("time", "serial", nulls_last=True), editions.CELLS)


@dataclass
class OnFile:
    """The rows of a store as they stand for a draft, counting or not."""

    folder: Path
    connection: sqlite3.Connection
    before: Version | None
    stored: dict[str, Table]  # the Delta tables, as they stand for this draft
    settled: pl.DataFrame  # verdicts that stand
    waiting: dict[str, list[pl.DataFrame]] = field(default_factory=lambda: {name: [] for name in ledger.DELTA})
    gone: pl.DataFrame = field(
        default_factory=lambda: tables.empty({name: CANDIDATE[name] for name in ROW})
    )  # in the Delta tables, no longer counting
    dropped: set[str] = field(default_factory=set)  # logs whose rows in the Delta tables no longer count
    covers: dict[str, list[days.Span]] = field(default_factory=dict)  # of a log that is not yet among `logs`
    logs: pl.DataFrame = field(init=False)  # ledger.LOGS as they stand for this draft

    def __post_init__(self) -> None:
        self.logs = ledger.held_rows(self.connection, "logs")

    def older_editions(self, entry: Entry, sheet: Sheet) -> list[str]:
        """The logs on file of which a new one is a newer edition, the latest first."""
        near = self._near(sheet.marks, sheet.keyed)
        if near.is_empty():
            return []
        visits = sheet.keyed()
        pairs = self._pairs(
            entry, visits.select(*KEY, "text_hash").unique(KEY, keep="first", maintain_order=True), near
        )
        mine = pairs.filter(pl.col("holds") & (pl.col("newer") == entry.log_id)).select(log_id="older")
        order = mine.join(self.logs, on="log_id").sort("last_visit", "loaded", descending=True)
        return order["log_id"].to_list()

    def meet(self, entry: Entry, sheet: Sheet) -> "Met":
        """Every row on file of the visits that a new log tells of, or that it may take the place of, and what the logs
        are to each other.
        """
        near = self._near(sheet.marks, sheet.keyed)
        if near.is_empty():
            return Met(near, tables.empty(editions.EDITIONS))
        new = sheet.keyed().select(*KEY, "text_hash").unique(KEY, keep="first", maintain_order=True)
        pairs = self._pairs(entry, new, near)
        older = pairs.filter(pl.col("holds") & (pl.col("newer") == entry.log_id))["older"].to_list()
        moved = tables.empty(editions.CELLS)
        if older:
            whole = self._of_older(older, sheet.covers)
            left_out = whole.join(new, on=KEY, how="anti", nulls_equal=True)
            gone = left_out.group_by("log_id").agg(pl.struct(KEY).n_unique().alias("drops").cast(pl.Int64))
            pairs = pairs.drop("drops").join(
                gone, left_on="older", right_on="log_id", how="left", maintain_order="left"
            )
            marks = left_out.select("time", begun=pl.lit(False), key=key_hash(visit_hash()))
            near = pl.concat([near, self._near(marks, lambda keys: left_out)])
            moved = _moved(left_out, sheet.keyed().join(whole, on=KEY, how="anti", nulls_equal=True))
        pairs = tables.shaped(pairs.with_columns(pl.col("drops").fill_null(0)), editions.EDITIONS)
        insert(self.connection, "main.editions", pairs)
        others = pairs.select(pl.lit(entry.log_id).alias("log_id"), other=other_of(entry.log_id)).sort("other")
        insert(self.connection, "main.meets", others)
        return Met(near.unique([*ROW, "status"], keep="first", maintain_order=True), pairs, moved)

    def _pairs(self, entry: Entry, new: pl.DataFrame, near: pl.DataFrame) -> pl.DataFrame:
        """EDITIONS of a new log with each log that shares a visit with it (`drops` still empty)."""
        mine = new.with_columns(mine=pl.col("text_hash")).drop("text_hash")
        shared = near.unique(["log_id", *KEY], keep="first").join(mine, on=KEY, how="inner", nulls_equal=True)
        counted = shared.group_by("log_id").agg(
            shared=pl.len().cast(pl.Int64), changes=(pl.col("mine") != pl.col("text_hash")).sum().cast(pl.Int64)
        )
        counted = counted.join(self.logs.select("log_id", "name", "loaded", "visits", "last_visit"), on="log_id").sort(
            "loaded"
        )
        last = new["time"].max()
        later = (pl.lit(last) > pl.col("last_visit")) | (
            (pl.lit(last) == pl.col("last_visit")) & (entry.loaded > pl.col("loaded"))
        )
        rows = counted.with_columns(is_newer=later).with_columns(
            older=pl.when("is_newer").then("log_id").otherwise(pl.lit(entry.log_id)),
            newer=pl.when("is_newer").then(pl.lit(entry.log_id)).otherwise("log_id"),
            of=pl.when("is_newer").then("visits").otherwise(new.height),
            more=pl.when("is_newer").then(new.height).otherwise("visits"),
        )
        half = 2 * pl.col("shared") >= pl.col("of")
        rows = rows.with_columns(
            adds=pl.col("more") - pl.col("shared"), holds=half, asked=~half & (pl.col("name") == entry.name)
        )
        return self._as_said(rows)

    def _as_said(self, pairs: pl.DataFrame) -> pl.DataFrame:
        """Pairs of logs as a person has said of them: the verdict on the newer one, whose column is the older one."""
        said = self.settled.filter(pl.col("verdict").is_in([editions.EDITION, editions.OTHER]))
        said = said.select(newer="log_id", older="column", verdict="verdict")
        joined = pairs.join(said, on=["newer", "older"], how="left", maintain_order="left")
        none = pl.col("verdict").is_null()
        return joined.with_columns(
            holds=pl.when(none).then("holds").otherwise(pl.col("verdict") == editions.EDITION),
            asked=pl.col("asked") & none,
            drops=pl.lit(0, dtype=pl.Int64),
        )

    def _near(self, marks: pl.DataFrame, rows_of: Callable[[pl.Series], pl.DataFrame]) -> pl.DataFrame:
        """Every row on file of the visits given, whether it counts or not (CANDIDATE).

        marks : time, begun, key.  rows_of : the visits of some keys, with KEY.
        """
        if marks.is_empty():
            return tables.empty(CANDIDATE)
        keyed = marks.lazy().select("key").unique()
        found = pl.concat([self._held(marks, keyed), self._out("lost", marks, keyed), self._out("given", marks, keyed)])
        if found.is_empty():
            return found
        keys = found.select(key_hash(visit_hash()).unique()).to_series()
        return found.join(rows_of(keys).select(KEY), on=KEY, how="semi", nulls_equal=True, maintain_order="left")

    def _of_older(self, log_ids: list[str], covers: list[days.Span]) -> pl.DataFrame:
        """Every row of some logs in the days given (CANDIDATE)."""
        inside = pl.col("log_id").is_in(log_ids) & days.within(covers)
        counting = pl.collect_all(
            [part.filter(inside).select("log_id", "line", *KEY, "text_hash") for part in self.counting(covers)]
        )
        parts = [pl.concat(counting).with_columns(status=pl.lit("held"))] if counting else []
        for status, source in (("lost", "contested"), ("given", "given")):
            parts.append(
                self._outside(source, covers[0][0], covers[-1][1]).filter(inside).with_columns(status=pl.lit(status))
            )
        return self._of_logs(pl.concat(parts, how="diagonal"))

    def merged(
        self,
        entry: Entry,
        sheet: Sheet,
        found: "Met",
        replaced: pl.DataFrame | None,
        lacking: pl.DataFrame | None = None,
    ) -> tuple[Merged | None, pl.DataFrame]:
        """How the rows of a log come out that share their visit with others; None where none does.

        lacking : log_id, line, stage of those that give way to one of which they lack something.
        """
        others = found.near
        given_up = found.pairs.filter(pl.col("holds") & (pl.col("older") == entry.log_id)).height > 0
        shared = met(sheet.marks["key"], others)
        if shared.is_empty() and others.is_empty() and not given_up:
            return None, tables.empty(CANDIDATE)
        new = sheet.keyed(None if given_up else shared).with_columns(
            status=pl.lit("new"), loaded=pl.lit(entry.loaded), kind=pl.lit(entry.kind), log_id=pl.lit(entry.log_id)
        )
        new = new.with_columns(last_visit=pl.lit(sheet.marks["time"].max(), dtype=tables.TIME))
        rows = _judged(pl.concat([tables.shaped(new, CANDIDATE), others]), self.settled)
        pairs = ledger.pairs(self.connection).filter(
            pl.col("holds") & pl.col("older").is_in(rows["log_id"].unique().to_list())
        )
        rows = rows.with_columns(editions.superseded(rows, pairs, self.covers_of(pairs["newer"].unique())))
        rows = rows.with_columns(superseded=pl.col("superseded") | _among(rows, lacking))
        rows = rows.with_columns(superseded=pl.col("superseded") | _given_up(rows))
        return merge(rows, replaced), rows

    def covers_of(self, log_ids: pl.Series) -> dict[str, list[days.Span]]:
        """The days that each of some logs tells of."""
        some = self.logs.filter(pl.col("log_id").is_in(log_ids.implode())).select("log_id", "covers")
        return {log_id: editions.of_text(text) for log_id, text in some.iter_rows()} | self.covers

    def counting(self, spans: list[days.Span] | None = None) -> list[pl.LazyFrame]:
        """The visits that count so far, with KEY, waiting and stored; `spans`: stored ones of about these days only."""
        near = (days.within(spans, "started_at") | pl.col("started_at").is_null()) if spans else None
        return [with_key(part) for part in self.so_far("visits", near)]

    def so_far(self, name: str, near: pl.Expr | None = None) -> list[pl.LazyFrame]:
        """The rows of a Delta table that count so far, waiting and stored; `near`: which of the stored ones."""
        waiting = self.waiting[name]
        parts = [pl.concat(waiting, rechunk=False).lazy()] if waiting else []
        if self.stored[name].version is not None:
            stored = self.stored[name].scan()
            if near is not None:
                stored = stored.filter(near)
            if self.dropped:
                stored = stored.filter(~pl.col("log_id").is_in(sorted(self.dropped)))
            parts.append(stored.join(self.gone.lazy(), on=ROW, how="anti") if self.gone.height else stored)
        return parts

    def _held(self, marks: pl.DataFrame, keyed: pl.LazyFrame) -> pl.DataFrame:
        """The rows that count so far for some visits (CANDIDATE)."""
        parts = [
            part.filter(within(marks))
            .select("log_id", "line", *KEY, "text_hash", key=key_hash(visit_hash()))
            .join(keyed, on="key", how="semi")
            .drop("key")
            for part in self.counting()
        ]
        found = pl.concat(pl.collect_all(parts)) if parts else tables.empty(CANDIDATE)
        return self._of_logs(found.with_columns(status=pl.lit("held")))

    def _outside(self, source: str, first: datetime, last: datetime) -> pl.DataFrame:
        """The rows set aside as questions (`contested`) or that others stand for (`given`) between two moments."""
        where = "status = 'set aside' AND " if source == "contested" else ""
        between = (as_text(first), as_text(last))
        return fetch(self.connection, ledger.GIVEN, f"FROM main.{source} WHERE {where}time BETWEEN ? AND ?", between)

    def _out(self, status: str, marks: pl.DataFrame, keyed: pl.LazyFrame) -> pl.DataFrame:
        """The rows of some visits that count so far nowhere (CANDIDATE): lost as a question, or given up for another
        row.
        """
        first, last = marks.select(first=pl.col("time").min(), last=pl.col("time").max()).row(0)
        if first is None:
            return tables.empty(CANDIDATE)
        found = self._outside({"lost": "contested", "given": "given"}[status], first, last)
        if found.height:
            keys = found.lazy().with_columns(key=key_hash(visit_hash()))
            found = keys.join(keyed, on="key", how="semi", maintain_order="left").drop("key").collect()
        return self._of_logs(found.with_columns(status=pl.lit(status)))

    def give(self, rows: pl.DataFrame, out: pl.DataFrame) -> None:
        """Keep in the ledger the visits of rows that others stand for."""
        gone = rows.join(out.unique(), on=ROW, how="semi").unique(ROW, keep="first", maintain_order=True)
        insert(self.connection, "main.given", tables.shaped(gone, ledger.GIVEN))

    def _of_logs(self, rows: pl.DataFrame) -> pl.DataFrame:
        return tables.shaped(
            rows.join(self.logs.select("log_id", "loaded", "kind", "last_visit"), on="log_id", how="left"), CANDIDATE
        )


def _among(rows: pl.DataFrame, some: pl.DataFrame | None) -> pl.Series:
    """Which rows are some of those (log_id, line, stage)."""
    if some is None or some.is_empty():
        return pl.Series("among", [False]).new_from_index(0, rows.height)
    told = some.select(ROW).unique().with_columns(among=pl.lit(True))
    return rows.select(ROW).join(told, on=ROW, how="left", maintain_order="left")["among"].fill_null(False)


def _given_up(rows: pl.DataFrame) -> pl.Series:
    """Rows that another stood for and whose words none that stands says now: they gave way to a newer or fuller one."""
    given = pl.col("status") == "given"
    said = (
        rows.filter(~given & ~pl.col("superseded")).select(*KEY, "text_hash").unique().with_columns(said=pl.lit(True))
    )
    joined = rows.join(said, on=[*KEY, "text_hash"], how="left", nulls_equal=True, maintain_order="left")
    return joined.select((given & pl.col("said").is_null()).alias("given_up")).to_series()


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
