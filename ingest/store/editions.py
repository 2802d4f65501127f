"""Which log is a newer edition of which, and the days each covers: a relation of two files, whatever the order in
which they were loaded. Pure.

A log is a newer edition of another when it tells of at least half of its visits and its last visit is not earlier; of
two that end with the same visit the one loaded later is the newer. Within the days a newer edition covers the rows of
the older one count no longer, unless the newer one tells of the same visit in the same words.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import polars as pl

from ingest.reading.days import Span, within
from ingest.terms import tables

EDITION, OTHER = "an edition", "another log"  # what a person may say of two logs

EDITIONS: dict[str, pl.DataType] = {  # a row a pair of logs that share visits
    "older": pl.String(), "newer": pl.String(),  # log_id
    "shared": pl.Int64(), "of": pl.Int64(),  # visits of the older one that the newer one tells of, of so many
    "adds": pl.Int64(), "changes": pl.Int64(), "drops": pl.Int64(),  # visits; drops: in the days the newer one covers
    "holds": pl.Boolean(),  # is the newer one an edition of the older
    "asked": pl.Boolean(),  # of one name, and under half is shared: a question
}  # fmt: skip
CELLS: dict[str, pl.DataType] = {  # a row a cell that differs between two rows of one visit
    "serial": pl.String(), "stage": pl.String(), "time": tables.TIME, "line": pl.Int64(),
    "column": pl.String(), "before": pl.String(), "after": pl.String(),
}  # fmt: skip


@dataclass(frozen=True)
class Told:
    """What a log that has come is to those on file.

    pairs : EDITIONS with the log as `newer` or `older`, and `name`, `loaded_at` of the other.  cells : CELLS of the
    visits it changes.
    """

    pairs: pl.DataFrame = field(default_factory=lambda: tables.empty(EDITIONS))
    cells: pl.DataFrame = field(default_factory=lambda: tables.empty(CELLS))


def as_text(spans: Iterable[Span]) -> str:
    """Spans as the ledger keeps them."""
    return json.dumps([[low.isoformat(), high.isoformat()] for low, high in spans])


def of_text(text: str) -> list[Span]:
    """Spans from what the ledger keeps."""
    return [(datetime.fromisoformat(low), datetime.fromisoformat(high)) for low, high in json.loads(text or "[]")]


def inside(spans: Sequence[Span], covers: Sequence[Span]) -> bool:
    """Does each of the spans lie within those that others cover together."""
    whole = _joined(sorted(covers))
    return all(any(low <= first and last <= high for low, high in whole) for first, last in spans)


def superseded(rows: pl.DataFrame, pairs: pl.DataFrame, covers: Mapping[str, Sequence[Span]]) -> pl.Series:
    """Which rows (log_id, time) give way to a newer edition of their log; Boolean, shape (n,)."""
    mine = pairs.filter(pl.col("holds") & pl.col("older").is_in(rows["log_id"].unique().to_list()))
    gone = pl.Series("superseded", [False]).new_from_index(0, rows.height)
    for (older,), group in mine.group_by("older", maintain_order=True):
        spans = _joined(sorted({span for newer in group["newer"] for span in covers.get(str(newer), ())}))
        gone |= rows.select(((pl.col("log_id") == older) & within(spans)).fill_null(False)).to_series()
    return gone


def _joined(spans: Sequence[Span]) -> list[Span]:
    """Sorted spans with those that touch made one."""
    out: list[Span] = []
    for low, high in spans:
        if out and low <= out[-1][1]:
            out[-1] = (out[-1][0], max(high, out[-1][1]))
        else:
            out.append((low, high))
    return out
