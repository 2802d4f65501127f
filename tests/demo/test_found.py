"""The planted faults are found from the logs alone; the list of what was planted only says where to look."""

import tomllib
from datetime import date, timedelta
from importlib.resources import files

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift import states
from analysis.studies.drift.signals import signals
from analysis.studies.gauges import rr as gauges
from analysis.studies.necks import lots
from analysis.studies.rework import rework
from analysis.studies.rework.pareto import pareto
from analysis.studies.room import capability, settling
from analysis.studies.story.conformity import as_set
from analysis.studies.story.lookup import Behind, readings
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot

PLANTED = {row["key"]: row for row in tomllib.loads(files("demo_data").joinpath("planted.toml").read_text())["planted"]}
MOST_FALSE = 24  # openings on streams that nothing planted touches, in sixteen weeks at a budget of one a week


def _touched(found: pl.DataFrame) -> np.ndarray:
    """Signals on streams that a planted row touches; patterns and shares hang on all that their stage and model
    hold.
    """
    hit = np.zeros(len(found), dtype=bool)
    for planted in PLANTED.values():
        for touch in planted.get("touches", []):
            same = pl.lit(True)
            for column, name in (
                ("characteristic", None),
                ("position", "positions"),
                ("model", "models"),
                ("stage", "stages"),
                ("tech", "techs"),
            ):
                wanted = [touch["characteristic"]] if name is None else touch[name]
                if wanted:
                    same = same & pl.col(column).is_in(wanted)
            hit |= found.select(same.alias("hit"))["hit"].to_numpy()
            pattern = (pl.col("chart") == "together") & (
                pl.col("model").is_in(touch["models"]) if touch["models"] else pl.lit(True)
            )
            hit |= found.select(pattern.alias("hit"))["hit"].to_numpy()
        hit |= found.select(
            ((pl.col("chart") == "share") & pl.col("stage").is_in(planted.get("rework", []))).alias("hit")
        )["hit"].to_numpy()
    return hit


def test_the_step_is_found_within_five_working_days_with_its_sign(demo: Snapshot):
    planted = PLANTED["action_step"]
    found = signals(demo).found.filter(
        (pl.col("characteristic") == planted["characteristic"])
        & (pl.col("model") == planted["model"])
        & (pl.col("position") == planted["position"]),
        (pl.col("tech") == "") & (pl.col("stage") == planted["set_at"]) & pl.col("closed_at").is_null(),
    )
    assert len(found) == 1
    row = found.row(0, named=True)
    opened = row["opened_at"].date()
    assert 0 <= np.busday_count(planted["from_date"], opened) <= 5
    assert row["size"] == pytest.approx(planted["size"], abs=0.05)
    assert (
        row["began_low"].date()
        <= planted["from_date"] + timedelta(days=1)
        <= row["began_high"].date() + timedelta(days=1)
    )


def test_the_bowed_lot_has_the_largest_mean(demo: Snapshot):
    planted = PLANTED["bowed_lot"]
    found = (
        lots.lot_rows(demo)
        .filter((pl.col("characteristic") == planted["characteristic"]) & (pl.col("n") >= 20))
        .sort("mean", descending=True)
    )
    assert (found["supplier"][0], found["lot"][0]) == (planted["supplier"], planted["lot"])
    assert found["verdict"][0] == lots.REJECT


def test_a_lot_is_not_refused_over_necks_whose_leaf_the_limit_divides(demo: Snapshot):
    row = lots.lot_rows(demo).filter(pl.col("lot") == "TH-2149").row(0, named=True)
    assert (row["verdict"], row["outside"]) == (lots.ACCEPT, 0.0)
    assert row["on_limit"] > 0


def test_nut_slotting_comes_first_among_the_causes(demo: Snapshot):
    assert pareto(demo, by="caused_at", of="minutes")["name"][0] == PLANTED["nut_rework"]["stage"]
    assert rework.stages(demo).sort("caused_here", descending=True)["stage"][0] == PLANTED["nut_rework"]["stage"]


def test_the_wide_tech_is_the_widest_by_set_by(demo: Snapshot):
    planted = PLANTED["wide_tech"]
    found = as_set(demo).filter((pl.col("characteristic") == planted["characteristic"]) & (pl.col("set_by") != ""))
    key = ["setup", "position"]
    off = pl.col("value") - pl.col("value").mean().over([*key, "set_by"])
    spread = found.with_columns(off=off).group_by("set_by").agg(pl.len(), pl.col("off").std())
    widest = spread.filter(pl.col("len") >= 200).sort("off", descending=True)
    assert widest["set_by"][0] == planted["tech"]
    assert widest["off"][0] / widest["off"].slice(1).median() == pytest.approx(planted["size"], rel=0.25)


def test_the_coarse_gauge_is_coarse_and_no_other_with_readings_enough(demo: Snapshot):
    planted = PLANTED["coarse_gauge"]
    found = states.stream_rows(demo).filter((pl.col("tech") == "") & (pl.col("state") != states.THIN))
    coarse = found.filter(pl.col("gauge") == states.COARSE)
    there = coarse.filter(pl.col("characteristic") == planted["characteristic"])
    assert set(there["model"]) == set(planted["models"])
    elsewhere = coarse.filter(pl.col("characteristic") != planted["characteristic"])
    assert len(elsewhere) <= 0.02 * len(found)


def test_the_banjos_lose_action_over_the_rest_and_no_one_else(demo: Snapshot):
    planted = PLANTED["banjo_rest"]
    found = settling.settling_rows(demo).filter(
        (pl.col("characteristic") == planted["characteristic"]) & (pl.col("n") >= 50)
    )
    lost = found.filter(pl.col("model").is_in(planted["models"]))
    assert len(lost) == 2 * len(planted["models"])
    assert (lost["high"] < 0).all()
    assert ((lost["low"] <= planted["size"]) & (planted["size"] <= lost["high"])).sum() >= 3  # of four 95 % intervals
    others = found.filter(~pl.col("model").is_in(planted["models"]))
    assert (others["mean"].abs() < 0.02).all()


def test_the_changed_target_is_judged_under_two_specs(demo: Snapshot):
    planted = PLANTED["target_change"]
    rows = (
        capability.capability_rows(demo)
        .filter(
            (pl.col("characteristic") == planted["characteristic"])
            & (pl.col("model") == planted["model"])
            & (pl.col("stage") == "final_inspection"),
            (pl.col("tech") == "") & (pl.col("position") == "treble"),
        )
        .sort("first_at")
    )
    assert len(rows) == 2
    assert rows["target"][1] - rows["target"][0] == pytest.approx(planted["size"], abs=1e-6)
    assert rows["mean"][1] - rows["mean"][0] == pytest.approx(planted["size"], abs=0.03)


def test_bridges_set_forward_show_at_the_twelfth_fret_while_they_were(demo: Snapshot):
    planted = PLANTED["bridge_forward"]
    until = planted["to_date"] if isinstance(planted["to_date"], date) else date.fromisoformat(planted["to_date"])
    found = readings(demo, asked=Behind(characteristic="intonation", model=planted["model"], stage="final_inspection"))
    found = found.with_columns(day=pl.col("taken_at").dt.date()).filter(pl.col("position").str.len_chars() == 1)
    during = found.filter((pl.col("day") > planted["from_date"] + timedelta(days=3)) & (pl.col("day") <= until))
    apart = found.filter((pl.col("day") < planted["from_date"]) | (pl.col("day") > until + timedelta(days=7)))
    assert during["value"].mean() - apart["value"].mean() > 2.0  # cents sharp
    opened = signals(demo).found.filter(
        (pl.col("characteristic") == "intonation") & (pl.col("model") == planted["model"]) & (pl.col("tech") == "")
    )
    assert (opened.filter(pl.col("opened_at").dt.date().is_between(planted["from_date"], until))["size"] > 0).any()
    (back,) = signals(demo).others.filter(pl.col("chart") == "share", pl.col("model") != "").iter_rows(named=True)
    assert ([back["stage"]], back["model"], back["side"]) == (planted["rework"], planted["model"], 1)
    local = back["began_at"].astimezone(demo.shop.zone).date()
    assert local == planted["from_date"]  # a Monday: the first day of its week
    assert back["back_at"].date() <= until + timedelta(days=10)


def test_the_gauge_studies_are_worked_out(demo: Snapshot):
    found = gauges.study_rows(demo)
    assert len(found) >= 2
    assert found["share_of_spread"].is_between(0, 1).all()


def test_false_openings_stay_within_the_budget(demo: Snapshot):
    found = signals(demo).found
    false = found.filter(~pl.Series(_touched(found)))
    assert len(false) <= MOST_FALSE


def test_every_instrument_stands_once_in_the_story(demo: Snapshot):
    told = story(demo)
    assert told.instruments["serial"].is_unique().all()
    assert told.instruments["visits"].sum() == len(told.visits)
