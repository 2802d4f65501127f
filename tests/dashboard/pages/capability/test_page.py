"""Capability: its headline, its rows and what is saved of them; one model, few readings, no readings."""

from datetime import date, timedelta

import polars as pl
import pytest

from analysis.studies.room import capability as study
from dashboard import numbers
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.capability import page as capability
from tests.dashboard.pages import moving_shop
from tests.dashboard.pages.said import said


@pytest.fixture
def counter(moving_desk):
    make_app(moving_desk)
    return moving_desk


def test_the_headline_counts_only_streams_whose_upper_bound_is_below_one(counter):
    rows = counter.ask(study.capability_rows).filter(
        (pl.col("tech") == "") & (pl.col("stage") == "final_inspection") & pl.col("ppk_high").is_not_null()
    )
    steady = rows.filter(~pl.col("flags").str.contains("thin"))
    tight = steady.filter(pl.col("ppk_high") < 1)
    assert tight.height == 1  # the treble action that moved
    assert (
        f"{numbers.of_in_words(1, steady.height)} series needs more than its tolerance (moved meanwhile: what moved "
        "them comes first), action treble on LARK-25 most" in said(capability.layout())
    )


@pytest.mark.parametrize(
    ("flags", "told"),
    [
        (["", "not steady", "thin; not steady"], "1 of 25 series needs more than its tolerance (two more moved"),
        (["", "", "not steady"], "2 of 25 series need more than their tolerance (one more moved meanwhile and needs"),
        (["", ""], "2 of 25 series need more than their tolerance"),
    ],
)
def test_series_that_moved_meanwhile_are_not_counted_with_those_that_need_more(flags, told):
    assert capability._many(pl.DataFrame({"flags": flags}), 25).replace("\u00a0", " ").startswith(told)


@pytest.mark.parametrize(("days", "told"), [(15, ", none since 12 Oct."), (14, " %).")])
def test_a_trouble_that_is_over_is_said_to_be(counter, days, told):
    out = date(2026, 10, 12)
    row = {"characteristic": "action", "position": "treble", "model": "LARK-25", "flags": "", "ppk": 0.5,
           "ppk_high": 0.8, "n": 750, "outside": 59, "share_low": 0.06, "share_high": 0.1, "outside_last": out,
           "last_day": out + timedelta(days=days)}  # fmt: skip
    shop = desk.here().snapshot().shop
    text = capability._headline(pl.DataFrame([row]), shop, "as set").replace("\u00a0", " ")
    assert "59 of 750 outside as set" in text
    assert text.endswith(told)


def test_every_row_is_in_the_table_with_bounds_and_flags(counter):
    text = said(capability.layout(open="figures"))
    rows = counter.ask(study.capability_rows).filter(
        (pl.col("tech") == "") & (pl.col("position") != "any") & (pl.col("stage") == "final_inspection")
    )
    for row in rows.iter_rows(named=True):
        if row["ppk_low"] is not None:
            assert f"{row['ppk']:.2f} ({row['ppk_low']:.2f} to {row['ppk_high']:.2f})".replace("-", "−") in text
    assert '"not steady' in text
    assert '"thin' in text


def test_people_cannot_be_sorted_by_a_figure_and_stand_with_a_caution(counter):
    text = said(capability.layout(by="each tech", open="figures"))
    assert "Figures of single people are for coaching" in text
    assert '"capability-figures"' not in text  # the table that sorts
    assert '"capability-figures"' in said(capability.layout(open="figures"))


def test_a_shop_that_shows_nobody_saves_nobody(tmp_path):
    make_app(desk.Desk(moving_shop.stands(tmp_path / "shop", people="none")))
    assert set(capability.saved(by="each tech")[1]["tech"]) == {""}
    text = said(capability.layout(by="each tech", open="figures"))
    assert "each tech" not in text.replace('"value": "each tech", "label": "Each tech"', "").lower()


def test_saved_are_the_rows_shown_unrounded(counter):
    name, rows = capability.saved(characteristic="action", model="LARK-25")
    assert name == "capability.csv"
    asked = (
        (pl.col("characteristic") == "action")
        & (pl.col("model") == "LARK-25")
        & (pl.col("tech") == "")
        & (pl.col("position") != "any")
    )
    assert rows.equals(counter.ask(study.capability_rows).filter(asked))
    assert rows.height >= 2


def test_an_empty_shop_says_what_to_do(tmp_path):
    make_app(desk.Desk(moving_shop.stands(tmp_path / "shop", with_logs=False)))
    text = said(capability.layout())
    assert "Nothing to judge yet." in text
    assert "Load a log" in text
