"""Of which visits the logs tell how they ended, where a fault came from and how long they took."""

import numpy as np
import polars as pl

from analysis.methods.segments import Flags
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot


def outcome_read(snapshot: Snapshot) -> pl.Series:
    """Of each visit of the story: does its log have a column that says how it ended; Boolean, shape (n,).

    A log of which nothing is known about its columns is taken as one that has.
    """
    visits, columns = snapshot.once(story).visits, snapshot.coded("columns")
    read = np.ones(len(visits), dtype=bool)
    told = columns.filter(pl.col("field") == "outcome").select("log_id", at="stage").unique()
    whole = told.filter(pl.col("at") == "")["log_id"]
    asked = columns.filter(~pl.col("log_id").is_in(whole.implode()))["log_id"].unique()  # only some stages, or none
    some = np.flatnonzero(visits["log_id"].is_in(asked.implode()).fill_null(False).to_numpy())
    if len(some):
        rows = visits.at(some, "log_id", "stage").with_columns(row=pl.Series(some))
        here = rows.join(told, left_on=["log_id", "stage"], right_on=["log_id", "at"], how="semi")
        read[some] = False
        read[here["row"].to_numpy()] = True
    return pl.Series("outcome_read", read)


def outcomes_at(snapshot: Snapshot) -> pl.DataFrame:
    """Stages with a visit whose log tells its outcome: `stage`."""
    stages = snapshot.once(story).visits["stage"].filter(snapshot.once(outcome_read))
    return stages.unique().cast(pl.String).sort().to_frame()


def told_instruments(snapshot: Snapshot) -> Flags:
    """Of each instrument of the story: does somebody tell whether it came back? A visit's log tells its outcome, and
    that of every visit to final inspection, where most is caught; of others nobody knows.
    """
    told, read = snapshot.once(story), snapshot.once(outcome_read).to_numpy()
    if read.all():
        return np.ones(len(told.instruments), dtype=bool)
    size = told.instruments["visits"].to_numpy()
    starts, unread_final = np.cumsum(size) - size, ~read & (told.visits["role"] == "final").to_numpy()
    any_, lacking = (np.logical_or.reduceat(part, starts) for part in (read, unread_final))
    return np.asarray(any_ & ~lacking)


def causes_read(snapshot: Snapshot) -> bool:
    """Does any log have a column that says where a fault came from, or where work was sent back to, or say it with the
    outcome (`back: nut`)?
    """
    columns = snapshot.table("columns")
    if columns.is_empty() or bool(columns["field"].is_in(["cause", "sent_back_to"]).any()):
        return True
    return bool((snapshot.once(story).caused["caused_at"] != "unknown").any())


def minutes_known() -> pl.Expr:
    """Of each visit of the story: are its minutes typed, clocked or planned; a rest has none to know."""
    return (pl.col("minutes_from") != "planned") | (pl.col("minutes") > 0) | (pl.col("role") == "rest")
