"""Which models and weeks a table is about."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from analysis.methods.segments import Ints
from analysis.studies.story.story import Story, story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables


@dataclass(frozen=True)
class Scope:
    """Models and weeks asked for; nothing named = all. Hashable, so that an answer can be kept by it."""

    models: tuple[str, ...] = ()  # models or the setups they share
    families: tuple[str, ...] = ()
    first: date | None = None  # first day of the first week
    last: date | None = None  # first day of the last week

    def models_of(self, rows: pl.DataFrame) -> pl.DataFrame:
        """Rows of the models asked for."""
        if self.models:
            wanted = list(self.models)
            rows = rows.filter(pl.col("model").is_in(wanted) | pl.col("setup").is_in(wanted))
        return rows.filter(pl.col("family").is_in(list(self.families))) if self.families else rows

    def weeks_of(self, rows: pl.DataFrame, column: str) -> pl.DataFrame:
        """Rows whose week lies within the weeks asked for."""
        if self.first is not None:
            rows = rows.filter(pl.col(column) >= self.first)
        return rows.filter(pl.col(column) <= self.last) if self.last is not None else rows


ALL = Scope()


def judged(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """Instruments judged in the weeks asked for (story.Story.instruments)."""
    return scope.weeks_of(scope.models_of(snapshot.once(story).instruments.filter("judged")), "week")


def loops_caught(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """Loops of round 1 whose send-back was caught in the weeks asked for (story.Story.loops)."""
    return scope.weeks_of(scope.models_of(snapshot.once(story).loops.filter(pl.col("round") == 1)), "opened_week")


def events_caught(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """Send-backs, fixes and rejects of round 1 caught in the weeks asked for (story.Story.caused)."""
    return scope.weeks_of(scope.models_of(snapshot.once(story).caused.filter(pl.col("round") == 1)), "week")


def visits_judged(snapshot: Snapshot, instruments: pl.DataFrame, *columns: str) -> pl.DataFrame:
    """Round-1 visits of those judged instruments: serial, and the columns named."""
    told = snapshot.once(story)
    first = (told.visits["round"] == 1).to_numpy() & (place_in(told, instruments)[instrument_of(told)] >= 0)
    return told.visits.at(np.flatnonzero(first), *dict.fromkeys(("serial", *columns)))


def instrument_of(told: Story) -> Ints:
    """The row of `instruments` that each visit is of, shape (n,): both stand sorted by serial."""
    return np.repeat(np.arange(len(told.instruments), dtype=np.int64), told.instruments["visits"].to_numpy())


def place_in(told: Story, judged: pl.DataFrame) -> Ints:
    """Of each row of `instruments` its row among some judged ones, -1 of none."""
    found = np.full(len(told.instruments), -1, dtype=np.int64)
    found[instrument_of(told)[judged["judged_visit"].to_numpy()]] = np.arange(len(judged))
    return found


def first_passes(told: Story, judged: pl.DataFrame) -> tuple[Ints, Ints]:
    """The visits that are first passes of some judged instruments, and the row of each among these; shape (n,) each."""
    rows = np.flatnonzero(told.visits["first_pass"].to_numpy())
    of = place_in(told, judged)[instrument_of(told)[rows]]
    mine = of >= 0
    return rows[mine], of[mine]


def stage_of(snapshot: Snapshot) -> tuple[pl.Series, Ints]:
    """The stages of the story's visits, sorted as texts, and the place among them of each visit's, shape (n,)."""
    column = snapshot.once(story).visits["stage"]
    return column.unique().cast(pl.String).sort(), tables.rank(column)
