"""Capability of a shop that measures where it sets and only passes or sends back at the end; and where nothing can be
judged, what is missing.
"""

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from analysis.studies.room import capability as study
from analysis.studies.room.need import needs
from analysis.studies.story.conformity import SET, as_set, as_set_at_bench
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.capability import page as capability
from ingest.verbs.load import load
from tests.dashboard.pages import moving_shop
from tests.dashboard.pages.said import said

HALF_64TH = 25.4 / 128


def at_its_bench() -> str:
    """The log of the moving shop with what was read at final inspection read at bridge fitting instead."""
    head, *lines = moving_shop.log().splitlines()
    rows = [line.split(",") for line in lines]
    for bench, final in zip(rows[::2], rows[1::2], strict=True):
        bench[-4:], final[-4:] = final[-4:], bench[-4:]
    return "\n".join([head, *(",".join(row) for row in rows)]) + "\n"


def stands(folder, *, log=None, specs=moving_shop.SPECS):
    moving_shop.stands(folder, with_logs=False)
    (folder / "specs.csv").write_text(specs)
    path = folder / "as_typed" / "bench.csv"
    path.parent.mkdir()
    path.write_text(log or at_its_bench())
    load(folder, [path], now=moving_shop.NOW)
    at_desk = desk.Desk(folder)
    make_app(at_desk)
    return at_desk


@pytest.fixture
def bench(tmp_path):
    return stands(tmp_path / "shop")


def test_what_only_its_bench_reads_is_judged_as_set_there_and_said_to_be_of_the_bench(bench):
    text = said(capability.layout())
    assert "Nothing to judge yet." not in text
    assert "action treble on LARK-25 most: " in text
    assert " outside as set at bridge fitting (" in text
    assert " outside at bridge fitting, " in text
    assert "as the bench that sets it left it on the first pass: of the bench, not of the end" in text
    assert "Not among them: neck relief (read at bridge fitting, not at a final inspection, and no set_at" in text


def test_its_rows_are_those_of_the_capability_figures_at_the_bench(bench):
    key = ["characteristic", "position", "model"]
    found = bench.ask(needs, when=SET).select(*key, "n", "ppk", "ppk_low", "outside").sort(key)
    rows = bench.ask(study.capability_rows).filter(
        pl.col("tech") == "",
        pl.col("position") != study.ANY,
        pl.col("stage") == "bridge_fitting",
        pl.col("characteristic") == "action",
    )
    assert found.height == 6
    own = rows.select(*key, "n", "ppk", "ppk_low", outside="nonconforming").sort(key)
    assert_frame_equal(found.cast(dict.fromkeys(key, pl.String)), own, abs_tol=1e-9)
    assert set(capability.saved()[1]["stage"]) == {"bridge_fitting"}
    assert "LARK-25" in said(capability.layout(open="figures")).partition("The figures")[2]


def test_one_series_leads_to_its_readings_at_the_bench(bench):
    text = said(capability.layout(stream="action|treble|LARK-25"))
    assert "as set at bridge fitting, 200 readings under the limits in force" in text
    assert "/logs/readings?characteristic=action&position=treble&model=LARK-25&stage=bridge_fitting" in text


def test_a_month_is_looked_ahead_from_the_bench_and_said_to_be_of_it(bench):
    assert "lie outside at least one limit as set at the bench (" in said(capability.layout(open="beside"))


def test_what_a_final_inspection_reads_is_judged_there_alone(tmp_path):
    both = [line for line in at_its_bench().splitlines() if ",final_inspection," not in line]
    finals = [line for line in moving_shop.log().splitlines() if ",final_inspection," in line]
    at_desk = stands(tmp_path / "shop", log="\n".join([*both, *finals]) + "\n")
    assert as_set_at_bench(at_desk.snapshot()).is_empty()
    rows = at_desk.ask(needs, when=SET)
    assert set(rows["stages"].explode().cast(pl.String)) == {"final_inspection"}
    assert rows["n"].sum() == at_desk.ask(as_set).height
    own = at_desk.ask(study.capability_rows).filter(pl.col("stage") == "final_inspection", pl.col("tech") == "")
    assert set(rows["ppk_low"].drop_nulls()) <= set(own["ppk_low"])
    text = said(capability.layout())
    assert "of the bench" not in text
    assert "Not among them" not in text


def test_without_limits_it_says_that_they_are_missing_and_leads_to_what_was_read(tmp_path):
    stands(tmp_path / "shop", specs=moving_shop.SPECS.splitlines()[0] + "\n")
    text = said(capability.layout())
    assert "Nothing to judge yet." in text
    assert "Load a log" not in text
    assert "538 readings of action are held against nothing: no row of specs.csv says what they are to be" in text
    assert "Neck relief: 269 readings, read at bridge fitting, not at a final inspection" in text
    assert "/drift?stage=all" in text


def test_with_limits_for_what_is_read_nowhere_that_counts_it_says_where_it_is_read(tmp_path):
    stands(tmp_path / "shop", specs="\n".join(moving_shop.SPECS.splitlines()[:2]) + "\n")
    text = said(capability.layout())
    assert "Neck relief: 269 readings, read at bridge fitting, not at a final inspection, and no set_at" in text
    assert "Load a log" not in text


def test_a_coarser_rule_on_the_bench_is_said_above_the_verdicts_and_among_the_gauges(tmp_path):
    lines = at_its_bench().splitlines()
    for k, line in enumerate(lines[1:], start=1):
        cells = line.split(",")
        if cells[-1] and cells[4] >= "2026-03-24":  # half 64ths from here on, written in mm
            cells[-2:] = [f"{round(float(cell) / HALF_64TH) * HALF_64TH:.4f}" for cell in cells[-2:]]
            lines[k] = ",".join(cells)
    stands(tmp_path / "shop", log="\n".join(lines) + "\n")
    text = said(capability.layout())
    assert "Action bass on HERON-D is read too coarsely" not in text  # all of an action in one sentence
    assert "Action on HERON-D and LARK-25 is read too coarsely of late: since about 24 Mar in steps of 0.20 mm" in text
    assert "shop.toml says 0.05 mm." in text
    assert "Gauges are too coarse for action on " in text
    assert "0.198 mm since 24 Mar, declared 0.050 mm" in said(capability.layout(open="gauges"))
