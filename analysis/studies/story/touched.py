"""Which instruments, and which parts without one, something befell since a story was kept: a visit, a reading or a
fault of theirs came, went or changed, or somebody said where a send-back was caused. Of all others the story stands as
it is kept.

A neck ties visits of a part to the instrument that took it, whichever visit named it first; so whoever named a neck of
those touched, then or now, is touched with them. And on a day without clocks the rows of a log may say what came
first, where they run as work went (`unclocked.ways_of`): where what was touched makes them run another way, all that
stand in the log without a clock are touched.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints
from analysis.studies.story.time_order import linked
from analysis.studies.story.unclocked import WAY, ways_of
from ingest.store.snapshot import Kept, KeptTables, Snapshot
from ingest.terms import tables

ROW = ("log_id", "line", "stage")
SAYING = ("serial", "stage", "taken_at", "word")  # of what was said of causes (of_visits.latest_words)


@dataclass(frozen=True)
class Touched:
    """What was touched."""

    visits: pl.DataFrame  # tables.VISITS of it, as they are on file now
    faults: pl.DataFrame  # tables.FAULTS of these
    ways: pl.DataFrame  # which way the rows run of all logs in which they have, or had, a visit without a clock
    logs: list[str]  # these logs
    instruments: Flags  # which rows of the kept table `instruments`
    parts: Flags  # which rows of the kept table `parts`
    starts: Ints  # where each instrument begins in the kept table `visits`, and where the last one ends


def touched(before: Kept, place: KeptTables, words: pl.DataFrame, snapshot: Snapshot) -> Touched | None:
    """What was touched since a story was kept; None where that cannot be told.

    words : what was said of causes so far (SAYING).
    """
    moved = {name: place.moved(before, name) for name in ("visits", "readings", "faults")}
    visits = moved["visits"]
    rows = [each.select(*ROW) for each in moved.values() if each is not None]
    if visits is None or len(rows) < len(moved):
        return None
    then = _Then(before)
    then.serials |= {name for name in visits["serial"] if name}
    said = before.frame("said").select(SAYING)
    for these, those in ((words, said), (said, words)):
        then.serials |= set(these.join(those, on=SAYING, how="anti", nulls_equal=True)["serial"])
    keys, necks = pl.concat(rows).unique(), {name for name in visits["neck"] if name}
    while True:
        few = _followed(then, place, keys, necks)
        logs = then.without_clocks | set(few.filter(~pl.col("time_known"))["log_id"].unique())
        ways = (
            then.ways(logs, linked(_coded(few), snapshot.shop, snapshot.as_of))
            if logs
            else before.frame("ways").clear()
        )
        was = before.frame("ways").filter(pl.col("log_id").is_in(list(logs)))
        turned = pl.concat([was.join(ways, on=was.columns, how="anti"), ways.join(was, on=was.columns, how="anti")])
        more = then.standing_in(set(turned["log_id"]))
        if more.is_empty():
            break
        keys = pl.concat([keys, more]).unique()
    faults = place.rows_of("faults", few["log_id"].unique())
    return Touched(
        place.shown("visits", few),
        faults.join(few.select(*ROW), on=ROW, how="semi", maintain_order="left"),
        ways,
        sorted(logs),
        then.instruments,
        then.parts,
        then.starts,
    )


def _followed(then: "_Then", place: KeptTables, keys: pl.DataFrame, necks: set[str]) -> pl.DataFrame:
    """The visits as they are on file now of all whom some visits, and the necks they name, touch; `then` is told."""
    then.touch(keys)
    then.logs |= set(keys["log_id"])
    known: set[str] = set()
    while True:
        then.follow()
        now = place.rows_of("visits", then.logs)
        ours = now.filter(pl.col("serial").is_in(list(then.serials)) & (pl.col("serial") != ""))
        parts = now.filter(pl.col("serial") == "").join(keys, on=ROW, how="semi")
        necks |= {name for rows in (ours, parts) for name in rows["neck"].unique() if name}
        if necks <= known:
            break
        naming = place.rows_of("visits", necks - known, "neck")
        known |= necks
        then.serials |= {name for name in naming["serial"].unique() if name}
        then.logs |= set(naming["log_id"].unique())
        then.touch(naming.filter(pl.col("serial") == "").select(*ROW))
    then.touch_parts_of(known)
    of_neck = now.filter((pl.col("serial") == "") & (pl.col("neck") != "") & pl.col("neck").is_in(list(known)))
    return pl.concat([ours, of_neck, parts.filter(pl.col("neck") == "")])


def _coded(visits: pl.DataFrame) -> pl.DataFrame:
    """As a snapshot gives them."""
    texts = [name for name, dtype in visits.schema.items() if dtype == pl.String() and name not in ("serial", "neck")]
    return visits.with_columns(pl.col(texts).cast(pl.Categorical))


class _Then:
    """What is kept, and what of it is found to be touched."""

    def __init__(self, before: Kept) -> None:
        self._before = before
        self._names = before.column("instruments", "serial")
        self.starts = np.append(0, np.cumsum(before.column("instruments", "visits").to_numpy()))
        self.instruments = np.zeros(len(self._names), dtype=bool)
        self.parts = np.zeros(before.height("parts"), dtype=bool)
        self.serials: set[str] = set()
        self.logs: set[str] = set()

    def touch(self, keys: pl.DataFrame) -> None:
        """The instruments and parts of some visits."""
        rows = self._rows("visits", keys)
        mine = np.searchsorted(self.starts, rows, side="right") - 1
        self.serials |= set(self._names.gather(np.unique(mine)))
        if len(self.parts):
            names = self._before.column("parts", "part")
            self.parts |= names.is_in(names.gather(self._rows("parts", keys)).unique().implode()).to_numpy()

    def follow(self) -> None:
        """Serials as instruments, and the logs of all their visits."""
        self.instruments |= self._names.is_in(list(self.serials)).to_numpy()
        rows = np.flatnonzero(np.repeat(self.instruments, np.diff(self.starts)))
        self.logs |= self._logs("visits", rows)

    def touch_parts_of(self, necks: set[str]) -> None:
        """The parts that are told apart by their necks."""
        if len(self.parts):
            names = self._before.column("parts", "part")
            self.parts |= names.is_in([f"\n{neck}" for neck in necks]).to_numpy()

    @property
    def without_clocks(self) -> set[str]:
        """Logs in which those touched had a visit without a clock."""
        found: set[str] = set()
        for table, mine in (("visits", np.repeat(self.instruments, np.diff(self.starts))), ("parts", self.parts)):
            found |= self._logs(table, np.flatnonzero(mine & self._unclocked(table)))
        return found

    def ways(self, logs: set[str], few: pl.DataFrame) -> pl.DataFrame:
        """`unclocked.ways_of` of some logs as they are now: by those that stand, and what was touched."""
        every = [few.select("part", *WAY)]
        for table, mine in self._in(logs).items():
            rows, name = np.flatnonzero(mine), "serial" if table == "visits" else "part"
            every.append(self._some(table, (name, *WAY), rows).rename({name: "part"}))
        visits = pl.concat([each.with_columns(pl.col("part").cast(pl.String)) for each in every])
        visits = visits.with_columns(who=pl.Series(tables.rank(visits["part"])))
        return ways_of(visits).filter(pl.col("log_id").is_in(list(logs)))

    def standing_in(self, logs: set[str]) -> pl.DataFrame:
        """ROW of all visits of those that were not touched and have one without a clock in some logs."""
        found = [self._some(table, ROW, np.flatnonzero(mine)) for table, mine in self._in(logs).items()]
        return pl.concat(found).with_columns(pl.col("log_id", "stage").cast(pl.String))

    def _in(self, logs: set[str]) -> dict[str, Flags]:
        """By table which rows are of those that were not touched and have a visit without a clock in some logs."""
        here = {table: self._unclocked(table) & self._in_logs(table, logs) for table in ("visits", "parts")}
        some = np.zeros(len(self.instruments), dtype=bool)
        some[np.searchsorted(self.starts, np.flatnonzero(here["visits"]), side="right") - 1] = True
        names = self._before.column("parts", "part")
        parts = names.is_in(names.filter(pl.Series(here["parts"])).unique().implode()).to_numpy() & ~self.parts
        return {"visits": np.repeat(some & ~self.instruments, np.diff(self.starts)), "parts": parts}

    def _unclocked(self, table: str) -> Flags:
        return np.asarray(self._before.numbers(table, "time_known").numbers == 0)

    def _in_logs(self, table: str, logs: set[str]) -> Flags:
        """Which rows of a kept table stand in some logs."""
        return self._before.numbers(table, "log_id").say(logs)

    def _logs(self, table: str, rows: Ints) -> set[str]:
        """The logs of some rows of a kept table."""
        return set(self._some(table, ("log_id",), rows)["log_id"].unique().cast(pl.String))

    def _some(self, table: str, names: tuple[str, ...], rows: Ints) -> pl.DataFrame:
        """Some rows of a kept table."""
        asked = pl.Series(rows)
        return pl.DataFrame([self._before.column(table, name, asked) for name in names])

    def _rows(self, table: str, keys: pl.DataFrame) -> Ints:
        """Rows of a kept table of some visits."""
        near = np.flatnonzero(self._in_logs(table, set(keys["log_id"])))
        wanted = keys.with_columns(pl.col("log_id", "stage").cast(pl.Categorical))
        told = self._some(table, ROW, near)
        at = told.with_row_index("_at").join(wanted, on=list(ROW), how="semi")["_at"].to_numpy()
        return np.asarray(near[at], dtype=np.int64)
