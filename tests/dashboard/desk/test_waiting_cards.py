"""Cards that waited on a tablet: kept once, at the time they were made, however often sent, whatever the clock."""

import csv
from datetime import UTC, datetime, timedelta

import pytest

from dashboard.desk.cards import CardDesk
from dashboard.desk.desk import Desk
from tests.dashboard.pages.moving_shop import stands

NOW = datetime(2026, 12, 2, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    return stands(tmp_path_factory.mktemp("waiting") / "shop")


@pytest.fixture
def cards(shop, monkeypatch):
    made = CardDesk(Desk(shop), clock=lambda: NOW)
    monkeypatch.setattr(made, "_soon", lambda: None)
    return made


def card(number, **more):
    return {"card": number, "bench": "window", "stage": "final_inspection", "serial": f"W-{number}", "model": "LARK-25",
            "outcome": "pass", "values": [], **more}  # fmt: skip


def rows(shop):
    out = []
    for path in sorted((shop / "cards").glob("card_*.csv")):
        with path.open(newline="") as file:
            out += [(path.name, each) for each in csv.DictReader(file)]
    return out


def test_a_card_that_waited_stands_on_its_own_day_at_its_own_time_and_once(cards, shop):
    late = card("late", waited=86_400 + 3_600, took=90, clock=NOW.timestamp())
    assert [cards.keep(late)["new"] for _ in range(3)] == [True, False, False]
    assert cards.keep(late | {"waited": 3_600.0})["new"] is False  # sent on another day it is still the same card
    ((sheet, row),) = [each for each in rows(shop) if each[1]["card"] == "late"]
    assert sheet == "card_2026-12-01_window.csv"
    assert row["finished_at"] == (NOW - timedelta(hours=25)).isoformat()
    assert row["started_at"] == (NOW - timedelta(hours=25, seconds=90)).isoformat()


def test_a_card_that_was_taken_back_stays_so_when_it_is_sent_again(cards, shop):
    cards.keep(card("undone"))
    cards.undo("window", "undone")
    assert cards.keep(card("undone"))["new"] is False
    assert not [row for _, row in rows(shop) if row["card"] == "undone"]


@pytest.mark.parametrize(
    ("clock", "said"),
    [(NOW.timestamp() + 720, 720), (NOW.timestamp() - 3_600, -3_600), (NOW.timestamp() + 30, 0), ("x", 0), (None, 0),
     (True, 0), (float("inf"), 0), (float("nan"), 0)],
)  # fmt: skip
def test_a_clock_that_is_wrong_is_noticed_and_moves_no_card(cards, shop, clock, said):
    number = f"clock-{clock}"
    assert cards.keep(card(number, clock=clock, waited=60))["clock_off"] == said
    (row,) = [row for _, row in rows(shop) if row["card"] == number]
    assert row["finished_at"] == (NOW - timedelta(minutes=1)).isoformat()


@pytest.mark.parametrize("waited", [-5, float("nan"), float("inf"), 1e300, "x", None, True, [], {}])
def test_a_time_that_cannot_be_is_none_and_never_lies_ahead(cards, shop, waited):
    number = f"odd-{waited}"
    assert cards.keep(card(number, waited=waited, took=waited))["new"]
    (row,) = [row for _, row in rows(shop) if row["card"] == number]
    assert NOW - timedelta(days=63) < datetime.fromisoformat(row["finished_at"]) <= NOW
