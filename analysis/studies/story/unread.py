"""What was not read: characteristics, outcomes, causes, limits, minutes and stages that no log tells of, so that
nothing that needs them is shown as good.
"""

from datetime import timedelta

import numpy as np
import polars as pl

from analysis.studies.story.bench_clocks import clocks_off
from analysis.studies.story.outcomes import causes_read, minutes_known, outcome_read
from analysis.studies.story.plans import contradicted, not_believed
from analysis.studies.story.scope import instrument_of
from analysis.studies.story.story import Story, story
from analysis.studies.story.unlisted import unlisted
from analysis.studies.story.waiting import waiting
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

(
    ROWS,
    SERIALS,
    OFF,
    CHARACTERISTIC,
    OUTCOMES,
    LATER,
    CAUSES,
    LIMITS,
    JUDGED,
    LAST,
    MINUTES,
    CLOCKS,
    PLANNED,
    REPAIRS,
    PEOPLE,
    STAGE,
    COLUMN,
) = (
    "rows",  # set aside whole, of the newest logs
    "serials",  # that come again long after their instrument had passed
    "clock of a bench",  # that is off
    "characteristic",
    "outcomes",
    "outcomes told later",  # of a stage at which a row has no result, but at a later one
    "causes",
    "limits",
    "judged",
    "last",  # no reading at the end, in sheets whose rows say at which bench each was taken
    "minutes",
    "clocks",  # that ran backwards or on by themselves
    "planned minutes",  # which the stage's own clocks contradict
    "repairs",  # of a bench to which instruments come only when they are sent back: no role says so
    "people",  # whom shop.toml does not list
    "stage",
    "column",
)
SOME = 0.05  # of the cells of a characteristic, or of a stage's visits without minutes: so many are said
MOSTLY = 0.8  # of the rows that wait: one reason is told for them
LEAST = 10  # cells of numbers in a column that nobody has mapped: fewer are no lost measurement
NUMBERS = 0.5  # of its cells: the column holds measurements
NEWEST = timedelta(days=13)  # before the last week's first day: logs with a visit since are the newest
AGAIN, LEFT = 0.2, timedelta(days=7)  # of all instruments, and so long after a pass: numbers are used again
PERSON = 30  # visits of a name that no list knows from which on it is no slip of another
ONLY = 0.95  # of the instruments at a bench came to it in a loop: its work is done where it is asked for
UNREAD: dict[str, pl.DataType] = {
    "what": pl.String(),  # one of the words above
    # characteristic, stage or heading; of rows why most of them wait; of a bench's clock its stage, then since and
    # until when; '' for all of them
    "key": pl.String(),
    # cells not read; of causes, outcomes and minutes visits; of limits, judged and last readings; of a bench's clock
    # instruments whose order it breaks; of clocks visits whose clock is not believed; of planned minutes visits with a
    # clock; of repairs instruments that came only when sent back; of people visits; of serials comings of a number
    "cells": pl.Int64(),
    "of": pl.Int64(),  # of so many; of planned minutes the minutes that half of the visits take at most
    # in so many logs; of people so many names; of a bench's clock minutes ahead; of planned minutes those planned
    "logs": pl.Int64(),
}


def unread(snapshot: Snapshot) -> pl.DataFrame:
    """UNREAD: what was not read, rows that wait, serials that come again and outcomes first, then causes,
    characteristics, limits and where none is held against them, minutes, repairs, people, stages, columns. Nothing
    before any log is loaded: that is what is to be said then.
    """
    told = snapshot.once(story)
    if told.visits.is_empty() and snapshot.table("logs").is_empty():
        return pl.DataFrame(schema=UNREAD)
    parts: list[list[tuple[object, ...]]] = [
        _rows(snapshot, told),
        _serials(told),
        [(OFF, off.words, off.instruments, off.of, round(off.minutes)) for off in snapshot.once(clocks_off)],
        _outcomes(snapshot, told),
        _causes(snapshot, told),
        _characteristics(snapshot, told),
        _limits(snapshot, told),
        _judged(snapshot, told),
        _minutes(snapshot, told),
        [(CLOCKS, "", *counts) for counts in not_believed(told)],
        [(PLANNED, *row) for row in contradicted(told, snapshot.shop)],
        _repairs(snapshot, told),
        _people(snapshot, told),
        _stages(snapshot, told),
        _columns(snapshot),
    ]
    return pl.concat([pl.DataFrame(part, schema=UNREAD, orient="row") for part in parts])


def _rows(snapshot: Snapshot, told: Story) -> list[tuple[object, ...]]:
    """Rows that wait for an answer, where they are many of those of the newest logs, or all of a log."""
    held = snapshot.once(waiting).filter(pl.col("column") == "")
    if held.height < LEAST:
        return []
    logs = snapshot.table("logs").select("log_id", "rows_read", kept=pl.col("rows_read") - pl.col("set_aside"))
    seen = told.visits.select("log_id", "week")
    late = seen.filter(pl.col("week") >= pl.col("week").max() - NEWEST)["log_id"].unique().cast(pl.String)
    newest = logs.filter(pl.col("log_id").is_in(late.implode()) | (pl.col("kept") <= 0))
    mine = held.join(newest, on="log_id", how="semi")
    of = int(newest["rows_read"].sum())
    if mine.height < LEAST or mine.height < SOME * of:
        return []
    reason, most = mine["reason"].value_counts(sort=True).row(0)
    why = reason if most >= MOSTLY * mine.height else ""
    return [(ROWS, why, mine.height, of, mine["log_id"].n_unique())]


def _serials(told: Story) -> list[tuple[object, ...]]:
    """Numbers that come again, a week or more after their instrument had passed, with no send-back and no return: what
    comes then is read as a repeat, and no figure has it.
    """
    again = (pl.col("pass_no") > 1) | (pl.col("round") > 1)
    repeats = told.visits.select(again & pl.col("loop").is_null()).to_series().to_numpy()
    if repeats.sum() < LEAST:
        return []
    at = instrument_of(told)
    theirs = np.zeros(len(told.instruments), dtype=bool)
    theirs[at[repeats]] = True
    own = told.visits.at(
        np.flatnonzero(theirs[at]), "serial", "taken_at", "outcome", "pass_no", "round", "loop", "log_id"
    )
    gap = pl.col("taken_at") - pl.col("taken_at").shift(1).over("serial")
    passed = pl.col("outcome").shift(1).over("serial").cast(pl.String).is_in(["pass", "fixed", "reject", "second"])
    back = pl.col("loop").is_not_null() | (pl.col("outcome").cast(pl.String) == "return")
    came = own.filter((gap >= LEFT) & passed & again & ~back & (pl.col("serial").cast(pl.String) != ""))
    of = told.instruments.height + came.height
    if came.height < LEAST or came.height < AGAIN * of:
        return []
    return [(SERIALS, "", came.height, of, came["log_id"].n_unique())]


def _outcomes(snapshot: Snapshot, told: Story) -> list[tuple[object, ...]]:
    read = snapshot.once(outcome_read)
    if read.is_empty() or read.all():
        return []
    missing = told.visits.select("log_id").filter(~read)
    if not read.any():
        return [(OUTCOMES, "", missing.height, read.len(), missing["log_id"].n_unique())]
    order = snapshot.shop.bench_order
    counted = (
        told.visits.select("stage", "log_id")
        .with_columns(read)
        .group_by("stage")
        .agg(
            cells=(~pl.col("outcome_read")).sum(),
            of=pl.len(),
            logs=pl.col("log_id").filter(~pl.col("outcome_read")).n_unique(),
        )
    )
    rows = counted.filter(pl.col("cells") > 0).sort(
        pl.col("stage").replace_strict(order, default=99, return_dtype=pl.Int64)
    )
    later = _told_later(snapshot, told.visits.select("stage", "log_id").filter(~read).unique())
    return [
        (LATER if row[0] in later else OUTCOMES, *row)
        for row in rows.select("stage", "cells", "of", "logs").iter_rows()
    ]


def _told_later(snapshot: Snapshot, untold: pl.DataFrame) -> set[str]:
    """Stages (of `untold`: stage, log_id) all whose logs have a result at a later stage along the bench: a row of a
    whole instrument has no more to tell.
    """
    order = snapshot.shop.bench_order
    columns = snapshot.table("columns").filter((pl.col("field") == "outcome") & (pl.col("stage") != ""))
    last: dict[str, int] = {}
    for log_id, stage in columns.select("log_id", "stage").iter_rows():
        last[log_id] = max(last.get(log_id, -1), order.get(stage, -1))
    by: dict[str, bool] = {}
    for stage, log_id in untold.select(pl.col("stage", "log_id").cast(pl.String)).iter_rows():
        by[stage] = by.get(stage, True) and order.get(stage, 99) < last.get(log_id, -1)
    return {stage for stage, all_ in by.items() if all_}


def _causes(snapshot: Snapshot, told: Story) -> list[tuple[object, ...]]:
    if causes_read(snapshot) or told.caused.is_empty() or not snapshot.once(outcome_read).any():
        return []
    return [(CAUSES, "", told.caused.height, told.caused.height, snapshot.table("logs").height)]


def _characteristics(snapshot: Snapshot, told: Story) -> list[tuple[object, ...]]:
    columns = snapshot.table("columns").filter(pl.col("field") == "reading")
    counted = columns.group_by("characteristic").agg(
        pl.col("aside", "filled").sum(), logs=pl.col("log_id").filter(pl.col("aside") > 0).n_unique()
    )
    cells = {row[0]: row[1:] for row in counted.iter_rows()}
    read = told.readings.numbers("characteristic").said()
    rows: list[tuple[object, ...]] = []
    for one in snapshot.shop.characteristics:
        aside, filled, logs = cells.get(one.key, (0, 0, 0))
        if one.key not in read or (filled and aside >= SOME * filled):
            rows.append((CHARACTERISTIC, one.key, aside, filled, logs))
    return rows


def _limits(snapshot: Snapshot, told: Story) -> list[tuple[object, ...]]:
    limited = snapshot.specs.rows.filter(pl.col("lower").is_not_null() | pl.col("upper").is_not_null())
    held = set(limited["characteristic"])
    without = [one.key for one in snapshot.shop.characteristics if one.key not in held]
    if not without:
        return []
    rows = np.flatnonzero(told.readings.numbers("characteristic").say(without))
    asked = told.readings.at(rows, "characteristic", "value")
    n = dict(asked.filter(pl.col("value").is_not_null()).group_by("characteristic").len().iter_rows())
    return [(LIMITS, key, n[key], n[key], 0) for key in without if key in n]


def _judged(snapshot: Snapshot, told: Story) -> list[tuple[object, ...]]:
    """The benches where readings stand, a row each, if none stands at a final inspection or a play test: nothing is
    judged. Where no sheet has a row for a whole instrument they were taken where they stand.
    """
    at_end = told.readings.numbers("role").say(["final", "test"])
    if at_end.any() and told.readings.at(np.flatnonzero(at_end)[:1], "stage")["stage"][0] != "":
        return []  # of most shops
    counts = told.readings.select("stage", "role").group_by("stage", "role").len()
    rows = tables.plain(counts).filter(pl.col("stage") != "")
    if rows["role"].is_in(["final", "test"]).any():
        return []
    rows = rows.filter(pl.col("role") == "bench").sort(
        pl.col("stage").replace_strict(snapshot.shop.bench_order, default=99, return_dtype=pl.Int64)
    )
    what = JUDGED if any(log.shape == "instrument" for log in snapshot.shop.logs) else LAST
    return [(what, stage, n, n, 0) for stage, n in rows.select("stage", "len").iter_rows()]


def _minutes(snapshot: Snapshot, told: Story) -> list[tuple[object, ...]]:
    known = minutes_known()
    if not told.visits.select((~known).any()).item():
        return []
    counted = told.visits.group_by("stage").agg(cells=(~known).sum(), of=pl.len(), logs=pl.col("log_id").n_unique())
    order = snapshot.shop.bench_order
    rows = counted.filter(pl.col("cells") > 0, pl.col("cells") >= SOME * pl.col("of")).sort(
        pl.col("stage").replace_strict(order, default=99, return_dtype=pl.Int64)
    )
    return [(MINUTES, *row) for row in rows.select("stage", "cells", "of", "logs").iter_rows()]


def _repairs(snapshot: Snapshot, told: Story) -> list[tuple[object, ...]]:
    """Benches that nearly every instrument reached in a loop only: without the role of a repair the first work there
    counts as nobody's rework.
    """
    if told.loops.is_empty():
        return []
    here = told.visits.select((pl.col("role") == "bench") & (pl.col("pass_no") == 1)).to_series()
    first = told.visits.select("stage", looped=pl.col("loop").is_not_null()).filter(here)
    counted = first.group_by("stage").agg(cells=pl.col("looped").sum(), of=pl.len())
    rows = counted.filter(pl.col("cells") >= LEAST, pl.col("cells") >= ONLY * pl.col("of")).sort("stage")
    stage = told.visits["stage"]
    return [
        (REPAIRS, key, cells, of, told.visits["log_id"].filter(here & (stage == key)).n_unique())
        for key, cells, of in tables.plain(rows).iter_rows()  # a few benches
    ]


def _people(snapshot: Snapshot, told: Story) -> list[tuple[object, ...]]:
    rows = snapshot.once(unlisted).filter(pl.col("visits") >= PERSON)
    return [(PEOPLE, "", int(rows["visits"].sum()), len(told.visits), len(rows))] if len(rows) else []


def _stages(snapshot: Snapshot, told: Story) -> list[tuple[object, ...]]:
    if told.visits.is_empty():
        return []
    seen = set(told.visits["stage"].unique())
    logs = snapshot.shop.logs
    whole = bool(logs) and all(log.stage or log.shape == "instrument" for log in logs)  # each sheet says of which
    told_of = {log.stage for log in logs} | _in_headings(snapshot)
    return [
        (STAGE, stage.key, 0, 0, 0)
        for stage in snapshot.shop.stages
        if stage.key not in seen
        and stage.role not in ("repair", "rest", "receiving")
        and (stage.key in told_of or not whole)
    ]


def _in_headings(snapshot: Snapshot) -> set[str]:
    """The stages that a column of some log on file is of."""
    return set(snapshot.table("columns", "stage")["stage"].unique())


def _columns(snapshot: Snapshot) -> list[tuple[object, ...]]:
    columns = snapshot.table("columns").filter(pl.col("field") == "other")
    counted = columns.group_by("heading", maintain_order=True).agg(
        pl.col("filled", "numbers").sum(), logs=pl.col("log_id").n_unique()
    )
    rows = counted.filter((pl.col("filled") >= LEAST) & (pl.col("numbers") >= NUMBERS * pl.col("filled")))
    rows = rows.sort("filled", "heading", descending=[True, False])
    return [(COLUMN, heading, filled, filled, logs) for heading, filled, _, logs in rows.iter_rows()]
