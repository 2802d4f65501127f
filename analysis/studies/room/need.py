"""Who needs more than their tolerance: each stream's need in tolerances, the hungriest characteristic first.

The need of a stream is 1/Ppk: the share of its distance to the nearer limit that three long-term standard deviations
take. Under 1 it fits, at 2 it wants twice what it has; its interval is that of Ppk turned over. Where the mean lies on
or beyond a limit (Ppk of 0 or less) no tolerance round this target is wide enough: the need is null.
"""

from __future__ import annotations

from datetime import date

import polars as pl

from analysis.studies.room import capability
from analysis.studies.room.room import room
from analysis.studies.story.conformity import judged_where_read
from ingest.store.snapshot import Snapshot

ROW = ["characteristic", "position"]


def readings_reach(snapshot: Snapshot, *, when: str) -> tuple[date, date]:
    """The first and the last day with readings as built, as set or as shipped; there is at least one."""
    days = judged_where_read(snapshot, when)["day"]
    return days.min(), days.max()  # type: ignore[return-value]


def needs(snapshot: Snapshot, *, when: str, first: date | None = None, last: date | None = None) -> pl.DataFrame:
    """Rows of `room` with limits and a Ppk, of all days or of those from `first` to `last`, and beside each: need,
    need_low, need_high (tolerances; null: beyond any), more (not thin, the whole 95 % interval above 1, and not for a
    slip alone), off
    (from the middle or target, in the reading's unit), widest (share of the tolerance that the middle 99.7 % take),
    promise (False: thin, coarse, not steady or with a reading that may be mistyped).

    Sorted by rows (characteristic and position): most models that clearly need more, then the largest need first;
    within a row the largest need first. Thin ones come last and place no row before another. Empty without such rows.
    """
    rows = room(snapshot, when=when, first=first, last=last)
    if rows.is_empty():
        return rows
    rows = rows.filter(pl.col("ppk").is_not_null())
    flags = pl.col("flags")
    doubt = [
        flags.str.contains(word, literal=True)
        for word in (capability.THIN, capability.COARSE, capability.NOT_STEADY, capability.SLIPS)
    ]

    def turned(name: str) -> pl.Expr:
        return pl.when(pl.col(name) > 0).then(1 / pl.col(name))

    alone = pl.when(pl.col("ppk") > 0).then(pl.col("ppk_without") / pl.col("ppk")).fill_null(1.0)
    centre = pl.coalesce("target", (pl.col("lower") + pl.col("upper")) / 2)
    rows = rows.with_columns(
        need=turned("ppk"),
        need_low=turned("ppk_high"),
        need_high=turned("ppk_low"),
        more=(pl.col("ppk_high") * alone < 1).fill_null(False) & ~doubt[0],
        off=pl.col("mean") - centre,
        widest=(pl.col("high") - pl.col("low")) / (pl.col("upper") - pl.col("lower")),
        promise=~pl.any_horizontal(doubt),
    )
    size = pl.col("need").fill_null(float("inf"))
    clear = pl.col("more").cast(pl.Int64)
    return rows.sort(
        clear.sum().over(ROW),
        pl.when(~doubt[0]).then(size).max().over(ROW).fill_null(-1.0),
        "characteristic",
        "position",
        doubt[0],
        size,
        descending=[True, True, False, False, False, True],
    )
