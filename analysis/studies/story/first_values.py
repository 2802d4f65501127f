"""The value that a first pass is judged by: the found one, and where the characteristic is set what the visit left.
Of a sheet that only says what a stage left, that.

One rule for streams, for readings as set, and for what stands behind either.
"""

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints
from analysis.studies.story.columns import Columns

VISIT = ["part", "log_id", "line"]
KEY = ["characteristic", "position", "setup", "stage", *VISIT]
IN_VISIT = ["visit", "characteristic", "position"]  # tells of what has a visit (parts have none) as much as KEY
# columns that tell which they are
ASKED = (*KEY, "round", "first_pass", "value", "moment", "set_stage", "only_left", "visit")


def first_values(told: pl.DataFrame | Columns, named: str = "") -> tuple[Ints, Ints]:
    """Rows of the story's readings that first passes of round 1 are judged by, and those *received*: found in a visit
    that left a value at the stage where the characteristic is set.

    named : a column of texts in which they must say something besides.
    """
    found, left = _marked(told, named) if isinstance(told, Columns) else _marked_in(told, named)
    touched = np.zeros(len(told), dtype=bool)
    if left.any():
        table = told if isinstance(told, Columns) else Columns.of(told)
        visit = table.numbers("visit").numbers
        known = visit < np.iinfo(visit.dtype).max
        place = np.where(known, visit, int(visit.max(where=known, initial=0)) + 1)  # the last: no visit
        seen = np.zeros(int(place.max()) + 1, dtype=bool)  # visits in which anything was left
        seen[place[left]] = True
        here = np.flatnonzero(found & seen[place])
        at_set = table.at(here, "stage", "set_stage").select((pl.col("stage") == pl.col("set_stage")).fill_null(False))
        here = here[at_set.to_series().to_numpy()]
        for key, of in ((IN_VISIT, known), (KEY, ~known)):
            some, beside = here[of[here]], np.flatnonzero(left & of)
            if len(some):
                both = table.at(some, *key).with_row_index("_at").join(table.at(beside, *key), on=key, how="semi")
                touched[some[both["_at"].to_numpy()]] = True
    return np.flatnonzero((found & ~touched) | left), np.flatnonzero(touched)


AS_SET = (pl.col("stage") == pl.col("set_stage")) | pl.col("only_left")


def _marked_in(told: pl.DataFrame, named: str) -> tuple[Flags, Flags]:
    """Which readings of first passes of round 1 are found ones, and which were left where they are set (n,)."""
    first = (pl.col("round") == 1) & pl.col("first_pass") & pl.col("value").is_not_null()
    if named:
        first &= pl.col(named) != ""
    marks = told.select(
        found=first & (pl.col("moment") == "found"), left=first & (pl.col("moment") == "left") & AS_SET
    ).fill_null(False)
    return marks["found"].to_numpy(), marks["left"].to_numpy()


def _marked(told: Columns, named: str) -> tuple[Flags, Flags]:
    """The same of the story's own, by numbers."""
    first = (told.numbers("round").numbers == 1) & (told.numbers("first_pass").numbers == 1)
    value, moment = told["value"], told.numbers("moment")
    if value.null_count():
        first &= value.is_not_null().to_numpy()
    if named:
        first &= told.numbers(named).told()
    found, left = first & moment.say(["found"]), first & moment.say(["left"])
    rows = np.flatnonzero(left)
    if len(rows):
        left[rows] = (
            told.at(rows, "stage", "set_stage", "only_left").select(AS_SET.fill_null(False)).to_series().to_numpy()
        )
    return found, left
