"""In which sheet each visit stands, where a sheet may stand for somebody whom no row names.

A bench where each person keeps a file of their own says who did it by the file alone: what one of them does is then
what moves with that sheet. Files whose names differ in digits only (a week, a month, a year) are one sheet, and one
that stands for a time of its own, since no other tells of its days, is none: whatever began then would move with it.
"""

import re
from pathlib import PurePath

import polars as pl

from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot

MOST = 0.5  # of the visits, or of the days of a sheet
SHOWN = 8  # letters of the hash of its first log, by which Logs and `unload` know it


def sheets(snapshot: Snapshot) -> pl.Series:
    """For each visit its sheet, '' where it tells nothing beside the time or where rows say who it was; categories,
    shape (v,).
    """
    every = snapshot.once(story).visits
    none = pl.Series("sheet", [""], dtype=pl.Categorical).new_from_index(0, len(every))
    if not len(every) or every.numbers("tech").told().mean() >= MOST:
        return none
    logs = snapshot.table("logs", "log_id", "name").unique("log_id", keep="first").sort("log_id")
    stems = [_stem(name or "") for name in logs["name"]]
    first = {stem: log[:SHOWN] for log, stem in zip(reversed(logs["log_id"].to_list()), reversed(stems), strict=True)}
    of_log = dict(zip(logs["log_id"].to_list(), (first[stem] for stem in stems), strict=True))
    told = every.select(
        "day", sheet=pl.col("log_id").cast(pl.String).replace_strict(of_log, default="", return_dtype=pl.String)
    )
    days = told.unique().with_columns(shared=pl.len().over("day") > 1)
    beside = days.group_by("sheet").agg(pl.col("shared").mean()).filter(pl.col("shared") >= MOST)["sheet"].to_list()
    if len(beside) < 2:
        return none
    return told["sheet"].set(~told["sheet"].is_in(beside), "").cast(pl.Categorical)


def _stem(name: str) -> str:
    """The name of a file without what counts: `Sheet of bench 2026-05.csv` as `sheet of bench`."""
    return re.sub(r"[\W\d_]+", " ", PurePath(name).stem).strip().casefold()
