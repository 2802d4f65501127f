"""The row of `logs` of one log while the next version is made: how it begins, and how counts move in it."""

import polars as pl

from ingest.reading.sheet import Sheet
from ingest.store import editions, ledger
from ingest.store.merge import KEY
from ingest.store.onfile import Entry


def account_of(entry: Entry, sheet: Sheet, trials_held: int) -> pl.DataFrame:
    """The row of `logs` of a new log, before any of its visits has met another one."""
    rows = sheet.rows_read - sheet.rows_set_aside
    account = {
        "log_id": entry.log_id,
        "name": entry.name,
        "rows_read": sheet.rows_read,
        "accepted": rows - trials_held - sheet.rows_held,
        "changed": 0,
        "already_held": trials_held + sheet.rows_held,
        "set_aside": sheet.rows_set_aside,
        "cells_set_aside": sheet.cells_set_aside,
        "passed_over": sheet.passed_over,
        "loaded_at": entry.at,
        "sha256": entry.sha256,
        "kind": entry.kind,
        "loaded": entry.loaded,
        "visits": _different(sheet),
        "last_visit": sheet.marks["time"].max(),
        "covers": editions.as_text(sheet.covers),
    }
    return pl.DataFrame([account], schema=ledger.LOGS)


def _different(sheet: Sheet) -> int:
    """Of how many visits the rows tell."""
    keys = sheet.marks["key"]
    again = keys.is_duplicated()
    if not again.any():
        return sheet.height
    near = sheet.keyed(keys.filter(again).unique())
    return sheet.height - near.height + int(near.select(pl.struct(KEY).n_unique()).item())


def moved_by(account: pl.DataFrame, by: dict[str, int]) -> pl.DataFrame:
    """The row with some of its counts moved."""
    return account.with_columns(pl.col(name) + count for name, count in by.items())


def cells_asked(questions: pl.DataFrame) -> int:
    """How many questions are about single cells."""
    return questions.filter(pl.col("column") != "").height
