"""What a play test says, from the sheet as it was typed to Drift, the instrument's story and the weekly paper."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from analysis.studies.room.play_test import Advice
from dashboard.desk.cards import CardDesk
from dashboard.desk.desk import Desk, use
from dashboard.pages.drift import played
from dashboard.pages.logs import instrument
from dashboard.papers import week as week_paper
from dashboard.sentences import play_test
from ingest.verbs.load import load
from tests.dashboard.pages.said import said
from tests.trials.play_test import MAKES, Fault, layout, notes

SHOP = """
[shop]
name = "Mill Race Banjos"
timezone = "Europe/Dublin"
[[stage]]
key = "levelling"
[[stage]]
key = "nut_slotting"
[[stage]]
key = "bridge_fitting"
name = "Bridge fitting"
[[stage]]
key = "play_test"
role = "test"
[[stage]]
key = "final_inspection"
role = "final"
[[characteristic]]
key = "intonation"
quantity = "pitch"
set_at = "bridge_fitting"
positions = ["1", "2", "3", "4", "5"]
plausible = ["-60 cents", "60 cents"]
[[model]]
key = "WEIR-5"
family = "5-string banjo"
strings = 5
scale = "667 mm"
bridge = "movable"
short_string = { string = 5, starts_at = 5 }
"""


@pytest.fixture(scope="module")
def banjos(tmp_path_factory):
    """Forty good banjos, one whose bridge stands 4 mm back with a choke beside it."""
    folder = tmp_path_factory.mktemp("banjos") / "shop"
    folder.mkdir()
    (folder / "shop.toml").write_text(SHOP)
    (folder / "specs.csv").write_text("characteristic,target,lower,upper,unit\n")
    rng, make = np.random.default_rng(3), MAKES[2]
    at, lines = layout(make), []
    head = [f"intonation {s + 1} fret {k} (cents)" for s, k in zip(at.string, at.fret, strict=True)]
    for k in range(41):
        cents = notes(make, rng, Fault(bridge=4.0) if k == 40 else Fault(), at)
        if k == 40:
            cents[4] += 90.0  # string 1, fret 5
        when = datetime(2026, 11, 2, 8) + timedelta(hours=k)
        typed = ",".join(f"{one:.0f}" for one in cents)
        lines.append(f"B-{k},WEIR-5,play_test,{when:%Y-%m-%d %H:%M},pass,{typed}")
    path = folder / "play.csv"
    path.write_text("\n".join([f"serial,model,stage,finished_at,outcome,{','.join(head)}", *lines]) + "\n")
    load(folder, [path], now=datetime(2026, 12, 1, tzinfo=UTC))
    return Desk(folder)


@pytest.fixture
def desk_of_banjos(banjos):
    use(banjos)
    return banjos


def test_the_instruments_story_says_feet_and_choke(desk_of_banjos):
    page = said(instrument.layout(serial="B-40"))
    assert "Move the bridge, both feet alike," in page
    assert "String 1 at fret 5 chokes" in page
    assert "Level fret 6" in page
    assert "At bridge fitting." in page
    assert "What the play test says" not in said(instrument.layout(serial="B-39"))


def test_the_bench_that_gets_it_next_reads_it_on_its_card(desk_of_banjos):
    cards = CardDesk(desk_of_banjos)
    cards.card("levelling", "B-40")  # the first index is made at once, what studies say of it behind
    assert desk_of_banjos.jobs.wait(cards._job).state == "done"
    told = {stage: " ".join(cards.card(stage, "B-40")["quiet"]) for stage in ("levelling", "bridge_fitting")}
    assert "Level fret 6" in told["levelling"]
    assert "both feet alike" in told["bridge_fitting"]
    assert "Level fret 6" not in told["bridge_fitting"]
    assert "both feet alike" not in " ".join(cards.card("bridge_fitting", "B-39")["quiet"])


def test_drift_and_the_weekly_paper_say_the_same(desk_of_banjos):
    shop = desk_of_banjos.snapshot().shop
    sheet = said(played.sheet(shop, 13))
    assert "B-40" in sheet
    assert "forward, towards the nut" in sheet
    assert "Bridge fitting" in sheet
    _, paper = week_paper.paper()
    assert "What play tests say" in paper
    assert "Level fret 6" in paper


def test_slots_that_ask_alike_are_told_once(desk_of_banjos):
    shop = desk_of_banjos.snapshot().shop

    def told(*slots):
        one = Advice(
            "B-1", "intonation", "WEIR-5", 0, datetime(2026, 11, 2, tzinfo=UTC), "nut", "nut_slotting", slots=slots
        )
        return play_test.to_do(shop, one).replace("\xa0", " ")

    assert told(("1", 0.41), ("2", 0.39)) == "Gauge over fret 1, then deepen the slots, all by about 0.4 mm."
    assert told(("1", 0.41), ("2", 0.3)).endswith("the slots: string 1 about 0.4 mm, string 2 about 0.3 mm.")
    assert told(("1", 0.41), ("2", 0.01)).endswith("the slots: string 1 about 0.4 mm.")
