"""What came back by stage and model is what the stages' yields are made of."""

import polars as pl

from analysis.studies.rework.mix import mix_rows
from analysis.studies.rework.yields import stage_yields


def test_models_of_a_stage_add_up_to_its_yield(reworked_desk):
    snapshot = reworked_desk.snapshot()
    rows = snapshot.once(mix_rows)
    assert rows["came_back"].sum() > 0
    sums = rows.group_by("stage").agg(pl.col("instruments", "came_back").sum()).sort("stage")
    whole = stage_yields(snapshot).filter(pl.col("stage").is_in(sums["stage"].to_list())).sort("stage")
    assert sums["instruments"].to_list() == whole["instruments"].to_list()
    assert sums["came_back"].to_list() == (whole["instruments"] - whole["held"]).to_list()


def test_where_no_log_tells_what_was_caused_nothing_is_said(moving_desk):
    told = stage_yields(moving_desk.snapshot())
    assert told["yield_caused"].is_null().all()
    assert mix_rows(moving_desk.snapshot()).is_empty()
