"""The story carried on from the version before: what stands of it as it is kept, and between it what was worked out
anew of instruments and parts that were touched (touched.touched).

Rows stand in the order of the whole story. What stands keeps its order among itself, for what orders it is its own; so
it is enough to find how many of the rows that stand each new one has before it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, partial

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints
from analysis.studies.story.instruments import standing_at
from analysis.studies.story.of_visits import OfVisits
from analysis.studies.story.touched import Touched
from analysis.studies.story.unclocked import WAY
from analysis.studies.story.walks import at_moment
from ingest.store.snapshot import Carried, Column, Given, Kept, Laid, Runs

MOST = 0.5  # of all visits: where more were touched, all is worked out anew
# columns that say the row of a visit
OF_VISIT = ("visit", "last_visit", "first_final_visit", "last_final_visit", "judged_visit", "closing_visit",
            "charged_visit")  # fmt: skip
OF_LOOP = ("loop", "parent")  # and of a loop
OWN = (("visits", "visit"), ("loops", "loop"))  # table and column: of the row itself
SEEN = ("serial", "last_visit", "last_seen", "last_outcome", "standing")  # of instruments, for what hangs on the moment
ENDED = ("serial", "opened_at", "closing_visit", "closed_at", "closed_by")  # of loops


@dataclass(frozen=True, eq=False)
class Merge:
    """Where the rows of a kept table that stand, and fresh ones, stand now."""

    laid: Laid
    stands: Flags  # which kept rows
    behind: Ints  # of each fresh row how many kept ones stand before it

    @classmethod
    def of(cls, before: Kept, table: str, stands: Flags, behind: Ints) -> "Merge":
        """The rows of a kept table that stand and fresh ones, which come in their order."""
        return cls(Laid(before, table, Runs.merged(stands, behind)), stands, behind)

    @cached_property
    def of_fresh(self) -> Ints:
        """Of each fresh row its row now; behind all -1, of nothing."""
        return np.append(self.behind + np.arange(len(self.behind)), -1)

    @cached_property
    def of_kept(self) -> Ints:
        """The same of each kept row; -1 where it does not stand."""
        n, runs = len(self.stands), self.laid.runs
        now = np.full(n + len(self.behind) + 1, -1, dtype=np.int64)
        now[runs.rows] = np.arange(len(runs))
        return np.append(now[:n], -1)

    def columns(self, fresh: pl.DataFrame) -> dict[str, Column]:
        """All columns of the table, as they are kept and fresh."""
        return {name: self.laid.column(name, fresh[name]) for name in fresh.columns}

    def told(self, name: str, fresh: pl.Series) -> pl.Series:
        """One of them, in memory."""
        return self.laid.column(name, fresh).column()

    def renumbered(self, name: str, fresh: pl.Series, by: "Merge") -> pl.Series:
        """A column that says the row of a visit or loop, by what rows they have now."""
        old = self.laid.before.numbers(self.laid.table, name).whole()
        both = self.laid.runs.laid(by.of_kept[old], by.of_fresh[ints(fresh)])
        return pl.Series(name, both).set(pl.Series(both < 0), None)


@dataclass(frozen=True, eq=False)
class Merged:
    """The tables that no reading goes into, carried on."""

    given: Given
    visits: Merge
    starts: Ints  # where each instrument begins in `visits` now


def merged(before: Kept, few: OfVisits, touched: Touched, as_of: datetime) -> Merged:
    """Visits, faults, instruments, loops, causes and parts. few : those of what was touched."""
    names, stands = before.column("instruments", "serial"), ~touched.instruments
    counts = np.diff(touched.starts)
    place = names.search_sorted(few.instruments["serial"], "left").to_numpy()
    instruments = Merge.of(before, "instruments", stands, _before(stands)[place])
    own = few.instruments["visits"].to_numpy()
    behind = np.repeat(_before(stands * counts)[place], own)
    visits = Merge.of(before, "visits", np.repeat(stands, counts), behind)
    by_visit = {}
    for table, own_rows in (("loops", few.loops), ("caused", few.caused), ("faults", few.faults)):
        now = visits.of_kept[before.numbers(table, "visit").whole()]
        ours = visits.of_fresh[ints(own_rows["visit"])]
        by_visit[table] = Merge.of(before, table, now >= 0, np.searchsorted(now[now >= 0], ours))
    parts = parts_of(few)
    apart = before.column("parts", "part").search_sorted(parts["part"], "left").to_numpy()
    merges = {"visits": visits, "instruments": instruments} | by_visit
    merges["parts"] = Merge.of(before, "parts", ~touched.parts, _before(~touched.parts)[apart])
    told: dict[str, dict[str, Column]] = {}
    rows = {table: parts if table == "parts" else getattr(few, table) for table in merges}
    for table, merge in merges.items():
        told[table] = dict(merge.columns(rows[table]))
        for name in rows[table].columns:
            by = visits if name in OF_VISIT else by_visit["loops"]
            if (table, name) in OWN:
                told[table][name] = pl.Series(name, np.arange(len(merge.laid.runs)))
            elif name in OF_VISIT or name in OF_LOOP:
                told[table][name] = merge.renumbered(name, rows[table][name], by)
    _at_moment(told, as_of)
    sizes = instruments.laid.runs.laid(counts, own)
    given = {table: columns_of(columns) for table, columns in told.items()}
    return Merged(given, visits, np.append(0, np.cumsum(sizes)))


def columns_of(rows: pl.DataFrame | Mapping[str, Column]) -> dict[str, Callable[[], Column]]:
    """The columns of a table, as they are asked for where they are to be kept."""
    held = rows.to_dict() if isinstance(rows, pl.DataFrame) else rows
    return {name: partial(_itself, column) for name, column in held.items()}


def parts_of(made: OfVisits) -> pl.DataFrame:
    """Visits of parts without an instrument, to be told apart and put in order by."""
    return made.told.filter(~pl.Series(made.own)).select("part", "stage", *WAY)


def ints(column: pl.Series) -> Ints:
    """Rows that a column names; -1 for none."""
    return np.asarray(column.fill_null(-1).to_numpy(), dtype=np.int64)


def _at_moment(told: dict[str, dict[str, Column]], as_of: datetime) -> None:
    """What hangs on the moment, of all."""

    def column(table: str, name: str) -> pl.Series:
        one = told[table][name]
        return one.column() if isinstance(one, Carried) else one

    now = pl.DataFrame([column("instruments", name) for name in SEEN])
    standing = standing_at(now, as_of)
    told["instruments"] |= {name: standing[name] for name in ("standing", "on_hold")}
    loops = pl.DataFrame([column("loops", name) for name in ENDED])
    ended = at_moment(loops, column("visits", "taken_at").to_frame(), now, as_of)
    told["loops"] |= {name: ended[name] for name in ("closing_visit", "closed_at", "closed_by", "open", "hours")}


def _before(counts: np.ndarray) -> Ints:
    """Of each row, and behind the last, the sum of all before it."""
    return np.append(0, np.cumsum(counts)).astype(np.int64)


def _itself(column: Column) -> Column:
    return column
