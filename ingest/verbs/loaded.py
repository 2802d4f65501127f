"""What became of one file that was loaded: its account, its questions, what it is to other logs."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import polars as pl

from ingest.store import carried, ledger
from ingest.store.draft import Draft
from ingest.store.editions import Told
from ingest.terms import tables

ACCOUNT = ("rows_read", "accepted", "changed", "already_held", "set_aside", "cells_set_aside", "passed_over")


@dataclass(frozen=True)
class Loaded:
    """What became of one file.

    rows_read = accepted + changed + already_held + set_aside; cells_set_aside and passed_over stand outside it.
    """

    name: str
    log_id: str = ""
    outcome: str = "loaded"  # loaded | already loaded | refused
    problem: str = ""  # why it was refused, one line
    rows_read: int = 0
    accepted: int = 0
    changed: int = 0
    already_held: int = 0
    set_aside: int = 0
    cells_set_aside: int = 0
    passed_over: int = 0
    questions: pl.DataFrame = field(default_factory=lambda: tables.empty(tables.SET_ASIDE))
    notes: tuple[str, ...] = ()
    two_values: pl.DataFrame = field(
        default_factory=lambda: tables.empty(carried.NAMED)
    )  # of its instruments; nothing is set aside for it
    columns: pl.DataFrame = field(default_factory=lambda: tables.empty(tables.COLUMNS))  # what each was taken for
    told: Told = field(default_factory=Told)  # what it is to the logs on file: a newer edition, an older one


def loaded_of(draft: Draft, account: pl.DataFrame, notes: Sequence[str] = ()) -> Loaded:
    """The account of one log with its questions."""
    row = account.row(0, named=True)
    questions = ledger.held_rows(draft.connection, "set_aside", log_ids=[row["log_id"]])
    return Loaded(
        row["name"],
        row["log_id"],
        questions=questions,
        notes=(*draft.pushed.get(row["log_id"], ()), *notes),
        told=draft.told.get(row["log_id"], Told()),
        **{name: row[name] for name in ACCOUNT},
    )


def with_two_values(draft: Draft, files: Sequence[Loaded]) -> list[Loaded]:
    """What became of files, with the instruments of each of which all logs say two things where only one can hold."""
    found = draft.two_values()
    return [
        replace(file, two_values=found.filter((pl.col("log_id") == file.log_id) | (pl.col("other_log") == file.log_id)))
        for file in files
    ]
