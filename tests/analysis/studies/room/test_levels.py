"""Where streams lay of late: one slip of the pen makes neither a level nor a spread."""

from dataclasses import replace

import polars as pl
import pytest

from analysis.studies.drift.streams import streams
from analysis.studies.room import levels

STREAM = {"characteristic": "action", "position": "treble", "model": "LARK-25", "stage": "final_inspection"}


def test_a_slip_is_left_out_and_counted(moving_desk):
    snapshot = moving_desk.snapshot()
    plain = levels.level_rows(snapshot)
    assert plain["far"].sum() == 0
    held = snapshot.once(streams)
    of_all = held.rows.with_row_index("at").filter(tech="", **STREAM)["at"].item()
    slipped = held.values.copy()
    last = int(held.ends[of_all])
    slipped[last] *= 10
    told = levels._rows(replace(held, values=slipped), snapshot.as_of).filter(**STREAM).row(0, named=True)
    before = plain.filter(**STREAM).row(0, named=True)
    assert (told["far"], told["n"]) == (1, before["n"] - 1)
    assert told["sd"] == pytest.approx(before["sd"], rel=0.05)
    assert plain.drop("far").columns == [name for name in levels.LEVELS if name != "far"]
    assert plain.schema == pl.Schema(levels.LEVELS)
