"""Every instrument's story: passes, rounds, who set what, loops, causes, what is judged.

All studies begin here: `snapshot.once(story)`. It is worked out once per version of the store and kept beside it
(`kept`), for logs arrive late and out of order: the next version works out anew what they touched.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import polars as pl

from analysis.studies.story.columns import Columns
from analysis.studies.story.kept import told_of
from ingest.store.snapshot import Snapshot


@dataclass(frozen=True)
class Story:
    """The tables of every study. `visit` is the row of `visits`; times are UTC, days and weeks are those of the clock
    on the wall. Texts of `visits` and `readings` are categories but for serial, part and neck (`tables.plain` makes
    them texts again, where they are joined with a table of texts); those of the other tables are texts.
    """

    visits: Columns
    """A row a visit of an instrument, sorted by serial as text and time order: the columns of tables.VISITS, carried
    ones (model, supplier, lot, neck, job, string_set, grade, hand) filled for all the serial's visits, and

    visit Int64 · taken_at · day, week Date · bench_order Int64 · role, family, setup · round Int32 · pass_no Int32
    (at this stage in this round) · first_pass Bool (the first pass of round 1) · outcome settled, outcome_typed as
    typed · minutes, minutes_from worked out · sent_to (sent_back_to where it is a stage, supplier or handling) ·
    caused_at, confirmed, fault (the first; '' none; of visits that ask for a cause, else '', False) · loop Int64 or
    null (innermost loop open when it began) · loop_minutes (its minutes where they are the loop's, else 0).
    """

    readings: Columns
    """A row a reading, sorted by characteristic, position, setup, stage, then time order (taken_at, serial, line):
    the columns of tables.READINGS, and visit (null: a part without an instrument) · part (the serial, else the neck
    or the line: one text a part) · model, setup, family, supplier, lot, neck · round, pass_no, first_pass, role,
    outcome · tech (who took it) · set_stage (where it is set on this family, '' nowhere) · set_by ('' unknown) ·
    set_on Date (the day it was set where the setter is known, else the day it was read: the date for specs.csv) ·
    day. Of parts without a serial, serial is '' unless a visit named their neck.
    """

    rest: Mapping[str, Columns]
    """The tables below, each read when it is asked for; and `marks`, a row a reading: a number for all that it says
    (marks.marks)."""

    @cached_property
    def faults(self) -> pl.DataFrame:
        """A row a fault: tables.FAULTS, and visit, model, setup, family, supplier, lot, round, outcome, caused_at,
        confirmed, day, week, taken_at.
        """
        return self.rest["faults"].whole()

    @cached_property
    def instruments(self) -> pl.DataFrame:
        """A row an instrument: see instruments.instruments_of."""
        return self.rest["instruments"].whole()

    @cached_property
    def loops(self) -> pl.DataFrame:
        """A row a send-back: loop (its row) · serial, model, setup, family, supplier, lot · visit, round · caught_at,
        sent_to, caused_at (a stage, supplier, handling or unknown), confirmed Bool · fault (the first, '' none) · tech
        (who sent it back) · charged, charged_visit (see `caused`) · opened_at, opened_day, opened_week · closing_visit,
        closed_at (null while open) · closed_by ('stage', an ending outcome, 'round', 'lost', '') · open Bool · minutes,
        hours, cost (so far while open) · parent (the loop it was opened in, or null).
        """
        return self.rest["loops"].whole()

    @cached_property
    def caused(self) -> pl.DataFrame:
        """A row a send-back, fix or reject: visit, serial, model, setup, family, supplier, lot, round, kind (the
        outcome), caught_at, caused_at, confirmed, fault, taken_at, day, week, tech (who found it), charged_visit (the
        last visit at the stage that caused it before it, or null), charged (its tech; '' where nobody, or two names,
        stand there).
        """
        return self.rest["caused"].whole()

    @cached_property
    def days(self) -> pl.DataFrame:
        """A row a day: day, week (its first day) · visited, read Bool (has a visit, a reading), by day."""
        return self.rest["days"].whole()


def story(snapshot: Snapshot) -> Story:
    """The story of all instruments of a snapshot up to its `as_of`; ask for it with `snapshot.once(story)`."""
    told = told_of(snapshot)
    return Story(told["visits"], told["readings"], told)
