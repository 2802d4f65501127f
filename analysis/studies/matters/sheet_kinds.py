"""Of which kind the sheet is that a reading came from: the [[log]] that reads it, and the unit that was typed.

A shop that goes over to other sheets, or to another program, often takes another gauge with it, another step or another
way of writing: what moves on the first day of the new kind may be no more than that.
"""

import polars as pl

from analysis.studies.matters.sheets_kept import sheets
from analysis.studies.story.story import story
from ingest.reading.which_log import log_for
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms.questions import FileProblem


def kinds(snapshot: Snapshot) -> pl.Series:
    """For each visit the `files` of the [[log]] that reads its sheet; '' where all are of one kind, where none is known
    or where its sheet stands for whoever keeps it (`sheets`); categories, shape (v,).
    """
    visits = snapshot.once(story).visits
    logs = snapshot.table("logs", "log_id", "name").unique("log_id", keep="first")
    of_log = {log: _files(name or "", snapshot.shop) for log, name in logs.iter_rows()}
    if len(set(of_log.values())) < 2:
        return pl.Series("kind", [""], dtype=pl.Categorical).new_from_index(0, len(visits))
    told = sorted(set(of_log.values()) - {""})
    place = {log: told.index(files) for log, files in of_log.items() if files}
    at = visits.numbers("log_id").by_word(place, len(told))  # the last: of none
    at[(snapshot.once(sheets) != "").to_numpy()] = len(told)
    return pl.Series("kind", [*told, ""], dtype=pl.Categorical).gather(at)


def _files(name: str, shop: Shop) -> str:
    try:
        return log_for(name, shop).files
    except FileProblem:
        return ""


def with_units(kind: pl.Series, unit: pl.Series) -> pl.Series:
    """The kind of each reading's sheet, with the unit where several were typed: `export_*.csv (thou)`; where all sheets
    are of one kind the unit alone: `typed in thou`.
    """
    typed = unit.cast(pl.String).fill_null("")
    if typed.filter(typed != "").n_unique() < 2:
        return kind
    named = pl.format("{} ({})", kind, typed)
    alone = pl.format("typed in {}", typed)
    return pl.select(kind=pl.when(typed == "").then(kind).when(kind == "").then(alone).otherwise(named)).to_series()
