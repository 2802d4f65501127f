"""The sheets of Capability on the rest and the air: what they say, and what they say of too little."""

import shutil
from datetime import datetime, timedelta

import numpy as np
import polars as pl
import pytest
from dash import html

from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.capability import rest as capability_rest
from dashboard.sentences import air
from tests.dashboard.pages import people_shop
from tests.dashboard.pages.said import said

SETTLES = 0.05
REST = '''
[[stage]]
key = "rest"
role = "rest"

[[stage]]
key = "final_inspection"'''


def log():
    """Forty instruments read before a rest and after it, 0.05 mm flatter in the middle, the air from 40 to 60 % over
    twenty days.
    """
    lines = ["serial,model,stage,tech,started_at,finished_at,outcome,rh,nut bass (mm)"]
    for k in range(40):
        day, hour = 1 + k // 2, 8 + 4 * (k % 2)
        rh = 40 + day
        value = 0.50 + 0.002 * (rh - 50) + 0.004 * (-1) ** (k // 2)
        for stage, minute, read in (
            ("nut_slotting", 0, value),
            ("rest", 10, None),
            ("final_inspection", 40, value + SETTLES),
        ):
            stamp = f"2026-06-{day:02d} {hour:02d}:{minute:02d}"
            cell = f"{read:.4f}" if read is not None else ""
            lines.append(f"HO-{100 + k},LARK-25,{stage},T02,{stamp},{stamp},pass,{rh},{cell}")
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def stands(tmp_path_factory):
    folder = people_shop.stands(tmp_path_factory.mktemp("rest") / "shop", with_logs=False)
    text = (folder / "shop.toml").read_text()
    (folder / "shop.toml").write_text(text.replace('\n[[stage]]\nkey = "final_inspection"', REST, 1))
    (folder / "day.csv").write_text(log())
    people_shop.load(folder, [folder / "day.csv"], now=people_shop.NOW)
    return folder


@pytest.fixture
def shop(stands):
    counter = desk.Desk(stands)
    make_app(counter)
    return counter.snapshot().shop


def test_a_change_over_the_rest_is_told_with_its_interval_and_pairs(shop):
    text = said(capability_rest.settling_sheet(shop, None, None))
    assert "One of one is seen to move over the rest." in text
    assert "+0.05 mm" in text
    assert "40 pairs" in text


def test_what_follows_the_air_is_told_for_ten_per_cent_more(shop):
    text = said(capability_rest.air_sheet(shop, None, None))
    assert "+0.02 mm (" in text
    assert "need not be a cause" in text


def test_a_choice_without_readings_says_what_is_wanted(shop):
    assert "No instrument was read at pitch both before the rest" in said(
        capability_rest.settling_sheet(shop, "relief", None)
    )
    assert "Too few days with humidity on file" in said(capability_rest.air_sheet(shop, "relief", None))


WEEKS, A_DAY = 14, 4


def drying_log():
    """Fourteen weeks in which the air dries once, from 50 to 34 % over five of them; relief, read where necks are
    straightened and at the end, is 0.03 mm lower there after slotting and follows the air by 0.004 mm for 1 %.
    """
    chance = np.random.default_rng(20261130)
    lines = ["serial,model,stage,tech,started_at,finished_at,outcome,rh,relief (mm)"]
    for k in range(7 * WEEKS * A_DAY):
        when = datetime(2026, 8, 3, 7) + timedelta(days=k // A_DAY, hours=2 * (k % A_DAY))
        rh = round(50 - 16 * min(max((k / A_DAY / 7 - 5) / 5, 0), 1), 1)
        value = 0.2 + 0.015 * float(chance.normal())
        for stage, minute, read in (
            ("neck_straightening", 0, f"{value:.3f}"),
            ("nut_slotting", 10, ""),
            ("final_inspection", 40, f"{value - 0.03 + 0.004 * (rh - 50):.3f}"),
        ):
            stamp = f"{when + timedelta(minutes=minute):%Y-%m-%d %H:%M}"
            lines.append(f"HO-{1000 + k},LARK-25,{stage},T02,{stamp},{stamp},pass,{rh},{read}")
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def dried(tmp_path_factory):
    folder = people_shop.stands(tmp_path_factory.mktemp("dried") / "shop", with_logs=False)
    (folder / "autumn.csv").write_text(drying_log())
    people_shop.load(folder, [folder / "autumn.csv"], now=people_shop.NOW)
    return folder


@pytest.fixture
def dry(dried):
    counter = desk.Desk(dried)
    make_app(counter)
    return counter.snapshot().shop


def test_what_follows_air_that_dries_once_is_told_as_slow_and_never_as_nothing(dry):
    text = said(capability_rest.air_sheet(dry, None, None))
    assert "One of one goes with the humidity as slowly as that drifts itself" in text
    assert "cannot be told from another drift of the same weeks" in text
    assert "+0.04 mm (" in text
    assert "week by week" in text
    assert "None of one is seen to follow the humidity from day to day by a tenth of its spread" in text
    assert "none is seen to follow" not in text
    assert "holds 0" not in text


def test_of_what_stands_there_by_a_matter_alone_it_is_said_that_its_interval_holds_0():
    assert "holds 0 for two, told since an open matter names the air" in air.slowly(3, 27, 2)


def test_an_open_matter_that_names_the_air_is_pointed_to(dry):
    text = said(capability_rest.air_sheet(dry, None, None))
    assert "Open: Neck relief on LARK-25, since about" in text
    assert "drier air" in text
    assert "See Week" in text
    assert "Open:" not in said(capability_rest.air_sheet(dry, "nut", None))


def test_what_a_bench_between_leaves_out_is_counted_and_told_with_its_difference(dry):
    text = said(capability_rest.settling_sheet(dry, None, None))
    assert (
        "In one series with few pairs or none another bench lies between: 392 readings are left out above. In it"
        in text
    )
    assert "Nut slotting" in text
    assert "−0.06 mm" in text  # half of it the air's
    assert "no reading tells" in text


def test_left_out_counts_series_without_any_pair_too(stands, tmp_path):
    folder = tmp_path / "shop"
    shutil.copytree(stands, folder)
    lines = ["serial,model,stage,tech,started_at,finished_at,outcome,rh,relief (mm)"]
    for k in range(7):
        for stage, minute, cell in (
            ("neck_straightening", 0, "0.2"),
            ("nut_slotting", 10, ""),
            ("final_inspection", 40, "0.1"),
        ):
            stamp = f"2026-06-{k + 21:02d} 09:{minute:02d}"
            lines.append(f"LE-{k},LARK-25,{stage},T02,{stamp},{stamp},pass,50,{cell}")
    (folder / "more.csv").write_text("\n".join(lines) + "\n")
    people_shop.load(folder, [folder / "more.csv"], now=people_shop.NOW)
    counter = desk.Desk(folder)
    make_app(counter)
    text = said(capability_rest.settling_sheet(counter.snapshot().shop, None, None))
    assert "Left out (7):" in text
    assert "another bench lies between: 7 readings are left out above" in text


def test_what_lies_between_is_told_by_how_many_surely_differ():
    assert "is not seen to differ" in air.across(40, 2, 0, 0)
    assert "In nine (the eight clearest stand below) the first final reading differs" in air.across(900, 11, 9, 8)
    assert "Some three of so many would by chance." in air.across(900, 63, 6, 6)
    assert "by chance" not in air.across(900, 11, 9, 8)


def test_a_difference_that_would_show_as_nothing_is_not_told(dry):
    rows = capability_rest.desk.ask(capability_rest.across.across_rows)
    slight = rows.with_columns(mean=pl.lit(-0.001), low=pl.lit(-0.0012), high=pl.lit(-0.0008))
    assert "is not seen to differ" in said(html.Div(capability_rest._across(slight, dry)))
    assert "no reading tells" in said(html.Div(capability_rest._across(rows, dry)))
