"""Which instruments, and which parts without one, something befell since a story was kept: a visit, a reading or a
fault of theirs came, went or changed, or somebody said where a send-back was caused. Of all others the story stands as
it is kept.

A neck ties visits of a part to the instrument that took it, whichever visit named it first; so whoever named a neck of
those touched, then or now, is touched with them.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints
from ingest.store.snapshot import Kept, KeptTables

ROW = ("log_id", "line", "stage")
SAYING = ("serial", "stage", "taken_at", "word")  # of what was said of causes (of_visits.latest_words)


@dataclass(frozen=True)
class Touched:
    """What was touched."""

    visits: pl.DataFrame  # tables.VISITS of it, as they are on file now
    faults: pl.DataFrame  # tables.FAULTS of these
    instruments: Flags  # which rows of the kept table `instruments`
    parts: Flags  # which rows of the kept table `parts`
    starts: Ints  # where each instrument begins in the kept table `visits`, and where the last one ends


def touched(before: Kept, place: KeptTables, words: pl.DataFrame) -> Touched | None:
    """What was touched since a story was kept; None where that cannot be told.

    words : what was said of causes so far (SAYING).
    """
    moved = {name: place.moved(before, name) for name in ("visits", "readings", "faults")}
    visits = moved["visits"]
    rows = [each.select(*ROW) for each in moved.values() if each is not None]
    if visits is None or len(rows) < len(moved):
        return None
    keys = pl.concat(rows).unique()
    then = _Then(before)
    then.touch(keys)
    then.serials |= {name for name in visits["serial"] if name}
    said = before.frame("said").select(SAYING)
    for one, other in ((words, said), (said, words)):
        then.serials |= set(one.join(other, on=SAYING, how="anti", nulls_equal=True)["serial"])
    then.logs |= set(keys["log_id"])
    necks = {name for name in visits["neck"] if name}
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
    few = pl.concat([ours, of_neck, parts.filter(pl.col("neck") == "")])
    faults = place.rows_of("faults", few["log_id"].unique())
    return Touched(
        place.shown("visits", few),
        faults.join(few.select(*ROW), on=ROW, how="semi", maintain_order="left"),
        then.instruments,
        then.parts,
        then.starts,
    )


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
        self.logs |= set(self._before.column("visits", "log_id").gather(rows).unique().cast(pl.String))

    def touch_parts_of(self, necks: set[str]) -> None:
        """The parts that are told apart by their necks."""
        if len(self.parts):
            names = self._before.column("parts", "part")
            self.parts |= names.is_in([f"\n{neck}" for neck in necks]).to_numpy()

    def _rows(self, table: str, keys: pl.DataFrame) -> Ints:
        """Rows of a kept table of some visits."""
        logs = self._before.column(table, "log_id")
        wanted = keys.with_columns(pl.col("log_id", "stage").cast(pl.Categorical))
        near = np.flatnonzero(logs.is_in(wanted["log_id"].unique().implode()).to_numpy())
        told = pl.DataFrame([self._before.column(table, name).gather(near) for name in ROW])
        at = told.with_row_index("_at").join(wanted, on=list(ROW), how="semi")["_at"].to_numpy()
        return np.asarray(near[at], dtype=np.int64)
