"""What a newer edition of a log changes, cell by cell: both originals read anew and held against each other."""

from pathlib import Path

import polars as pl

from ingest.reading.reader import read_log
from ingest.reading.words import with_words
from ingest.store import editions
from ingest.store.differences import differing
from ingest.store.merge import KEY
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from ingest.verbs.from_originals import READING_IN
from ingest.verbs.original_rows import original
from ingest.verbs.unlisted import explained


def changed_cells(snapshot: Snapshot, *, folder: Path, newer: str, older: str) -> pl.DataFrame:
    """editions.CELLS of the visits that two logs tell of in different words; empty where one cannot be read any more.

    newer, older : log_id.
    """
    shop = with_words(snapshot.shop, explained(snapshot))
    names = dict(snapshot.table("logs", "log_id", "name").iter_rows())
    if newer not in names or older not in names:
        return tables.empty(editions.CELLS)
    sheets = {}
    for log_id in (newer, older):
        data = original(folder, log_id)
        if data is None:
            return tables.empty(editions.CELLS)
        sheets[log_id] = read_log(data, names[log_id], shop, on_disk=folder / READING_IN)
    keyed = {
        log_id: sheet.keyed().select("log_id", "line", *KEY, "text_hash").unique(KEY, keep="first")
        for log_id, sheet in sheets.items()
    }
    pairs = keyed[newer].join(keyed[older], on=list(KEY), nulls_equal=True, suffix="_before")
    pairs = pairs.filter(pl.col("text_hash") != pl.col("text_hash_before"))
    if pairs.is_empty():
        return tables.empty(editions.CELLS)
    return differing(pairs, sheets[older].rows_of(pairs["line_before"]), sheets[newer].rows_of(pairs["line"]))
