"""The sheets of Capability on the rest and the air: what they say, and what they say of too little."""

import pytest

from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.capability import rest as capability_rest
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
