"""Loops: from a send-back to the visit that closes it, which visits belong to it, and what they cost."""

from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import polars as pl

from analysis.methods.segments import Floats, Ints
from analysis.studies.story.columns import Columns
from analysis.studies.story.instruments import FROM_SIGHT, LOST, OF_INSTRUMENT
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

ENDS = ("reject", "second", "pulled")  # outcomes that end a story
HOUR = 3_600_000_000  # microseconds


@dataclass
class Walk:
    """What walking over the visits of instruments that were sent back found; visits by their row, loops by their
    number.
    """

    opened: list[int] = field(default_factory=list)  # visit that sent back
    closed: list[int] = field(default_factory=list)  # visit that closed it, -1 while open
    by: list[str] = field(default_factory=list)  # what closed it: 'stage' | an ending outcome | 'round' | 'lost' | ''
    parent: list[int] = field(default_factory=list)  # the loop it was opened in, -1 for none
    inside: list[tuple[int, int]] = field(default_factory=list)  # (visit, innermost loop open when it began)


def walked(visits: pl.DataFrame) -> Walk:
    """Walks instrument by instrument, round by round, in time order, over those that were sent back.

    visits : visit, who, round, last_round, bench_order, role, outcome in time order. A loop closes at the next visit at
    the stage that caught it, at any stage after that in bench order, or when the story ends; closing it closes every
    loop opened inside it. A repair stage stands outside the bench order and closes none. A loop still open when a new
    round begins closes with the last visit of its own round.
    """
    walk = Walk()
    back = visits.filter((pl.col("outcome") == "send back").any().over("who", "round")).select(
        "who",
        "round",
        "visit",
        "bench_order",
        (pl.col("role") == "repair").alias("repair"),
        ((pl.col("role") == "packing") & (pl.col("outcome") == "pass")).alias("packed"),
        "outcome",
        "last_round",
    )
    stack: list[tuple[int, int]] = []  # (loop, bench order that closes it; -1: none does), outermost first
    here, last = (-1, -1), (-1, -1)  # (who, round); (visit, is a later round known)
    for who, turn, visit, order, repair, packed, outcome, last_round in back.iter_rows():
        if (who, turn) != here:
            _end_of_round(walk, stack, last)
            here = (who, turn)
        if stack:
            walk.inside.append((visit, stack[-1][0]))
            if outcome in ENDS or packed:
                _close(walk, stack, 0, visit, outcome if outcome in ENDS else "stage")
            elif not repair:
                _close(
                    walk,
                    stack,
                    next((i for i, (_, caught) in enumerate(stack) if 0 <= caught <= order), len(stack)),
                    visit,
                    "stage",
                )
        if outcome == "send back":
            walk.parent.append(stack[-1][0] if stack else -1)
            stack.append((len(walk.opened), -1 if repair else order))
            walk.opened.append(visit)
            walk.closed.append(-1)
            walk.by.append("")
        last = (visit, int(turn < last_round))
    _end_of_round(walk, stack, last)
    return walk


def _close(walk: Walk, stack: list[tuple[int, int]], depth: int, visit: int, by: str) -> None:
    for loop, _ in stack[depth:]:
        walk.closed[loop], walk.by[loop] = visit, by
    del stack[depth:]


def _end_of_round(walk: Walk, stack: list[tuple[int, int]], last: tuple[int, int]) -> None:
    visit, another_round = last
    if another_round:
        _close(walk, stack, 0, visit, "round")
    stack.clear()


def at_moment(loops: pl.DataFrame, visits: pl.DataFrame | Columns, seen: pl.DataFrame, as_of: datetime) -> pl.DataFrame:
    """Loops with what hangs on the moment: those of an instrument not seen for 30 days end at its last visit, and the
    hours of others that nothing has closed.

    loops : serial, opened_at, closing_visit, closed_at, closed_by; visits : taken_at, by their row; seen : serial,
    last_visit and last_seen of each instrument.
    """
    still = loops["closed_by"].is_in(["", LOST])
    last = loops.select("serial").join(seen, on="serial", how="left", maintain_order="left")
    gone = last["last_seen"] < as_of - FROM_SIGHT
    ends = last.select(pl.when(gone).then("last_visit")).to_series()
    by = pl.when(gone.fill_null(False)).then(pl.lit(LOST)).otherwise(pl.lit(""))
    told = loops.with_columns(
        closing_visit=pl.when(still).then(ends).otherwise("closing_visit"),
        closed_at=pl.when(still).then(visits["taken_at"].gather(ends)).otherwise("closed_at"),
        closed_by=pl.when(still).then(by).otherwise("closed_by"),
    )
    elapsed = pl.coalesce("closed_at", pl.lit(as_of)) - pl.col("opened_at")
    return told.with_columns(
        open=pl.col("closing_visit").is_null(), hours=elapsed.dt.total_microseconds().clip(lower_bound=0) / HOUR
    )


def with_loops(visits: pl.DataFrame, snapshot: Snapshot) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Visits with `loop` and `loop_minutes`, and a row a send-back (see story.Story.loops).

    visits : in time order with caused_at, confirmed and fault. A visit's minutes are its loop's where it repeats a
    stage already visited in the round or is at a repair stage. Hours run from the finish of the visit that sent back to
    the finish of the one that closes, or to `as_of` while the loop is open; where one of them has no clock and the
    difference falls below nothing it counts as nothing. An open loop of an instrument not seen for 30 days ends at its
    last visit (closed_by 'lost').
    """
    asked = visits.select("visit", "who", "round", "bench_order", "role", "outcome")
    walk = walked(asked.with_columns(pl.col("round").max().over("who").alias("last_round")))
    member, loop = (np.array([pair[i] for pair in walk.inside], dtype=np.int64) for i in (0, 1))
    of_visit = np.full(len(visits), -1, dtype=np.int64)
    of_visit[member] = loop
    counts = (visits["pass_no"].to_numpy() > 1) | (visits["role"] == "repair").to_numpy()
    minutes = np.where((of_visit >= 0) & counts, visits["minutes"].to_numpy(), 0.0)
    marked = visits.with_columns(
        pl.Series("loop", of_visit).replace(-1, None), pl.Series("loop_minutes", minutes, dtype=pl.Float64)
    )
    return marked, tables.plain(_table(marked, walk, minutes[member], loop, snapshot))


def _table(visits: pl.DataFrame, walk: Walk, minutes: Floats, loop: Ints, snapshot: Snapshot) -> pl.DataFrame:
    opened, closed, parent = (np.array(rows, dtype=np.int64) for rows in (walk.opened, walk.closed, walk.parent))
    total = np.bincount(loop, weights=minutes, minlength=len(opened))[: len(opened)]
    times = visits["taken_at"]
    closing = pl.Series("closing_visit", closed).replace(-1, None)
    table = visits.select(
        "serial",
        *OF_INSTRUMENT,
        "visit",
        "round",
        pl.col("stage").alias("caught_at"),
        "sent_to",
        "caused_at",
        "confirmed",
        "fault",
        "tech",
        pl.col("taken_at").alias("opened_at"),
        pl.col("day").alias("opened_day"),
        pl.col("week").alias("opened_week"),
    )[opened].with_columns(
        closing,
        times.gather(closing).alias("closed_at"),
        pl.Series("closed_by", walk.by, dtype=pl.String),
        pl.lit(False).alias("open"),
        pl.Series("minutes", total, dtype=pl.Float64),
        pl.Series("parent", parent).replace(-1, None),
    )
    open_ones = visits.filter(pl.col("who").is_in(visits["who"].gather(opened[closed < 0]).unique().implode()))
    seen = open_ones.group_by("serial").agg(last_visit=pl.col("visit").last(), last_seen=pl.col("taken_at").max())
    return (
        at_moment(table, visits, seen, snapshot.as_of)
        .with_columns((pl.col("minutes") * (snapshot.shop.shop.labour_per_hour / 60)).alias("cost"))
        .with_row_index("loop")
        .with_columns(pl.col("loop").cast(pl.Int64))
    )
