"""Where streams lay of late: one slip of the pen makes neither a level nor a spread."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.streams import streams
from analysis.studies.room import levels

STREAM = {"characteristic": "action", "position": "treble", "model": "LARK-25", "stage": "final_inspection"}


def test_readings_so_far_out_are_told_by_stream_and_gauge():
    steady = np.tile([0.08, 0.10, 0.12, 0.10], 10)
    values = np.concatenate([np.append(steady, 3.0), steady, np.full(12, 0.2), [0.2, 0.3]])
    stream = np.repeat([0, 1, 2], [41, 40, 14])
    fine = levels._far(values, stream, np.zeros(len(values)))
    assert np.flatnonzero(fine).tolist() == [
        40
    ]  # of the third the middle half is all alike: nothing says how far is far
    stepped = levels._far(values, stream, np.full(len(values), 0.02))
    assert np.flatnonzero(stepped).tolist() == [40]
    assert np.flatnonzero(levels._far(values, stream, np.full(len(values), 0.009))).tolist() == [40, 94]
    assert (levels._far(values * 25.4, stream, np.zeros(len(values))) == fine).all()


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
